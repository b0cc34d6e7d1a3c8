"""Random histories of one book on a simulated disk, each from a seed, held to what must never fail.

Writers, readers and compactions run side by side, stopped and taken up again before every call to
the disk; some sleep long, some are killed, calls fail, and the power fails. What is held:

- `durable`: what was acknowledged is there at every later look, after every power failure.
- `total order`: who looks sees the commits from 1 on without a gap, and nobody ever sees another
  commit under a number than somebody else did, unless the power failed in between.
- `whole`: nobody ever sees a part of a commit, or a file that does not hold what it says.
- `roots`: every root is the one of all events before it (RFC 6962, worked out here by itself).
- `once`: no event stands in the book twice.
- `refused`: what was refused as not recorded is not there.
- `kept`: a merger takes a file away only while another one is on the disk for good that holds it.
- `clear words`: nothing but a refusal, a doubt or the disk's own error reaches a caller.
- `no deadlock`: everything comes to its end.

python -m tests.storage.histories --count 20000 --first 0   prints seeds, counts and invariants.
"""

from __future__ import annotations

import argparse
import json
import secrets
import sys
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import lru_cache, partial
from hashlib import sha256
from random import Random
from typing import Any, NamedTuple
from unittest.mock import patch

import pyarrow as pa

from ledger.errors import BookDamaged, NotDurable, WriteRefused
from ledger.events import Event
from ledger.storage import compaction, files, listing, log, segment
from ledger.storage.compaction import compact
from ledger.storage.envelope import AROUND
from ledger.storage.footer import CommitMark, check_self_hash, read_footer
from ledger.storage.listing import Listing
from ledger.storage.local import LocalStore
from ledger.storage.log import Head, Log
from ledger.storage.schema import EVENT_SCHEMA
from ledger.storage.segment import read_events
from tests.storage.simulated_disk import (
    DAY,
    FOLDER,
    NO_FAULTS,
    Clock,
    Faults,
    FileSystem,
    Process,
    SimulatedDisk,
)
from tests.storage.storage_events import UNITS, event_id, reading

INVARIANTS = (
    *("durable", "total order", "whole", "roots", "once", "refused", "kept", "clear words"),
    "no deadlock",
)
MOST_STEPS = 30_000
_COLUMNS = (*AROUND, "commit", "canonical", "canonical_sum")
_NARROW = pa.schema([EVENT_SCHEMA.field(name) for name in _COLUMNS])
"""Fewer columns than the book's: the protocol does not look at them, and they take time."""

_SLEEPY_CALLS = {"name a file of the book": 20, "open folder": 5, "unlink": 5, "fsync": 5}
"""What is slept before so many times more often than before other calls."""

Ids = tuple[str, ...]


TimeToFail = Callable[[FileSystem, bool], bool]
"""Tells whether the power should fail now; the flag: somebody was answered just now."""


def _never(files: FileSystem, is_acknowledged: bool) -> bool:
    return False


_TIMES_TO_FAIL: tuple[TimeToFail, ...] = (
    lambda files, is_acknowledged: True,
    lambda files, is_acknowledged: is_acknowledged,
    lambda files, is_acknowledged: len(_unwritten(files)) > 1,
)
"""At any time, just after an answer, or while the disk may lose several names of the book."""


def _unwritten(files: FileSystem) -> list[str]:
    return [name for name in files.pending if not name.startswith(".")]


class Violation(AssertionError):
    """An invariant did not hold: which, in which history, and what was seen."""

    def __init__(self, invariant: str, seen: str) -> None:
        super().__init__(f"{invariant}: {seen}")
        self.invariant = invariant


@dataclass(frozen=True, slots=True)
class Seen:
    """One commit as somebody sees it."""

    commit: int
    size: int
    root: str
    ids: Ids


@dataclass
class Known:
    """What the outside knows of the book."""

    acknowledged: dict[Ids, int | None] = field(default_factory=dict)
    """Events whose commit returned, and its number, where it was told."""
    roots: dict[int, str] = field(default_factory=dict)
    """Root under each number, as anybody saw it since the power last failed."""
    refused: set[Ids] = field(default_factory=set)
    counts: Counter[str] = field(default_factory=Counter)


@dataclass(frozen=True)
class Style:
    """What a history is mostly about; shares of 1 are of every step, or of every call."""

    faults: Faults = NO_FAULTS
    kills: float = 0.0
    sleeps: float = 0.0
    """Of being set aside for long; more before some calls."""
    naps: Sequence[int] = (20, 200, 2_000, MOST_STEPS)
    """How long, in steps of the scheduler."""
    days: float = 0.0
    """Of a day going by."""
    times_to_fail: Sequence[TimeToFail] = (_never,)
    most_eras: int = 1
    count_writers: Sequence[int] = (1, 2, 3)
    count_readers: Sequence[int] = (0, 1)
    count_mergers: Sequence[int] = (0, 1)
    most_merges: int = 3


def _drawn_style(seed: int, chance: Random) -> Style:
    share = chance.choice((0.002, 0.005, 0.02))
    everything = Faults(
        fails=share, loses_reply=10 * share, drops=2 * share, writes_short=0.1, spoils=10 * share
    )
    return (
        Style(everything, kills=share / 5, sleeps=share / 2, days=share / 5,
              times_to_fail=(_never, *_TIMES_TO_FAIL), most_eras=3, count_mergers=(0, 1, 2)),
        Style(sleeps=0.004, naps=(MOST_STEPS,), count_writers=(3, 4), count_readers=(0, 1),
              count_mergers=(1,), most_merges=12),
        Style(kills=share / 10, sleeps=0.01, times_to_fail=_TIMES_TO_FAIL, most_eras=4,
              count_writers=(2, 3), count_readers=(0,), count_mergers=(1, 2)),
        Style(Faults(drops=0.08, loses_reply=share), sleeps=0.01,
              times_to_fail=_TIMES_TO_FAIL[1:], most_eras=4, count_readers=(0,)),
    )[seed % 4]  # fmt: skip


class History:
    """One history: what runs, in which order, and what goes wrong, all drawn from its seed."""

    def __init__(self, seed: int) -> None:
        self.chance = Random(seed)
        self.style = _drawn_style(seed, self.chance)
        self.files = FileSystem(self.chance, has_links=self.chance.random() < 0.9)
        self.known = Known()
        self._stickiness = self.chance.choice((0.0, 0.5, 0.9, 0.98))
        self._count_made = 0
        self.running: Process | None = None

    def run(self) -> Known:
        """Run it to its end; raises Violation."""
        for _ in range(self.chance.randint(1, self.style.most_eras)):
            self.files.faults = self.style.faults
            self._run_era()
            self.files.faults = NO_FAULTS
            self._look_quietly()
        return self.known

    def _run_era(self) -> None:
        """Let new processes run until all are over, or the power fails."""
        style, draw = self.style, self.chance.choice
        processes = [
            *(Process(f"writer {n}", self.write) for n in range(draw(style.count_writers))),
            *(Process(f"reader {n}", self.read) for n in range(draw(style.count_readers))),
            *(Process(f"merger {n}", self.merge) for n in range(draw(style.count_mergers))),
        ]
        is_time_to_fail = draw(style.times_to_fail)
        fails_from = self.chance.randrange(50, 1_000)
        for step in range(MOST_STEPS):
            awake = self._awake(processes, step)
            if not awake:
                break
            count_acknowledged = len(self.known.acknowledged)
            self._one_step(awake, step)
            is_acknowledged = len(self.known.acknowledged) > count_acknowledged
            if step >= fails_from and is_time_to_fail(self.files, is_acknowledged):
                break
        else:
            raise Violation("no deadlock", f"{len(awake)} processes still run: {awake[0].name}")
        if is_time_to_fail is not _never:
            self._fail_power(processes)

    def _awake(self, processes: list[Process], step: int) -> list[Process]:
        alive = [one for one in processes if not one.is_over]
        return [one for one in alive if one.sleeps_until <= step] or alive

    def _one_step(self, awake: list[Process], step: int) -> None:
        if self.running not in awake or self.chance.random() >= self._stickiness:
            self.running = self.chance.choice(awake)
        assert self.running is not None
        fate = self.chance.random()
        if fate < self.style.kills:
            self.running.kill()
            self.known.counts["kills"] += 1
            return
        if fate > 1 - self.style.sleeps * _SLEEPY_CALLS.get(self.running.call, 1):
            self.running.sleeps_until = step + self.chance.choice(self.style.naps)
        if self.chance.random() < self.style.days:
            self.files.now += 1.1 * DAY
        self.known.counts["calls"] += 1
        self.running.go_on()
        failure = self.running.failure
        if isinstance(failure, Exception) and not isinstance(failure, Violation):
            raise Violation("clear words", repr(failure)) from failure
        if failure is not None:
            raise failure

    def _fail_power(self, processes: list[Process]) -> None:
        for one in processes:
            one.kill()
        self.files.lose_power()
        self.known.roots.clear()
        self.known.counts["power failures"] += 1

    # -- what the processes do ---------------------------------------------------------------

    def _store(self, process: Process | None, **more: Any) -> LocalStore:
        pause = process.pause if process else lambda call: None
        return LocalStore(FOLDER, SimulatedDisk(self.files, pause, **more))

    def write(self, process: Process) -> None:
        for _ in range(self.chance.randrange(1, 7)):
            self._count_made += 1
            start = self._count_made * 10
            ids = tuple(event_id(start + n) for n in range(self.chance.choice((1, 1, 2, 3))))
            _Writer(self, process, ids, start).record()

    def read(self, process: Process) -> None:
        for _ in range(self.chance.randrange(1, 5)):
            before = dict(self.known.acknowledged)
            with _clear_words():
                store = self._store(process)
                self.check(Log(store, UNITS).over(partial(look, store)), before)
            self.known.counts["looks"] += 1

    def merge(self, process: Process) -> None:
        for _ in range(self.chance.randint(self.style.most_merges // 2, self.style.most_merges)):
            with _clear_words():
                moment = datetime.fromtimestamp(self.files.now, UTC)
                store = self._store(process, may_spoil=True, before_unlink=self._check_kept)
                done = compact(Log(store, UNITS), moment)
                self.known.counts["segments"] += len(done.segments)
                self.known.counts["files taken away"] += len(done.removed)
            for _ in range(self.chance.choice((0, 20, 100))):
                process.pause("wait")
            self.files.now += self.chance.choice((0, 0, 1.1)) * DAY

    # -- what must hold ----------------------------------------------------------------------

    def _check_kept(self, name: str) -> None:
        """Hold what a merger is about to take away to what is there for good without it."""
        gone = listing.parse_name(name)
        if gone is None:
            return
        for other, inode in self.files.names.items():
            cover = listing.parse_name(other)
            is_wider = cover is not None and cover.first <= gone.first and gone.last <= cover.last
            is_for_good = self.files.durable.get(other) is inode and all(
                one.is_durable for one in inode.writes
            )
            if other != name and is_wider and is_for_good and check_self_hash(inode.content()):
                return
        raise Violation("kept", f"{name} is taken away, and nothing holds it for good")

    def check(self, seen: Sequence[Seen], acknowledged: dict[Ids, int | None]) -> None:
        """Hold what somebody saw to what is known; raises Violation."""
        at = {one.ids: one.commit for one in seen}
        for ids, commit in acknowledged.items():
            if ids not in at or (commit is not None and at[ids] != commit):
                raise Violation("durable", f"commit {commit} of {ids[0]} is at {at.get(ids)}")
        for one in seen:
            if self.known.roots.setdefault(one.commit, one.root) != one.root:
                raise Violation("total order", f"another commit {one.commit} was seen before")
        ids = [one for commit in seen for one in commit.ids]
        if len(set(ids)) < len(ids):
            raise Violation("once", f"{Counter(ids).most_common(1)}")

    def _look_quietly(self) -> None:
        """Open the book as after a restart, alone, and hold it to everything."""
        self.running = None
        store = self._store(None)
        try:
            seen = Log(store, UNITS).over(partial(look, store))
        except Violation:
            raise
        except Exception as error:
            raise Violation("durable", f"the book cannot be read: {error!r}") from error
        self.check(seen, self.known.acknowledged)
        there = {one.ids for one in seen}
        if wrong := there & self.known.refused:
            raise Violation("refused", f"{wrong} is there")

    def confirm(self, ids: Ids, commit: int | None) -> None:
        """Take in that events were acknowledged."""
        self.known.acknowledged[ids] = commit
        self.known.counts["acknowledged"] += 1


class _Writer:
    """Records one commit as a book does: after a doubt it looks whether its ids are there."""

    def __init__(self, history: History, process: Process, ids: Ids, start: int) -> None:
        self._history, self._process = history, process
        self._ids, self._start = ids, start
        self._store = history._store(process)
        self._log: Log | None = None
        self._is_in_doubt = False

    def record(self) -> None:
        known = self._history.known
        for _ in range(4):
            known.refused.discard(self._ids)
            try:
                self._log = self._log or Log(self._store, UNITS)
                committed = self._log.commit(self._decide)
            except WriteRefused:
                if not self._is_in_doubt:
                    known.refused.add(self._ids)
                known.counts["refused"] += 1
            except BookDamaged as error:
                raise Violation("clear words", str(error)) from error
            except FileNotFoundError as error:
                raise Violation("clear words", str(error)) from error
            except (NotDurable, OSError):
                known.counts["doubts"] += 1
                self._log, self._is_in_doubt = None, True
            else:
                commit = committed.commit if committed else None
                self._history.confirm(self._ids, commit)
                return

    def _decide(self, at: Head) -> list[Event]:
        if self._is_in_doubt:
            assert self._log is not None
            seen = self._log.over(partial(look, self._store))
            if any(one.ids == self._ids for one in seen):
                return []
        return [
            reading(at.size + 1 + place, number=self._start + place)
            for place in range(len(self._ids))
        ]


def look(store: LocalStore, now: Listing) -> list[Seen]:
    """Read a whole book and work out every root by itself; raises Violation.

    A file that another listing would not name any more is no violation: FileNotFoundError.
    """
    leaves: list[bytes] = []
    seen: list[Seen] = []
    for file in now.files:
        content = store.read(file.name)
        wrong = _wrong_with(content, file.first, file.last, leaves, seen)
        if wrong is not None:
            if file not in listing.reading_set(store.names()).files:
                raise FileNotFoundError(file.name)
            raise Violation(wrong, file.name)
    return seen


def _wrong_with(
    content: bytes, first: int, last: int, leaves: list[bytes], seen: list[Seen]
) -> str | None:
    """Add what a file holds to what was seen; give the invariant it breaks, if any."""
    held = _held(content)
    if held is None or [mark.commit for mark in held.marks] != [*range(first, last + 1)]:
        return "whole"
    for mark in held.marks:
        own = [row for row in held.rows if row.commit == mark.commit]
        if [row.seq for row in own] != [*range(len(leaves) + 1, mark.size + 1)]:
            return "total order"
        leaves += [row.leaf for row in own]
        if _root(tuple(leaves)).hex() != mark.root:
            return "roots"
        seen.append(Seen(mark.commit, mark.size, mark.root, tuple(row.id for row in own)))
    told = sum(len(one.ids) for one in seen if one.commit >= first)
    return None if len(held.rows) == told else "whole"


class _Row(NamedTuple):
    seq: int
    commit: int
    leaf: bytes
    id: str


class _Held(NamedTuple):
    """What a file says, and what it holds."""

    marks: tuple[CommitMark, ...]
    rows: tuple[_Row, ...]


@lru_cache(maxsize=2_000)
def _held(content: bytes) -> _Held | None:
    """Read a file's bytes; None where they are not a whole file of the book."""
    if not check_self_hash(content):
        return None
    try:
        rows = tuple(
            _Row(
                row.seq,
                row.commit,
                sha256(b"\0" + row.canonical).digest(),
                json.loads(row.canonical)["id"],
            )
            for row in read_events(content)
        )
        return _Held(tuple(read_footer(content).marks), rows)
    except (BookDamaged, pa.ArrowException):
        return None


@lru_cache(maxsize=20_000)
def _root(leaves: tuple[bytes, ...]) -> bytes:
    """Give the root as RFC 6962, section 2.1, defines it."""
    if len(leaves) == 1:
        return leaves[0]
    half = 1 << (len(leaves) - 1).bit_length() - 1
    return sha256(b"\1" + _root(leaves[:half]) + _root(leaves[half:])).digest()


@contextmanager
def _clear_words() -> Iterator[None]:
    """Let a refusal, a doubt or the disk's own error pass; anything else is a violation."""
    try:
        yield
    except (BookDamaged, FileNotFoundError) as error:
        raise Violation("clear words", str(error)) from error
    except (WriteRefused, NotDurable, OSError):
        pass


@contextmanager
def simulated(chance: Random) -> Iterator[Callable[[Callable[[], Any]], None]]:
    """Take chance, the clock and the sizes of blocks into the simulation's hands."""
    running: list[Callable[[], Any]] = []
    clock = Clock(lambda: running[-1]())
    options = {
        **segment._SEGMENT_OPTIONS,
        "use_dictionary": ["bike"],
        "bloom_filter_options": None,
        "compression_level": 1,
    }
    with ExitStack() as stack:
        for where, name, value in (
            (secrets, "token_hex", lambda size: chance.randbytes(size).hex()),
            (log, "time", clock),
            (listing, "time", clock),
            (segment, "EVENT_SCHEMA", _NARROW),
            (segment, "_FIELDS", tuple((one.name, one.type) for one in _NARROW)),
            (segment, "_SEGMENT_OPTIONS", options),
            *_remembering(),
            (compaction, "BLOCKS", (2, 4, 8)),
            (compaction, "MOST_EVENTS", 12),
        ):
            stack.enter_context(patch.object(where, name, value))
        yield running.append


def _remembering() -> Iterator[tuple[Any, str, Any]]:
    """Give what reads a file's bytes, once for the same bytes: it takes most of the time."""
    footer_of = lru_cache(maxsize=2_000)(read_footer)
    events_of = lru_cache(maxsize=2_000)(lambda content: tuple(read_events(content)))
    for where in (compaction, files):
        yield where, "read_footer", footer_of
        yield where, "read_events", lambda content: iter(events_of(content))
    tables = lru_cache(maxsize=2_000)(
        lambda content, is_in_full: segment.read_file(content, "it", is_in_full=is_in_full)
    )
    # Of a table that is remembered, what is made of it is too: it stays the same object.
    made: dict[tuple[int, str], tuple[Any, Any]] = {}

    def once(table: Any, name: str, make: Callable[[], Any]) -> Any:
        held = made.get((id(table), name))
        if held is None or held[0] is not table:
            if len(made) > 4_000:
                made.clear()
            held = made[id(table), name] = (table, make())
        return held[1]

    yield (
        compaction,
        "read_file",
        lambda content, name, is_in_full=False: tables(content, is_in_full),
    )
    yield (
        compaction,
        "stored_in",
        lambda table: iter(once(table, "rows", lambda: tuple(segment.stored_in(table)))),
    )
    yield (
        compaction,
        "in_full",
        lambda table, units: once(table, "whole", lambda: segment.in_full(table, units)),
    )


def run(seed: int) -> Known:
    """Run the history of a seed; raises Violation."""
    history = History(seed)
    with simulated(Random(seed)) as tell:
        tell(lambda: history.running or _Nobody())
        return history.run()


class _Nobody:
    def pause(self, call: str) -> None:
        """Nothing else runs: there is nobody to wait for."""


def run_many(seeds: Sequence[int]) -> Counter[str]:
    """Run the histories of these seeds; count what happened, or raise the first Violation."""
    counts: Counter[str] = Counter()
    for seed in seeds:
        try:
            counts += run(seed).counts
        except Violation as violation:
            raise Violation(violation.invariant, f"seed {seed}: {violation}") from violation
    return counts


def report(seeds: Sequence[int], counts: Counter[str]) -> str:
    """Give what was run and held, in plain lines."""
    told = ", ".join(f"{count:,} {what}" for what, count in sorted(counts.items()))
    return (
        f"Histories of seeds {seeds[0]} to {seeds[-1]}: {len(seeds):,}. In them: {told}.\n"
        f"Held in every one: {', '.join(INVARIANTS)}."
    )


def main() -> None:
    """Run as many histories as asked for, from a seed on."""
    options = argparse.ArgumentParser(description=main.__doc__)
    options.add_argument("--count", type=int, default=20_000)
    options.add_argument("--first", type=int, default=0)
    asked = options.parse_args()
    counts: Counter[str] = Counter()
    started = time.monotonic()
    for start in range(asked.first, asked.first + asked.count, 1_000):
        seeds = range(start, min(start + 1_000, asked.first + asked.count))
        counts += run_many(seeds)
        done = range(asked.first, seeds[-1] + 1)
        print(report(done, counts), f"{time.monotonic() - started:.0f} s.", flush=True)


if __name__ == "__main__":
    sys.exit(main())
