"""Merging commits into segments: when, of what, and what is never taken away for it."""

from __future__ import annotations

import os
from datetime import UTC, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any

import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from storage_events import UNITS, after, readings

from ledger.errors import BookDamaged, NotDurable, WriteRefused
from ledger.storage import compaction, local
from ledger.storage.compaction import Compacted, compact, compact_quietly
from ledger.storage.disk import Disk
from ledger.storage.files import footer_of
from ledger.storage.footer import add_self_hash, read_footer
from ledger.storage.listing import commit_name, reading_set, segment_name
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from ledger.storage.schema import EVENT_SCHEMA
from ledger.storage.segment import read_events
from tests.storage.histories import FOLDER, look
from tests.storage.simulated_disk import DAY, Faults, FileSystem, SimulatedDisk

NONE = timedelta(0)


@pytest.fixture(autouse=True)
def small_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Blocks of 4 and of 8 commits."""
    monkeypatch.setattr(compaction, "BLOCKS", (4, 8))


def now() -> datetime:
    return datetime.now(UTC)


def log_of(folder: Path, count: int, disk: Disk | None = None) -> Log:
    log = Log(LocalStore(folder, disk), UNITS)
    for _ in range(count):
        log.commit(lambda head: after(head, 2))
    return log


def names_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def rows_of(log: Log) -> list[Any]:
    return [row for path in log.paths() for row in read_events(path.read_bytes())]


def test_whole_blocks_with_a_commit_behind_them_are_merged(tmp_path: Path) -> None:
    """Of 14 commits in blocks of 4 and 8, 1 to 8 and 9 to 12 are one file each."""
    log = log_of(tmp_path, 14)
    rows, head = rows_of(log), log.head()
    done = compact(log, now())
    merged = [segment_name(1, 8), segment_name(9, 12)]
    assert done == Compacted(segments=tuple(merged))
    assert log.reading_set() == (*merged, commit_name(13), commit_name(14))
    assert len(names_in(tmp_path)) == 16
    assert rows_of(log) == rows
    assert Log(LocalStore(tmp_path), UNITS).head() == log.head() == head
    assert log.verify_roots() == []


@pytest.mark.parametrize("count", [0, 1, 3, 4])
def test_the_newest_commit_is_never_merged(tmp_path: Path, count: int) -> None:
    """A block is merged only once a commit stands behind it, which may not be withdrawn."""
    log = log_of(tmp_path, count)
    assert compact(log, now(), grace=NONE) == Compacted()
    log.commit(after)
    assert bool(compact(log, now()).segments) == (count == 4)


def test_each_commit_stays_as_it_was_acknowledged(tmp_path: Path) -> None:
    """The segment's footer lists every commit with its size, root and time."""
    log = log_of(tmp_path, 9)
    marks = [log.commit_state(number) for number in range(1, 10)]
    compact(log, now(), grace=NONE)
    assert [log.commit_state(number) for number in range(1, 10)] == marks
    assert list(footer_of(log.store, segment_name(1, 8)).marks) == marks[:8]


def test_covered_files_go_a_day_after_the_segment_was_made(tmp_path: Path) -> None:
    """Not before, whoever asks; then all of them, and the book reads the same."""
    log = log_of(tmp_path, 5)
    rows = rows_of(log)
    compact(log, now())
    assert compact(log, now() + timedelta(hours=23)).removed == ()
    done = compact(log, now() + timedelta(hours=25))
    assert list(done.removed) == [commit_name(number) for number in (1, 2, 3, 4)]
    assert names_in(tmp_path) == [commit_name(5), segment_name(1, 4)]
    assert rows_of(log) == rows


def test_a_clock_that_goes_back_takes_nothing_away(tmp_path: Path) -> None:
    """A segment of the future, as a clock put back sees it, has not stood for a day."""
    log = log_of(tmp_path, 5)
    compact(log, now())
    assert compact(log, now() - timedelta(days=400)).removed == ()


def test_what_writers_that_were_killed_left_goes_after_a_week(tmp_path: Path) -> None:
    """A temporary file may be of a writer at work; a week later, by the files too, it is not.

    A clock that is ahead does not make it old.
    """
    log = log_of(tmp_path, 1)
    left = tmp_path / f"{local.TEMPORARY}0123"
    left.write_bytes(b"PAR1 half")
    for days, ahead in ((6, 0), (6, 2), (0, 400)):
        made = (now() - timedelta(days=days)).timestamp()
        os.utime(left, (made, made))
        compact(log, now() + timedelta(days=ahead), grace=NONE)
        assert left.exists(), (days, ahead)
    made = (now() - timedelta(days=8)).timestamp()
    os.utime(left, (made, made))
    compact(log, now())
    assert names_in(tmp_path) == [commit_name(1)]


def test_a_segment_that_rots_takes_nothing_with_it(tmp_path: Path) -> None:
    """It is read again and compared before what it covers goes; then that alone is the book."""
    log = log_of(tmp_path, 5)
    rows = rows_of(log)
    compact(log, now())
    path = tmp_path / segment_name(1, 4)
    content = bytearray(path.read_bytes())
    content[len(content) // 3] ^= 1
    path.write_bytes(content)
    with pytest.raises(BookDamaged, match=segment_name(1, 4)):
        compact(log, now() + timedelta(days=2))
    path.unlink()
    assert rows_of(Log(LocalStore(tmp_path), UNITS)) == rows


def test_a_segment_of_other_events_takes_nothing_with_it(tmp_path: Path) -> None:
    """Whole in itself is not enough: it must give the roots that follow from what is before it."""
    here, there = tmp_path / "here", tmp_path / "there"
    here.mkdir(), there.mkdir()
    log, other = log_of(here, 5), Log(LocalStore(there), UNITS)
    for number in range(5):
        other.commit(lambda head, n=number: readings(head.size + 1, 3))
    compact(other, now())
    compact(log, now())
    (here / segment_name(1, 4)).write_bytes((there / segment_name(1, 4)).read_bytes())
    done = compact(log, now(), grace=NONE)
    assert done.removed == ()
    assert list(done.left) == [commit_name(number) for number in (1, 2, 3, 4)]


def test_a_damaged_commit_is_not_merged(tmp_path: Path) -> None:
    """It is named, and nothing is made of it."""
    log = log_of(tmp_path, 9)
    path = tmp_path / commit_name(2)
    content = bytearray(path.read_bytes())
    content[200] ^= 1
    path.write_bytes(content)
    with pytest.raises(BookDamaged, match=commit_name(2)):
        compact(log, now(), grace=NONE)
    assert len(names_in(tmp_path)) == 9


class Spoiling(Disk):
    """A disk on which what is written to large files goes wrong, and says nothing."""

    def write(self, descriptor: int, content: memoryview) -> int:
        spoilt = bytearray(content)
        if len(spoilt) > 1:
            spoilt[len(spoilt) // 2] ^= 1
        super().write(descriptor, memoryview(spoilt))
        return len(content)


def test_what_reads_back_differently_never_takes_the_segments_name(tmp_path: Path) -> None:
    """A write that went wrong unsaid is found before anybody reads it."""
    log_of(tmp_path, 5)
    log = Log(LocalStore(tmp_path, Spoiling()), UNITS)
    with pytest.raises(WriteRefused, match="reads back differently"):
        compact(log, now(), grace=NONE)
    assert names_in(tmp_path) == [commit_name(number) for number in range(1, 6)]


def test_a_failing_compaction_never_fails_a_commit(tmp_path: Path) -> None:
    """After a commit whatever goes wrong with merging is left for another time."""
    log_of(tmp_path, 4)
    log = Log(LocalStore(tmp_path, Spoiling()), UNITS)
    Log(LocalStore(tmp_path), UNITS).commit(after)
    compact_quietly(log, log.head().commit, now())
    assert len(names_in(tmp_path)) == 5
    other = Log(LocalStore(tmp_path), UNITS)
    compact_quietly(other, other.head().commit, now())
    assert segment_name(1, 4) in names_in(tmp_path)


def test_files_written_before_a_column_was_there_get_it(tmp_path: Path) -> None:
    """What came later is worked out of the events, so that verify finds nothing missing."""
    log = log_of(tmp_path, 4)
    for path in log.paths():
        _without_columns(path, EVENT_SCHEMA.names[52:])
    log.commit(after)
    assert log.verify_roots() == []
    compact(log, now(), grace=NONE)
    assert pq.read_schema(tmp_path / segment_name(1, 4)).names == EVENT_SCHEMA.names
    assert log.verify_roots() == []


def _without_columns(path: Path, names: list[str]) -> None:
    footer, table = read_footer(path.read_bytes()), pq.read_table(path).drop_columns(names)
    with pq.ParquetWriter(path, table.schema, store_decimal_as_integer=True) as writer:
        writer.write_table(table)
        writer.add_key_value_metadata(footer.to_metadata())
    path.write_bytes(add_self_hash(path.read_bytes()))


def test_a_bulk_import_parts_the_grid_and_stays(tmp_path: Path) -> None:
    """Its file across a line is merged with nothing; what follows is, up to the next line."""
    log = Log(LocalStore(tmp_path), UNITS)
    log.write_segment([readings(2 * n + 1, 2) for n in range(10)])
    for _ in range(12):
        log.commit(lambda head: after(head, 2))
    rows = rows_of(log)
    compact(log, now(), grace=NONE)
    merged = (segment_name(1, 9), segment_name(10, 16), segment_name(17, 20))
    assert log.reading_set() == (*merged, commit_name(21), commit_name(22))
    assert rows_of(log) == rows
    assert log.verify_roots() == []


def test_a_block_of_too_many_events_stays_as_its_smaller_blocks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Rewriting a great deal for one file less is not worth it."""
    monkeypatch.setattr(compaction, "MOST_EVENTS", 10)
    log = log_of(tmp_path, 9)
    compact(log, now())
    assert log.reading_set() == (segment_name(1, 4), segment_name(5, 8), commit_name(9))


@given(st.lists(st.tuples(st.integers(0, 60), st.integers(1, 60)), max_size=8))
@settings(max_examples=40, deadline=None)
def test_whoever_merges_however_late_segments_never_cross(looks: list[tuple[int, int]]) -> None:
    """Of any listings, old or new, each run to merge lies within any other or apart from it."""
    spans = {(1, 1)}
    for merged, last in looks:
        shown = [commit_name(number) for number in range(1, last + 1)]
        shown += [segment_name(*one) for one in sorted(spans)[1 : merged + 1] if one[1] <= last]
        for size in compaction.BLOCKS:
            runs = compaction.blocks(reading_set(shown), size)
            spans |= {(run[0].first, run[-1].last) for run in runs}
    for first, last in spans:
        for other, end in spans:
            assert (
                last < other
                or end < first
                or (first <= other and end <= last)
                or (other <= first and last <= end)
            )


# -- the power fails -----------------------------------------------------------------------


def simulated(files: FileSystem) -> Log:
    return Log(LocalStore(FOLDER, SimulatedDisk(files, lambda call: None)), UNITS)


@pytest.mark.parametrize("seed", range(10))
def test_covered_files_stay_until_the_segments_name_lasts(seed: int) -> None:
    """Made by one who was killed before its name was written, cleared by another: all is there."""
    files = FileSystem(Random(seed))
    log = simulated(files)
    for _ in range(5):
        log.commit(after)
    compact(log, datetime.fromtimestamp(files.now, UTC))
    name = segment_name(1, 4)
    files.durable.pop(name)
    files.pending[name], files.is_dirty = [files.names[name]], True
    files.now += 2 * DAY
    compact(simulated(files), datetime.fromtimestamp(files.now, UTC))
    files.lose_power()
    assert len(simulated(files).over(lambda listing: look(simulated(files).store, listing))) == 5


@pytest.mark.parametrize("seed", range(10))
def test_a_name_the_disk_once_failed_to_write_is_not_confirmed_in_vain(seed: int) -> None:
    """A fsync with nothing new to write would say yes: so something new is written."""
    files = FileSystem(Random(seed))
    log = simulated(files)
    log.commit(after)
    files.faults = Faults(drops=1.0)
    with pytest.raises(NotDurable):
        log.store.confirm()
    files.faults = Faults()
    inode = files.names[commit_name(1)]
    files.durable.clear()
    files.pending[commit_name(1)], files.is_dirty = [inode, inode], False
    log.store.confirm()
    files.lose_power()
    assert commit_name(1) in files.names


def test_a_failed_write_of_the_folder_is_told_to_who_named_a_file_before_it() -> None:
    """Somebody else's failed fsync took our name with it; the folder was open, so we hear of it."""
    files = FileSystem(Random(1))
    other = LocalStore(FOLDER, SimulatedDisk(files, lambda call: None))

    class Interrupted(SimulatedDisk):
        def link(self, source: Path, target: Path) -> None:
            super().link(source, target)
            if target.name.startswith("c-"):
                files.faults = Faults(drops=1.0)
                with pytest.raises(NotDurable):
                    other.confirm()
                files.faults = Faults()

    log = Log(LocalStore(FOLDER, Interrupted(files, lambda call: None)), UNITS)
    with pytest.raises(NotDurable):
        log.commit(after)
