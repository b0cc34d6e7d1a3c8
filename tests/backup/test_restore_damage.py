"""A damaged backup: what is wrong is named by file and commits, what is whole is brought back."""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable
from pathlib import Path
from random import Random
from tempfile import TemporaryDirectory
from typing import NamedTuple

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from ledger.backup import digest
from ledger.backup.damage import Damage, longest_way, lost_spans, spans_words
from ledger.backup.digest import replayed
from ledger.backup.quarantine import PAGE
from ledger.backup.restore import NoBackup
from ledger.backup.statement import Replayed
from ledger.book import Book
from ledger.proofs.verify import check_files
from ledger.storage.listing import parse_name
from ledger.storage.objects import objects_at
from tests.backup.kept_book import (
    NONE,
    back_up,
    bring_back,
    names,
    new_book,
    photograph,
    problems,
    ride,
    told,
)
from tests.long import times

FROZEN = "542849693b6651727e4f3a85ec2be3ef893d4d176f56a73e7026f29efd85d098"
GOLDEN = Path(__file__).parents[1] / "golden" / "book-0.1.0"


class Broken(NamedTuple):
    """What is done to one file of a backup."""

    way: str
    place: float
    """Which file, and where in it: of all there are, as a share."""


def ruin(path: Path, broken: Broken) -> None:
    """Delete a file, cut it short, turn one bit over, or put other bytes in its place."""
    content = path.read_bytes()
    at = min(int(broken.place * len(content)), len(content) - 1)
    if broken.way == "gone":
        path.unlink()
    elif broken.way == "cut":
        path.write_bytes(content[:at])
    elif broken.way == "bit":
        path.write_bytes(content[:at] + bytes([content[at] ^ 1 << at % 8]) + content[at + 1 :])
    else:
        path.write_bytes(Random(at).randbytes(len(content)))


def reach(names: Iterable[str]) -> int:
    """Give the last commit before the first gap, by looking at every commit by itself."""
    held = [cover for cover in map(parse_name, names) if cover is not None]
    commit = 0
    while after := [one for one in held if one.first == commit + 1]:
        commit = max(one.last for one in after)
    return commit


steps = st.lists(st.sampled_from(["ride", "ride", "ride", "merge", "back up"]), max_size=8)
breaks = st.lists(
    st.builds(Broken, st.sampled_from(["gone", "cut", "bit", "other"]), st.floats(0, 0.999)),
    max_size=3,
)


@settings(max_examples=times(40, usual=10))
@given(steps=steps, breaks=breaks)
@example(steps=["ride", "merge", "back up", "ride"], breaks=[Broken("bit", 0.0)])
@example(steps=["ride"] * 4, breaks=[])
@example(steps=["ride"], breaks=[Broken("gone", 0.9), Broken("cut", 0.5)])
def test_equal_or_named_and_quarantined(steps: list[str], breaks: list[Broken]) -> None:
    """Whatever was recorded, merged and ruined: the original again, or exactly what is wrong and
    the whole beginning of it as a book."""
    with TemporaryDirectory() as folder:
        _hold(Path(folder), steps, breaks)


def _hold(folder: Path, steps: list[str], breaks: list[Broken]) -> None:
    book, place = new_book(folder / "book"), folder / "kept"
    for step in steps:
        if step == "ride":
            ride(book, 3)
        elif step == "merge":
            book.compact(grace=NONE)
        else:
            back_up(book, place)
    back_up(book, place)
    events = sorted((place / "events").iterdir())
    ruined = set()
    for broken in breaks:
        path = events[int(broken.place * len(events))]
        if path not in ruined:
            ruin(path, broken)
            ruined.add(path)
    back = bring_back(place, folder / "again")
    assert {one.file for one in back.damages} == {f"events/{path.name}" for path in ruined}
    for one in back.damages:
        cover = parse_name(Path(one.file).name)
        assert cover is not None and one.span == (cover.first, cover.last)
    whole = reach(path.name for path in events if path not in ruined)
    assert back.commit == whole
    if not ruined:
        assert back.book is not None and told(Book.open(back.book)) == told(book)
        assert problems(back.book) == []
        return
    assert not (folder / "again").exists() and back.quarantine == folder / "again.quarantine"
    begun = Book.open(back.quarantine / "book")
    size = book._log.commit_state(whole).size if whole else 0
    assert list(begun.rows()) == list(book.rows())[:size] and begun.head.size == back.size == size
    assert problems(back.quarantine / "book") == []
    _hold_lost(back.lost, back.aside, {path.name for path in events if path not in ruined}, book)


def _hold_lost(
    lost: list[tuple[int, int]], aside: list[tuple[int, int]], whole: set[str], book: Book
) -> None:
    """Every commit is in the book, aside or lost, as its files say."""
    held = {
        commit
        for cover in filter(None, map(parse_name, whole))
        for commit in range(cover.first, cover.last + 1)
    }
    said = {commit for first, last in lost for commit in range(first, last + 1)}
    assert said == set(range(1, book.head.commit + 1)) - held
    behind = {commit for first, last in aside for commit in range(first, last + 1)}
    assert behind == {commit for commit in held if commit > reach(whole)}


# -- each kind by itself -------------------------------------------------------------------


@pytest.fixture
def kept(book, tmp_path) -> Path:
    """Give a backup of a book of seventeen commits and a photo, nothing merged."""
    ride(book, 10)
    photograph(book)
    back_up(book, tmp_path / "kept")
    return tmp_path / "kept"


def event_file(kept: Path, commit: int) -> Path:
    return kept / "events" / f"c-{commit:012}.parquet"


def test_a_missing_commit_is_named_and_what_follows_is_kept_aside(book, kept, tmp_path):
    """The page beside them says what they are."""
    event_file(kept, 8).unlink()
    back = bring_back(kept, tmp_path / "again")
    assert [(one.wrong, one.span) for one in back.damages] == [("missing", (8, 8))]
    last = book.head.commit
    assert (back.commit, back.lost, back.aside[0], back.aside[-1]) == (
        7, [(8, 8)], (9, 9), (last, last),
    )  # fmt: skip
    assert back.quarantine is not None
    aside = [path.name for path in sorted((back.quarantine / "aside" / "events").iterdir())]
    assert aside == [f"c-{commit:012}.parquet" for commit in range(9, last + 1)]
    page = (back.quarantine / PAGE).read_text()
    assert "Lost in this backup: commit 8." in page and "events/c-000000000008.parquet" in page
    assert f"{book.head.size:,} events in {last} commits" in page


def test_a_file_of_another_commit_under_a_name_is_out_of_place(kept, tmp_path):
    """It is whole by its own hash, and does not follow what comes before it."""
    shutil.copy(event_file(kept, 5), event_file(kept, 9))
    back = bring_back(kept, tmp_path / "again")
    assert [(one.wrong, one.span) for one in back.damages] == [("out of place", (9, 9))]
    assert back.commit == 8 and back.quarantine is not None
    assert problems(back.quarantine / "book") == []


def test_files_of_a_rewritten_book_do_not_give_the_stated_root(book, kept, tmp_path):
    """Each is whole and follows the others; only the statement tells that it is another book."""
    other = new_book(tmp_path / "other")
    ride(other, 10)
    photograph(other)
    assert other.head.commit == book.head.commit
    for path in other.files():
        shutil.copy(path, kept / "events" / path.name)
    back = bring_back(kept, tmp_path / "again")
    assert [one.wrong for one in back.damages] == ["other root"] and back.book is None


def test_an_older_file_helps_out_where_a_merged_one_is_damaged(book, kept, tmp_path):
    """As after a backup that was killed before it took them away: the book is whole."""
    singles = tmp_path / "singles"
    shutil.copytree(kept / "events", singles)
    book.compact(grace=NONE)
    back_up(book, kept)
    (segment,) = [one for one in (kept / "events").iterdir() if "s-000000000001" in one.name]
    ruin(segment, Broken("bit", 0.3))
    for path in singles.iterdir():
        shutil.copy(path, kept / "events" / path.name)
    back = bring_back(kept, tmp_path / "again")
    assert [one.file for one in back.damages] == [f"events/{segment.name}"]
    assert back.book is not None and told(Book.open(back.book)) == told(book)
    assert problems(back.book) == []


@pytest.mark.parametrize("way", ["gone", "cut", "bit", "other"])
def test_a_damaged_photo_or_witness_is_told_and_the_events_come_back(book, kept, tmp_path, way):
    """The book gets its name: every event is there."""
    (photo,) = (kept / "photos").iterdir()
    (witness,) = kept.glob("witness.txt.*")
    (settings_file,) = kept.glob("book.toml.*")
    for path in (photo, witness, settings_file):
        ruin(path, Broken(way, 0.4))
    back = bring_back(kept, tmp_path / "again")
    named = {one.file for one in back.damages}
    assert named == {f"photos/{photo.name}", witness.name, settings_file.name}
    assert back.book is not None and told(Book.open(back.book)) == told(book)
    assert (back.book / "book.toml").read_bytes() == (book.path / "book.toml").read_bytes()


@pytest.mark.parametrize("way", ["gone", "cut", "bit", "other"])
def test_without_its_statement_nothing_is_taken_for_the_original(book, kept, tmp_path, way):
    """The whole beginning goes into quarantine; what should be there is said not to be known."""
    ruin(kept / "backup-000000000001.json", Broken(way, 0.5))
    back = bring_back(kept, tmp_path / "again")
    assert back.book is None and back.quarantine is not None
    assert back.damages[0].file.startswith("backup-") and back.statement is None
    assert told(Book.open(back.quarantine / "book")) == told(book)


def test_every_single_bit_of_a_statement_counts(kept, tmp_path):
    """Whichever bit is turned over, the statement is not believed; or it says what it said."""
    path = kept / "backup-000000000001.json"
    content = path.read_bytes()
    for at in Random(4).sample(range(len(content)), 12):
        path.write_bytes(content[:at] + bytes([content[at] ^ 4]) + content[at + 1 :])
        back = bring_back(kept, tmp_path / f"again-{at}")
        assert (back.book is None) == bool(back.damages)


def test_a_backup_that_was_begun_and_never_ended_is_told(book, kept, tmp_path):
    """What had been sent by then is brought back as far as it is whole."""
    (kept / "backup-000000000001.json").unlink()
    event_file(kept, 6).unlink()
    back = bring_back(kept, tmp_path / "again")
    assert "never ended" in back.damages[0].detail and back.commit == 5
    assert back.lost == [(6, 6)]


def test_other_states_than_the_original_had_keep_the_name_back(kept, tmp_path, monkeypatch):
    """Where bikes replay to something else here, the book is not the same to whoever reads it."""
    real = digest._replayed

    def otherwise(book: Book, size: int, tell: Callable[[int], object]) -> Replayed:
        is_restored = "again" in str(book.path)
        return Replayed(digest.FORM, 3, "0" * 64) if is_restored else real(book, size, tell)

    monkeypatch.setattr(digest, "_replayed", otherwise)
    back = bring_back(kept, tmp_path / "again")
    assert [one.wrong for one in back.damages] == ["other replay"] and back.book is None


def test_a_replay_of_another_form_is_not_compared_and_that_is_told(kept, tmp_path, monkeypatch):
    """Every root is right, so the book gets its name; another version's figure says nothing."""
    monkeypatch.setattr("ledger.backup.restore.FORM", 2)
    back = bring_back(kept, tmp_path / "again")
    assert [one.wrong for one in back.damages] == ["not compared"] and back.book is not None


def test_the_replay_of_a_frozen_book_is_what_it_was(tmp_path):
    """If this fails, states are told otherwise than before: count FORM up, mend the figure."""
    shutil.copytree(GOLDEN, tmp_path / "golden")
    book = Book.open(tmp_path / "golden")
    assert replayed(book, book.head.size) == Replayed(1, 1, FROZEN)


def test_nothing_at_a_place_is_no_backup(tmp_path):
    """A mistyped folder restores nothing and makes nothing."""
    with pytest.raises(NoBackup):
        bring_back(tmp_path / "nowhere", tmp_path / "again")
    assert list(tmp_path.iterdir()) == []


def test_a_full_disk_leaves_nothing_behind(kept, tmp_path, monkeypatch):
    """The error is passed on as the system tells it."""
    from ledger.backup import fetch

    def full(path: Path, content: bytes, mode: int = 0o644) -> None:
        raise OSError(28, "No space left on device", str(path))

    monkeypatch.setattr(fetch, "write", full)
    with pytest.raises(OSError, match="No space left"):
        bring_back(kept, tmp_path / "again")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["book", "kept"]


def test_a_damaged_backup_on_an_object_store_is_told_the_same_way(book, bucket, tmp_path):
    """Over the wire as in a folder."""
    address = f"{bucket}/{tmp_path.name}"
    ride(book, 6)
    back_up(book, address)
    objects = objects_at(address)
    gone, cut = [name for name in names(objects) if name.startswith("events/")][4:6]
    objects.put(cut, objects.get(cut)[:-9])
    objects.remove(gone)
    back = bring_back(address, tmp_path / "again")
    assert {(one.file, one.wrong) for one in back.damages} == {(gone, "missing"), (cut, "damaged")}
    assert back.commit == 4 and back.quarantine is not None
    assert check_files(back.quarantine / "book").size == back.size


# -- small things ---------------------------------------------------------------------------


@given(st.lists(st.tuples(st.integers(1, 12), st.integers(0, 5)), max_size=10))
def test_the_longest_way_is_as_long_as_any_and_takes_the_fewest(spans):
    """Held to looking at every commit by itself."""
    found = {f"s-{first:012}-{first + more:012}.parquet" for first, more in spans}
    covers = [cover for cover in map(parse_name, found) if cover is not None]
    way = longest_way(covers)
    assert way.last == _farthest(covers, 0)
    ends = [0, *(cover.last for cover in way.files)]
    assert [cover.first for cover in way.files] == [end + 1 for end in ends[:-1]]
    assert set(way.files) | set(way.aside) == set(covers)


def _farthest(covers: list, end: int) -> int:
    return max([end, *(_farthest(covers, one.last) for one in covers if one.first == end + 1)])


@pytest.mark.parametrize(
    ("spans", "words"),
    [([(7, 7)], "commit 7"), ([(7, 9)], "commits 7 to 9"),
     ([(1, 1), (3, 4), (6, 6)], "commits 1, 3 to 4 and 6")],
)  # fmt: skip
def test_runs_of_commits_are_told_in_words(spans, words):
    """One, several in a row, and several rows."""
    assert spans_words(spans) == words


def test_what_is_lost_ends_where_the_book_did():
    """Behind the last whole file too."""
    covers = [parse_name(f"c-{commit:012}.parquet") for commit in (1, 2, 5, 6)]
    assert lost_spans(longest_way(filter(None, covers)), 9) == [(3, 4), (7, 9)]


damage: Callable[..., Damage] = Damage.of


def test_a_damage_reads_as_one_line():
    """File, what is wrong, which commits, and why."""
    said = str(damage("events/s-000000000001-000000000004.parquet", "damaged", "It is short"))
    assert (
        said == "events/s-000000000001-000000000004.parquet: damaged, commits 1 to 4. It is short"
    )
