import errno
import itertools
import os
import weakref

import pyarrow.parquet as pq
import pytest
from storage_events import UNITS, after, reading, readings

from ledger.errors import BookDamaged, BookExists, NotDurable
from ledger.storage import bulk
from ledger.storage.disk import Disk
from ledger.storage.files import footer_of
from ledger.storage.listing import commit_name, segment_name
from ledger.storage.local import LocalStore
from ledger.storage.log import Log


def log_in(folder, disk=None):
    return Log(LocalStore(folder, disk), UNITS)


def names_in(folder):
    return sorted(path.name for path in folder.iterdir())


def commits_of(*sizes):
    starts = itertools.accumulate(sizes, initial=1)
    return [readings(first, size) for first, size in zip(starts, sizes, strict=False)]


@pytest.fixture
def small_segments(monkeypatch):
    """Segments of ten events, so that a few commits make several."""
    monkeypatch.setattr(bulk, "ROWS_IN_SEGMENT", 10)


@pytest.mark.usefixtures("small_segments")
def test_many_commits_become_segments_that_list_each_of_them(tmp_path):
    """The files hold every commit with the size and root it would have had alone."""
    commits = commits_of(4, 4, 4, 6, 6, 2, 3)
    one_by_one = tmp_path / "one by one"
    one_by_one.mkdir()
    for events in commits:
        log_in(one_by_one).commit(lambda head, events=events: events)
    folder = tmp_path / "at once"
    folder.mkdir()
    head = log_in(folder).write_segment(iter(commits))
    names = [segment_name(1, 3), segment_name(4, 5), segment_name(6, 6), commit_name(7)]
    assert log_in(folder).reading_set() == tuple(names)
    assert names_in(folder) == sorted(names)
    assert head == log_in(one_by_one).head() == log_in(folder).head()
    alone, at_once = LocalStore(one_by_one), LocalStore(folder)
    marks = [mark for name in names for mark in footer_of(at_once, name).marks]
    assert marks == [footer_of(alone, commit_name(n)).last for n in range(1, 8)]
    assert log_in(folder).verify_roots() == []


@pytest.mark.parametrize("count", [0, 1, 2, 3])
def test_a_few_commits_are_written_too(tmp_path, count):
    """None, one, two and three commits are the log they would be one by one."""
    head = log_in(tmp_path).write_segment(commits_of(*[2] * count))
    assert (head.commit, head.size) == (count, 2 * count)
    assert log_in(tmp_path).verify_roots() == []
    assert log_in(tmp_path).commit(after).commit == count + 1


@pytest.mark.usefixtures("small_segments")
def test_commits_go_on_after_segments(tmp_path):
    """The next commit stands on the last of many."""
    log = log_in(tmp_path)
    log.write_segment(commits_of(6, 6, 6, 6))
    assert log.commit(after).commit == 5
    assert log.head().size == 25
    assert log.verify_roots() == []


def test_a_log_that_holds_events_takes_no_bulk(tmp_path):
    """Many at once go into an empty log only."""
    log = log_in(tmp_path)
    log.commit(after)
    with pytest.raises(BookExists, match="already holds"):
        log.write_segment(commits_of(1, 1, 1))
    assert names_in(tmp_path) == [commit_name(1)]


@pytest.mark.usefixtures("small_segments")
def test_commits_that_fail_on_the_way_leave_the_log_empty(tmp_path):
    """What the maker of the commits raises comes through, and nothing is recorded."""

    def commits():
        yield from commits_of(6, 6, 6, 6)
        raise RuntimeError("row 25 cannot be read")

    log = log_in(tmp_path)
    with pytest.raises(RuntimeError, match="row 25"):
        log.write_segment(commits())
    assert names_in(tmp_path) == []
    assert log.write_segment(commits_of(6, 6, 6, 6)).commit == 4


@pytest.mark.usefixtures("small_segments")
def test_a_commit_that_came_first_is_never_covered(tmp_path):
    """If somebody else recorded in the meantime, theirs stays and the many are given up."""
    other = log_in(tmp_path)

    def commits():
        yield from commits_of(6, 6, 6)
        other.commit(lambda head: [reading(1, number=77)])
        yield readings(19, 6)

    with pytest.raises(BookExists):
        log_in(tmp_path).write_segment(commits())
    assert names_in(tmp_path) == [commit_name(1)]
    assert other.head().size == 1


@pytest.mark.usefixtures("small_segments")
def test_nobody_builds_on_many_commits_before_they_all_stand(tmp_path):
    """While names appear, last one first, others find a gap and neither read nor write."""
    tried = []

    class Watched(Disk):
        def link(self, source, target):
            super().link(source, target)
            if target.name.endswith(".parquet"):
                try:
                    tried.append(log_in(tmp_path).commit(after).commit)
                except BookDamaged:
                    tried.append("gap")

    log_in(tmp_path, Watched()).write_segment(commits_of(6, 6, 6, 6, 6))
    assert tried == ["gap", "gap", 6]
    log = log_in(tmp_path)
    assert log.head().commit == 6
    assert log.verify_roots() == []


@pytest.mark.usefixtures("small_segments")
@pytest.mark.parametrize("nth", [1, 2, 3])
def test_a_failed_fsync_while_writing_many_leaves_the_log_empty(tmp_path, nth):
    """Nothing has its name before every file is confirmed."""

    class Failing(Disk):
        count = 0

        def fsync(self, descriptor):
            self.count += 1
            if self.count == nth:
                raise OSError(errno.EIO, os.strerror(errno.EIO))
            super().fsync(descriptor)

    log = log_in(tmp_path, Failing())
    with pytest.raises(NotDurable):
        log.write_segment(commits_of(6, 6, 6, 6))
    assert names_in(tmp_path) == []


def test_few_events_are_held_at_a_time(tmp_path, monkeypatch):
    """However many events come, no more than a row group and a few commits are in memory."""
    monkeypatch.setattr(bulk, "ROWS_IN_SEGMENT", 200)
    monkeypatch.setattr(bulk, "ROWS_IN_GROUP", 50)
    alive, most = 0, 0

    def gone():
        nonlocal alive
        alive -= 1

    def commits():
        nonlocal alive, most
        for number in range(100):
            events = readings(1 + 10 * number, 10)
            for event in events:
                weakref.finalize(event, gone)
            alive += len(events)
            most = max(most, alive)
            yield events
            del events, event

    assert log_in(tmp_path).write_segment(commits()).size == 1000
    assert alive == 0
    assert most <= 100


@pytest.mark.slow
def test_a_segment_holds_about_a_hundred_thousand_events(tmp_path, monkeypatch):
    """A fifth more than that make a segment of it, one of the rest, and the last commit."""
    assert bulk.ROWS_IN_SEGMENT == 100_000
    monkeypatch.setattr(bulk, "ROWS_IN_SEGMENT", 1_000)
    commits = (readings(1 + 5 * n, 5) for n in range(240))
    log = log_in(tmp_path)
    log.write_segment(commits)
    rows = [pq.read_metadata(path).num_rows for path in log.paths()]
    assert rows == [1_000, 195, 5]
