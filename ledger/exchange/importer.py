"""A workshop's own log, CSV or XLSX, brought into a book by a mapping.

Rows are read once and kept on disk in order of time, then recorded in commits of about 2,000
events. Rows that are in the book already are passed over, so that the same file may be brought in
again, longer or mended.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.errors import Problem
from ledger.exchange.batches import Batch, Recording
from ledger.exchange.bikes_seen import BikesSeen
from ledger.exchange.drafting import Draft, Drafter, LogRow
from ledger.exchange.fields import RowWrong, Surroundings
from ledger.exchange.ids import Repeats, row_digest
from ledger.exchange.mapping import Mapping
from ledger.exchange.rejected import REASON, Rejected, rejected_path
from ledger.exchange.rows import RowReader
from ledger.exchange.spool import Spool
from ledger.exchange.tables import Table, open_table
from ledger.exchange.trial import trial_copy
from ledger.money import minor_digits

if TYPE_CHECKING:
    from ledger.book import Book

EVENTS_A_COMMIT = 2_000
_ROWS_LOOKED_UP = 2_000
_SHOWN = 20


@dataclass(slots=True)
class Imported:
    """What an import did, or (dry) would do."""

    form: str
    """The form the file was found to have: `CSV, windows-1252, ';'`."""
    is_dry: bool
    count_rows: int = 0
    count_recorded: int = 0
    """Rows recorded now."""
    count_known: int = 0
    """Rows the book held already."""
    count_rejected: int = 0
    count_commits: int = 0
    events_by_kind: Counter[str] = field(default_factory=Counter)
    first_drafts: list[tuple[int, tuple[Draft, ...]]] = field(default_factory=list)
    """(row number, its events) of the first rows recorded."""
    rejected: list[tuple[int, str]] = field(default_factory=list)
    """(row number, reason) of the first rows rejected."""
    rejected_file: Path | None = None
    """Where every rejected row stands with its reason; None if there is none."""
    warnings: list[Problem] = field(default_factory=list)


def table_of(path: Path, mapping: Mapping | None = None) -> Table:
    """Give the table in a file, in the form the mapping says, else as detected."""
    if mapping is None:
        return open_table(path)
    form = mapping.file
    return open_table(
        path,
        encoding=form.encoding,
        delimiter=form.delimiter,
        sheet=form.sheet,
        header_row=form.header_row,
    )


def import_log(
    book: Book,
    path: Path,
    mapping: Mapping,
    *,
    dry_run: bool = False,
    confirm_clock: bool = False,
    on_progress: Callable[[int, int], None] | None = None,
) -> Imported:
    """Bring a log into a book; with `dry_run` say what would be recorded, and record nothing.

    `on_progress` is told (rows done, rows in all). Raises UnreadableInput where the file is no
    table, and Refused where the mapping does not fit it.
    """
    table = table_of(path, mapping)
    if not dry_run:
        return _Import(book, table, mapping, False, confirm_clock, on_progress).run()
    with trial_copy(book) as trial:
        return _Import(trial, table, mapping, True, True, on_progress).run()


class _Import:
    def __init__(
        self,
        book: Book,
        table: Table,
        mapping: Mapping,
        is_dry: bool,
        confirm_clock: bool,
        on_progress: Callable[[int, int], None] | None,
    ) -> None:
        settings = book.settings
        around = Surroundings(settings.zone, settings.currency, minor_digits, datetime.now(UTC))
        self._book = book
        self._table = table
        self._reader = RowReader(mapping, table.columns, around)
        bikes = BikesSeen(book)
        self._recording = Recording(book, Drafter(book, self._reader, bikes), bikes, confirm_clock)
        self._said = [index for index, name in enumerate(table.columns) if name != REASON]
        self._columns = [table.columns[index] for index in self._said]
        self._repeats = Repeats()
        self._rejected = Rejected(None if is_dry else rejected_path(table.path), table.columns)
        self._done = Imported(table.form, is_dry)
        self._on_progress = on_progress

    def run(self) -> Imported:
        try:
            with Spool() as spool:
                self._read(spool)
                for batch in self._batches(spool):
                    self._record(batch)
        finally:
            self._rejected.close()
        if self._rejected.count and not self._done.is_dry:
            self._done.rejected_file = self._rejected.path
        return self._done

    def _read(self, spool: Spool) -> None:
        """Keep every row whose time can be read; reject the others."""
        for row in self._table.read():
            self._done.count_rows += 1
            if row.problem:
                self._reject(row.number, row.cells, row.problem)
                continue
            try:
                moment, _ = self._reader.when(row.cells)
            except RowWrong as wrong:
                self._reject(row.number, row.cells, str(wrong))
                continue
            spool.add(row.number, moment, row.cells)
            self._repeats.note(self._digest(row.cells))

    def _batches(self, spool: Spool) -> Iterator[list[LogRow]]:
        """Give the rows the book does not hold yet, about as many as make a commit."""
        rows = self._log_rows(spool)
        done = self._done.count_rejected
        while some := list(islice(rows, _ROWS_LOOKED_UP)):
            known = self._book.find([row.id for row in some])
            new = [row for row in some if row.id not in known]
            self._done.count_known += len(some) - len(new)
            if new:
                yield new
            done += len(some)
            if self._on_progress is not None:
                self._on_progress(done, self._done.count_rows)

    def _log_rows(self, spool: Spool) -> Iterator[LogRow]:
        for number, cells in spool.in_order():
            digest = self._digest(cells)
            moment, is_day = self._reader.when(cells)
            yield LogRow(number, cells, moment, is_day, digest, self._repeats.number(digest))

    def _digest(self, cells: Sequence[str]) -> bytes:
        said = [cells[index] for index in self._said]
        return row_digest(self._book.settings.shop, self._columns, said)

    def _record(self, rows: Sequence[LogRow]) -> None:
        for batch in self._recording.record_all(rows, EVENTS_A_COMMIT):
            self._count(batch)

    def _count(self, batch: Batch) -> None:
        done = self._done
        done.count_commits += bool(batch.recorded)
        done.count_recorded += len(batch.recorded)
        for row, drafts in batch.recorded:
            done.events_by_kind.update(draft["kind"] for draft in drafts)
            if len(done.first_drafts) < _SHOWN:
                done.first_drafts.append((row.number, drafts))
        for rejected in batch.rejected:
            self._reject(rejected.row.number, rejected.row.cells, rejected.reason)
        done.warnings += batch.warnings[: _SHOWN - len(done.warnings)]

    def _reject(self, number: int, cells: Sequence[str], reason: str) -> None:
        self._rejected.add(number, cells, reason)
        self._done.count_rejected += 1
        if len(self._done.rejected) < _SHOWN:
            self._done.rejected.append((number, reason))
