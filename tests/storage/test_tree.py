"""The tree over a book's files, with and without what is kept beside it."""

import random
import shutil

import pyarrow as pa
import pytest
from storage_events import UNITS, after, readings

from ledger.errors import BookDamaged
from ledger.events import canonical_bytes
from ledger.storage import aside, bulk, tree, tree_kept
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from ledger.storage.merkle import Frontier, leaf_hash
from ledger.storage.proof import (
    check_consistency,
    check_inclusion,
    consistency_path,
    inclusion_path,
)
from ledger.storage.tree import Tree

COUNT = 2400


def written(folder, change=lambda event: event):
    """Write a log of 2,400 events: segments of about 500, and a last commit of 8."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bulk, "ROWS_IN_SEGMENT", 500)
        log = Log(LocalStore(folder), UNITS)
        log.write_segment(
            [change(event) for event in readings(1 + 8 * n, 8)] for n in range(COUNT // 8)
        )
    return log


@pytest.fixture(scope="module")
def first_log(tmp_path_factory):
    """Such a log, written once."""
    folder = tmp_path_factory.mktemp("log")
    written(folder)
    return folder


@pytest.fixture
def log(tmp_path, first_log):
    """A copy of it that a test may change."""
    shutil.copytree(first_log, tmp_path / "events")
    return Log(LocalStore(tmp_path / "events"), UNITS)


@pytest.fixture
def kept(tmp_path):
    """Where hashes are kept."""
    return tmp_path / "derived"


def roots(count, start=1):
    """Give the root after each of so many events, one leaf at a time."""
    frontier, found = Frontier(), [Frontier().root()]
    for event in readings(start, count):
        frontier = frontier.append(leaf_hash(canonical_bytes(event)))
        found.append(frontier.root())
    return found


def commit(log, count):
    assert log.commit(lambda head: after(head, count)) is not None


def test_every_kind_of_place_has_a_proof_that_holds(log, kept):
    """At edges of blocks, segments and the whole, paths lead to the root of each size asked."""
    known = roots(COUNT)
    here = Tree(log.paths(), kept)
    assert here.size == COUNT
    for size in (1, 255, 256, 257, 504, 505, 1024, 2303, 2304, 2399, 2400):
        assert here.root(size) == known[size], size
        for index in {0, 1, 254, 255, 256, 503, 504, 1023, size - 1, size // 2} & set(range(size)):
            leaf = leaf_hash(here.at_seq(index + 1).canonical)
            path = inclusion_path(index, size, here.node)
            assert check_inclusion(leaf, index, size, path, known[size]), (index, size)
        path = consistency_path(size, COUNT, here.node)
        assert check_consistency(size, known[size], COUNT, known[COUNT], path), size


def test_what_is_kept_is_read_and_not_made_again(log, kept, monkeypatch):
    """With the file there, no leaf outside the block asked for is hashed."""
    path = inclusion_path(700, COUNT, Tree(log.paths(), kept).node)
    assert (kept / tree_kept.NAME).exists()

    def not_again(*_):
        raise AssertionError("the whole book was read")

    monkeypatch.setattr(tree, "_read", not_again)
    assert inclusion_path(700, COUNT, Tree(log.paths(), kept).node) == path


def test_deleted_it_comes_back_the_same(log, kept):
    """What is kept hangs on the events alone."""
    first = inclusion_path(5, COUNT, Tree(log.paths(), kept).node)
    content = (kept / tree_kept.NAME).read_bytes()
    (kept / tree_kept.NAME).unlink()
    assert inclusion_path(5, COUNT, Tree(log.paths(), kept).node) == first
    assert (kept / tree_kept.NAME).read_bytes() == content


def test_it_grows_with_the_book(log, kept):
    """After many a commit, hashes kept before and made since give the roots of a tree anew."""
    rng = random.Random(11)
    for _ in range(4):
        assert inclusion_path(0, log.head().size, Tree(log.paths(), kept).node)
        for _ in range(6):
            commit(log, rng.randrange(1, 200))
    known = roots(log.head().size)
    here = Tree(log.paths(), kept)
    for size in (COUNT, here.size - 1, here.size):
        assert here.root(size) == known[size]
        path = inclusion_path(size - 1, size, here.node)
        leaf = leaf_hash(here.at_seq(size).canonical)
        assert check_inclusion(leaf, size - 1, size, path, known[size])


def test_a_rewritten_book_does_not_use_it(log, kept, tmp_path):
    """Another book of the same size under the same names has other roots: nothing is believed."""
    Tree(log.paths(), kept).node(8, 0)
    (tmp_path / "other").mkdir()
    again = written(tmp_path / "other", lambda event: event.model_copy(update={"actor": "m2"}))
    assert [path.name for path in again.paths()] == [path.name for path in log.paths()]
    root = bytes.fromhex(again.head().root)
    with_what_was_kept = Tree(again.paths(), kept)
    assert inclusion_path(3, COUNT, with_what_was_kept.node) == inclusion_path(
        3, COUNT, Tree(again.paths(), None).node
    )
    leaf = leaf_hash(with_what_was_kept.at_seq(4).canonical)
    path = inclusion_path(3, COUNT, with_what_was_kept.node)
    assert check_inclusion(leaf, 3, COUNT, path, root)


def test_what_was_kept_serves_a_book_whose_commits_were_merged(tmp_path, kept, monkeypatch):
    """The same commits in other files have the same roots: nothing is hashed again."""
    loose, merged = tmp_path / "loose", tmp_path / "merged"
    loose.mkdir()
    merged.mkdir()
    commits = [readings(1 + 60 * n, 60) for n in range(12)]
    log = Log(LocalStore(loose), UNITS)
    for events in commits:
        log.commit(lambda head, events=events: events)
    paths = [inclusion_path(seq, 720, Tree(log.paths(), kept).node) for seq in (0, 300, 719)]
    assert len(log.paths()) == 12
    log = Log(LocalStore(merged), UNITS)
    log.write_segment(commits)
    assert len(log.paths()) == 2
    monkeypatch.setattr(tree, "_read", None)
    assert paths == [
        inclusion_path(seq, 720, Tree(log.paths(), kept).node) for seq in (0, 300, 719)
    ]


@pytest.mark.parametrize("at", [0, 100, 300, -30, -1])
def test_a_flipped_bit_in_it_is_as_if_it_were_not_there(log, kept, at):
    """What is kept and damaged is made anew."""
    path = inclusion_path(5, COUNT, Tree(log.paths(), kept).node)
    content = bytearray((kept / tree_kept.NAME).read_bytes())
    content[at] ^= 1
    (kept / tree_kept.NAME).write_bytes(content)
    assert tree_kept.read(kept) is None
    assert inclusion_path(5, COUNT, Tree(log.paths(), kept).node) == path


@pytest.mark.parametrize(
    ("field", "text"), [("form", "0"), ("blocks", "8"), ("size", "x"), ("files", "[{}]")]
)
def test_what_is_not_as_it_was_written_is_not_believed(log, kept, field, text):
    """A form of another version, another count, or nonsense counts as nothing."""
    Tree(log.paths(), kept).node(8, 0)
    table = aside.read(kept / tree_kept.NAME)
    told = {key.decode(): value.decode() for key, value in table.schema.metadata.items()}
    aside.write(kept / tree_kept.NAME, table, told | {field: text})
    assert tree_kept.read(kept) is None


def test_forgotten_it_is_worked_out_from_the_events(log, kept):
    """A forged file with a right sum of bytes gives wrong roots until it is forgotten."""
    Tree(log.paths(), kept).node(8, 0)
    table = aside.read(kept / tree_kept.NAME)
    told = {key.decode(): value.decode() for key, value in table.schema.metadata.items()}
    forged = pa.table({"hash": pa.array([bytes(32)] * len(table), pa.binary(32))})
    aside.write(kept / tree_kept.NAME, forged, told)
    here = Tree(log.paths(), kept)
    assert here.node(8, 0) == bytes(32)
    here.forget()
    assert here.root(COUNT).hex() == log.head().root


def test_without_a_folder_to_keep_it_in_it_is_made_each_time(log, kept):
    """A book on a disk that can only be read has proofs too."""
    kept.write_text("a file stands where the folder would be")
    assert Tree(log.paths(), kept).root(COUNT).hex() == log.head().root


def test_an_id_is_found_wherever_it_was_recorded(log, kept):
    """About when it was made, or long before or after; an id of nobody is not found."""
    here = Tree(log.paths(), kept)
    for event in readings(1, COUNT)[::300]:
        raw = bytes.fromhex(event.id.replace("-", ""))
        for moment in (event.recorded_at, readings(COUNT, 1)[0].recorded_at):
            assert here.seq_of(raw, moment) == event.seq
    assert here.seq_of(bytes(16), event.recorded_at) is None


def test_a_commit_is_the_run_of_its_events(log, kept):
    """First, within a segment, at its edge, and the last one alone in its file."""
    here = Tree(log.paths(), kept)
    for number in (1, 2, 63, 64, 65, COUNT // 8):
        assert here.commit_events(number) == list(range(8 * number - 7, 8 * number + 1))
    with pytest.raises(LookupError, match="there is no commit 301"):
        here.commit_events(301)
    with pytest.raises(LookupError, match="there is no event 2401"):
        here.at_seq(2401)


def test_an_empty_book_has_the_empty_root(kept):
    """Nothing is there, and nothing is kept of it."""
    here = Tree([], kept)
    assert (here.size, here.root(0)) == (0, Frontier().root())
    assert not kept.exists()


def test_a_damaged_file_is_named(log, kept):
    """Where an event's file is no Parquet any more, there is one error that names it."""
    path = log.paths()[1]
    path.chmod(0o644)
    path.write_bytes(b"a shopping list")
    with pytest.raises(BookDamaged, match=path.name):
        Tree(log.paths(), kept)
