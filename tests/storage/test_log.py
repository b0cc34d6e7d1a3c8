import errno
import shutil
from datetime import timedelta

import pymerkle
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from storage_events import START, UNITS, after, reading, readings

from ledger.errors import BookDamaged, NotDurable, WriteRefused
from ledger.events import canonical_bytes
from ledger.storage.disk import Disk
from ledger.storage.files import footer_of
from ledger.storage.listing import commit_name, segment_name
from ledger.storage.local import LocalStore
from ledger.storage.log import Head, Log
from ledger.storage.segment import read_events


def log_in(folder, disk=None):
    return Log(LocalStore(folder, disk), UNITS)


def names_in(folder):
    return sorted(path.name for path in folder.iterdir())


def seqs_in(log):
    return [row.seq for path in log.paths() for row in read_events(path.read_bytes())]


def merged(source, first, last, into):
    """Put a segment of these commits into a folder, made from a folder that has them singly."""
    whole = source / "whole"
    whole.mkdir(exist_ok=True)
    commits = [
        [reading(row.seq) for row in read_events((source / commit_name(number)).read_bytes())]
        for number in range(first, last + 1)
    ]
    Log(LocalStore(whole), UNITS).write_segment([*commits, readings(commits[-1][-1].seq + 1, 1)])
    name = segment_name(first, last)
    shutil.move(whole / name, into / name)
    shutil.rmtree(whole)


def test_an_empty_log_has_the_empty_root(tmp_path):
    """No commits, no events, the root of no leaves (RFC 6962)."""
    head = log_in(tmp_path).head()
    assert head == Head()
    assert head.root == "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855"
    assert log_in(tmp_path).paths() == ()


def test_a_commit_is_one_file_with_the_next_number(tmp_path):
    """Commits are numbered 1, 2, 3, and the head follows them."""
    log = log_in(tmp_path)
    committed = [log.commit(lambda head: after(head, 3)) for _ in range(3)]
    assert [one.commit for one in committed] == [1, 2, 3]
    assert names_in(tmp_path) == [commit_name(n) for n in (1, 2, 3)]
    assert committed[-1].head == log.head() == log_in(tmp_path).head()
    assert log.head().recorded_at == reading(9).recorded_at
    assert seqs_in(log) == [*range(1, 10)]


@given(st.lists(st.integers(1, 6), min_size=1, max_size=6))
@settings(max_examples=15, deadline=None)
def test_every_footer_has_the_root_of_all_events_so_far(tmp_path_factory, sizes):
    """The root after each commit is the one pymerkle gives for the canonical bytes in seq order."""
    folder = tmp_path_factory.mktemp("events")
    log, tree = log_in(folder), pymerkle.InmemoryTree(algorithm="sha256")
    for number, count in enumerate(sizes, 1):
        committed = log.commit(lambda head, count=count: after(head, count))
        for event in committed.events:
            tree.append_entry(canonical_bytes(event))
        footer = footer_of(log.store, commit_name(number))
        assert footer.last.root == tree.get_root().hex()
        assert footer.last.size == tree.get_size()


def test_no_events_is_no_commit(tmp_path):
    """Where there turns out to be nothing to record, nothing is written."""
    log = log_in(tmp_path)
    log.commit(after)
    assert log.commit(lambda head: []) is None
    assert log.head().commit == 1


@pytest.mark.parametrize(
    "events",
    [
        [reading(3)],
        [reading(2), reading(4)],
        [reading(2, recorded_at=None)],
        [reading(2, recorded_at=START.isoformat())],
    ],
    ids=["seq skips", "seq skips inside", "never recorded", "recorded before the last"],
)
def test_events_that_do_not_follow_the_head_are_not_written(tmp_path, events):
    """A gap in seq, or a recording time that falls, is a mistake of the caller and stays out."""
    log = log_in(tmp_path)
    log.commit(lambda head: [reading(1)])
    with pytest.raises(ValueError, match="event 019caa00"):
        log.commit(lambda head: events)
    assert names_in(tmp_path) == [commit_name(1)]


def test_the_loser_of_a_race_decides_again_on_what_the_winner_wrote(tmp_path):
    """Two logs on one folder never take the same number; the second sees the first's events."""
    first, second = log_in(tmp_path), log_in(tmp_path)
    heads = []

    def decide(head):
        heads.append(head.size)
        if len(heads) == 1:
            second.commit(lambda head: after(head, 2))
        return after(head)

    assert first.commit(decide).commit == 2
    assert heads == [0, 2]
    assert seqs_in(first) == [1, 2, 3]


def test_a_file_left_half_done_by_a_killed_writer_is_in_nobodys_way(tmp_path):
    """Temporary files are passed over, and opening removes nothing."""
    log_in(tmp_path).commit(after)
    (tmp_path / ".tmp-0123456789abcdef").write_bytes(b"PAR1 half a file")
    log = log_in(tmp_path)
    assert log.commit(after).commit == 2
    assert (tmp_path / ".tmp-0123456789abcdef").exists()


def test_a_log_with_a_gap_is_refused(tmp_path):
    """Nothing is read or written where a commit is missing, and the message says which."""
    log = log_in(tmp_path)
    for _ in range(3):
        log.commit(after)
    (tmp_path / commit_name(2)).unlink()
    for use in (log.head, log.paths, lambda: log.commit(after), lambda: log_in(tmp_path)):
        with pytest.raises(BookDamaged, match=commit_name(2)):
            use()
    assert names_in(tmp_path) == [commit_name(1), commit_name(3)]


@pytest.mark.parametrize("number", [3, 4, 5])
def test_opening_finds_damage_in_the_newest_commits(tmp_path, number):
    """One wrong bit in one of the last files stops the log from opening, and is named."""
    log = log_in(tmp_path)
    for _ in range(5):
        log.commit(after)
    path = tmp_path / commit_name(number)
    content = bytearray(path.read_bytes())
    content[len(content) // 3] ^= 4
    path.write_bytes(content)
    with pytest.raises(BookDamaged, match=commit_name(number)):
        log_in(tmp_path)
    assert len(names_in(tmp_path)) == 5


def test_opening_finds_a_commit_of_another_book(tmp_path):
    """A file that is whole in itself but does not follow the one before it is damage."""
    one, other = tmp_path / "one", tmp_path / "other"
    one.mkdir(), other.mkdir()
    for folder, number in ((one, 100), (other, 200)):
        log = log_in(folder)
        for seq in (1, 2):
            log.commit(lambda head, seq=seq, n=number: [reading(seq, number=n + seq)])
    shutil.copy(other / commit_name(2), one / commit_name(2))
    with pytest.raises(BookDamaged, match=r"c-000000000002\.parquet.*do not give its root"):
        log_in(one)


class Scripted(Disk):
    """The real disk, with something of the test's own done around the exclusive link."""

    def __init__(self):
        self.before = self.behind = None

    def link(self, source, target):
        if target.name.startswith("c-") and self.before:
            before, self.before = self.before, None
            before()
        super().link(source, target)
        if target.name.startswith("c-") and self.behind:
            behind, self.behind = self.behind, None
            behind()


def compacted(folder, source, last):
    """Do to a folder what a compaction does: put a segment there, and take the small files away."""
    merged(source, 1, last, folder)
    for number in range(1, last + 1):
        (folder / commit_name(number)).unlink()


def test_a_writer_that_slept_through_a_compaction_is_not_acknowledged_into_it(tmp_path):
    """Its number is covered when it wakes: the file is withdrawn and the events go on top."""
    folder, copy = tmp_path / "events", tmp_path / "copy"
    folder.mkdir(), copy.mkdir()
    other, disk = log_in(folder), Scripted()
    sleeper = log_in(folder, disk)
    other.commit(after)

    def meanwhile():
        for _ in range(3):
            other.commit(after)
        for path in folder.glob("c-*"):
            shutil.copy(path, copy)
        compacted(folder, copy, last=4)

    disk.before = meanwhile
    committed = sleeper.commit(lambda head: [reading(head.size + 1, number=99)])
    assert committed.commit == 5
    assert names_in(folder) == [commit_name(5), segment_name(1, 4)]
    assert seqs_in(sleeper) == [1, 2, 3, 4, 5]
    assert sleeper.verify_roots() == []


def test_a_commit_merged_before_it_was_acknowledged_is_not_made_twice(tmp_path):
    """If the segment that covers its number holds this very commit, it stands."""
    folder, copy = tmp_path / "events", tmp_path / "copy"
    folder.mkdir(), copy.mkdir()
    disk = Scripted()
    log = log_in(folder, disk)
    log.commit(after)

    def meanwhile():
        for path in folder.glob("c-*"):
            shutil.copy(path, copy)
        compacted(folder, copy, last=2)

    disk.behind = meanwhile
    assert log.commit(after).commit == 2
    assert names_in(folder) == [segment_name(1, 2)]
    assert log.commit(after).commit == 3
    assert seqs_in(log) == [1, 2, 3]


def test_a_commit_over_a_gap_is_withdrawn(tmp_path):
    """A number whose predecessor vanished while it was written is not acknowledged."""
    disk = Scripted()
    log = log_in(tmp_path, disk)
    log.commit(after)
    log.commit(after)
    disk.before = (tmp_path / commit_name(2)).unlink
    with pytest.raises(BookDamaged, match=r"commit 2 .* is gone"):
        log.commit(after)
    assert names_in(tmp_path) == [commit_name(1)]


class LosingReplies(Disk):
    """A share that makes the link and then answers with an error, once."""

    def __init__(self, error, is_made=True):
        self.error, self.is_made, self.count_links = error, is_made, 0

    def link(self, source, target):
        if not target.name.startswith("c-"):
            return super().link(source, target)
        self.count_links += 1
        if self.count_links > 1:
            return super().link(source, target)
        if self.is_made:
            super().link(source, target)
        raise self.error


@pytest.mark.parametrize(
    "error",
    [
        FileExistsError(errno.EEXIST, "File exists"),
        TimeoutError(errno.ETIMEDOUT, "Connection timed out"),
        OSError(errno.EIO, "Input/output error"),
    ],
    ids=["exists", "time-out", "lost"],
)
def test_a_lost_reply_is_recognised_by_the_writers_token(tmp_path, error):
    """What stands under the number is read back; our own token there means it is recorded."""
    disk = LosingReplies(error)
    log = log_in(tmp_path, disk)
    assert log.commit(after).commit == 1
    assert disk.count_links == 1
    assert seqs_in(log_in(tmp_path)) == [1]


def test_a_link_that_timed_out_and_was_not_made_is_a_clean_refusal(tmp_path):
    """If nothing stands under the number, nothing was recorded, and that is what is said."""
    error = TimeoutError(errno.ETIMEDOUT, "Connection timed out")
    log = log_in(tmp_path, LosingReplies(error, is_made=False))
    with pytest.raises(WriteRefused, match="Nothing was recorded"):
        log.commit(after)
    assert names_in(tmp_path) == []
    assert log.commit(after).commit == 1


def test_after_a_failed_fsync_the_log_must_be_opened_again(tmp_path):
    """A failed fsync is never tried again: the log stops, and a fresh one reads what there is."""

    class FailingOnce(Disk):
        count = 0

        def fsync(self, descriptor):
            self.count += 1
            if self.count == 4:  # the folder's, in the second commit
                raise OSError(errno.EIO, "Input/output error")
            super().fsync(descriptor)

    disk = FailingOnce()
    log = log_in(tmp_path, disk)
    log.commit(after)
    with pytest.raises(NotDurable, match="open the book again"):
        log.commit(after)
    with pytest.raises(NotDurable):
        log.commit(after)
    assert disk.count == 4
    again = log_in(tmp_path)
    assert again.head().size == 2
    assert again.commit(after).commit == 3


def test_quantities_the_shop_adds_have_their_unit_from_then_on(tmp_path):
    """Terms committed through the log teach it the canonical unit of a new quantity."""
    added = {
        "code": "grip_force", "label": "grip", "unit": "N", "digits": 1,
        "lowest": "0", "highest": "900",
    }  # fmt: skip
    terms = {"from_on": "2026-01-01", "quantities": [added]}
    data = {
        "position": "front_brake", "quantity": "grip_force",
        "value": {"value": "70", "unit": "N", "canonical": "70.0"},
    }  # fmt: skip
    log = log_in(tmp_path)
    log.commit(lambda head: [reading(1, kind="terms_set", bike=None, data=terms)])
    log.commit(lambda head: [reading(2, data=data)])
    assert log.units["grip_force"] == "N"
    assert log.verify_roots() == []


@pytest.mark.parametrize("is_merged", [False, True], ids=["one by one", "in a segment"])
def test_what_was_recorded_by_an_instant_is_a_prefix(tmp_path, is_merged):
    """The size as known at an instant counts the events recorded up to it, inside a commit too."""
    commits = [readings(1, 3), readings(4, 2), readings(6, 1), readings(7, 2)]
    log = log_in(tmp_path)
    if is_merged:
        log.write_segment(commits)
    else:
        for events in commits:
            log.commit(lambda head, events=events: events)
    for seq in range(9):
        assert log.size_at(START + timedelta(seconds=seq)) == seq
        assert log.size_at(START + timedelta(seconds=seq, microseconds=999_999)) == seq
    assert log.size_at(START - timedelta(days=1)) == 0
    assert log.size_at(START + timedelta(days=1)) == 8


def test_the_state_after_any_commit_can_be_asked_for(tmp_path):
    """Number, size and root of an old commit are those it was acknowledged with."""
    log = log_in(tmp_path)
    heads = [log.commit(lambda head: after(head, 2)).head for _ in range(3)]
    for head in heads:
        mark = log.commit_state(head.commit)
        assert (mark.size, mark.root, mark.recorded_at) == (head.size, head.root, head.recorded_at)
    for number in (0, 4):
        with pytest.raises(LookupError, match=f"no commit {number}"):
            log.commit_state(number)
