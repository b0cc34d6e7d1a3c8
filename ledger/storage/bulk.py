"""Many commits at once into an empty log: an export brought back, or a demo book.

Nobody may build on commits that are then taken back, and nobody else's first commit may be
covered. So the files are written under temporary names first, and take their own names last one
first: until the first has its name, what others list has a gap, and nothing is written from a
gapped listing. A commit by somebody else is looked for just before that moment.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace

import pyarrow as pa

from ledger.events import Event, canonical_bytes
from ledger.storage.footer import CommitMark, Footer
from ledger.storage.head import Head, next_footer
from ledger.storage.hot import units_after
from ledger.storage.listing import commit_name, segment_name
from ledger.storage.segment import ROWS_IN_GROUP, Entry, encode, encode_segment, tabulate

ROWS_IN_SEGMENT = 100_000
FEWEST_COMMITS = 3
"""Two in the first file, so that it cannot be mistaken for a commit, and one after the gap."""


def files_of(
    commits: Iterable[Sequence[Event]], units: Mapping[str, str]
) -> Iterator[tuple[str, bytes]]:
    """Give the names and bytes of the files that hold these commits, numbered from 1.

    All but the last commit go into segments of about 100,000 events, the last into a file of its
    own. No more than one segment is held in memory.
    """
    run = _Run(units)
    for events, is_last in _telling_last(commits):
        if is_last and run.marks:
            yield run.take()
        if is_last:
            yield run.alone(events)
        else:
            run.add(events)
            if run.is_full():
                yield run.take()


class _Run:
    """Commits on their way into one segment: Python events only until a row group is full."""

    def __init__(self, units: Mapping[str, str]) -> None:
        self.marks: list[CommitMark] = []
        self._units = units
        self._footer: Footer | None = None
        self._head = Head()
        self._entries: list[Entry] = []
        self._batches: list[pa.RecordBatch] = []
        self._count_rows = 0

    def is_full(self) -> bool:
        return self._count_rows >= ROWS_IN_SEGMENT and len(self.marks) > 1

    def add(self, events: Sequence[Event]) -> None:
        entries = self._next(events)
        self.marks.append(self._footer_now().last)
        self._entries.extend(entries)
        self._count_rows += len(entries)
        if len(self._entries) >= ROWS_IN_GROUP:
            self._flush()

    def take(self) -> tuple[str, bytes]:
        """Give the segment of what was added since the last one."""
        self._flush()
        footer = replace(self._footer_now(), marks=tuple(self.marks))
        table = pa.Table.from_batches(self._batches)
        self.marks, self._batches, self._count_rows = [], [], 0
        return segment_name(footer.first, footer.last.commit), encode_segment(table, footer)

    def alone(self, events: Sequence[Event]) -> tuple[str, bytes]:
        """Give the file of one commit after all that was taken."""
        entries = self._next(events)
        return commit_name(self._head.commit), encode(entries, self._footer_now(), self._units)

    def _next(self, events: Sequence[Event]) -> list[Entry]:
        canonical = [canonical_bytes(event) for event in events]
        self._footer = next_footer(self._head, events, canonical)
        self._head = Head.after(self._footer)
        return [Entry(self._head.commit, *pair) for pair in zip(events, canonical, strict=True)]

    def _footer_now(self) -> Footer:
        assert self._footer is not None
        return self._footer

    def _flush(self) -> None:
        if self._entries:
            self._batches.append(tabulate(self._entries, self._units))
            self._units = units_after(self._units, (entry.event for entry in self._entries))
            self._entries = []


def _telling_last(commits: Iterable[Sequence[Event]]) -> Iterator[tuple[Sequence[Event], bool]]:
    waiting: Sequence[Event] | None = None
    for events in commits:
        if waiting is not None:
            yield waiting, False
        waiting = events
    if waiting is not None:
        yield waiting, True
