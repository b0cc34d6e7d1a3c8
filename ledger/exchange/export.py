"""A whole book written out as CloudEvents JSON Lines, CSV or Parquet, in bounded memory.

Text stays sealed as stored, unless it is asked for in the clear. An export in the clear does not
keep the book's roots: what was hashed is the sealed text.
"""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from typing import TYPE_CHECKING, Any, BinaryIO, Literal
from uuid import UUID

import pyarrow as pa
import pyarrow.parquet as pq

from ledger.events import Event, canonical_bytes, parse_event, plain
from ledger.events.types import format_moment
from ledger.exchange import cloudevents
from ledger.exchange.opened import opened_data
from ledger.storage.hot import hot_row, units_after
from ledger.storage.schema import AS_STORED, EVENT_SCHEMA
from ledger.vocabulary import standard

if TYPE_CHECKING:
    from ledger.book import Book

Form = Literal["cloudevents", "csv", "parquet"]
ROOTS_NOT_KEPT = "Text is in the clear, so the roots of the book are not kept by this export."
CSV_CHANGED = (
    "Cells that a spreadsheet would take for formulas begin with an apostrophe; "
    "bring a book back from CloudEvents or Parquet, not from CSV."
)
_ROWS_A_GROUP = 20_000


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written: how many events, the root they have in the book, and what to know."""

    count_events: int
    root: str
    notes: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class _Out:
    """One event on its way out."""

    event: Event
    commit: int
    data: dict[str, Any]


def export_book(
    book: Book,
    stream: BinaryIO,
    form: Form,
    *,
    clear: bool = False,
    on_progress: Callable[[int], None] | None = None,
) -> Exported:
    """Write every event of a book to a stream, in seq order.

    `on_progress` is told the events done so far.
    """
    head = book.head
    outs = _told(_outs(book, clear, head.size), on_progress)
    root = head.root or ""
    if form == "cloudevents":
        count = _write_lines(outs, stream, clear)
    elif form == "csv":
        count = _write_csv(outs, stream)
    else:
        count = _write_parquet(outs, stream, clear, {"size": str(head.size), "root": root})
    notes = [ROOTS_NOT_KEPT] if clear else []
    notes += [CSV_CHANGED] if form == "csv" else []
    return Exported(count, root, tuple(notes))


def _outs(book: Book, clear: bool, size: int) -> Iterator[_Out]:
    for seq, commit, canonical in book.rows():
        if seq > size:
            return
        event = parse_event(json.loads(canonical))
        data = opened_data(book, event) if clear else plain(event)["data"]
        yield _Out(event, commit, data)


def _told(outs: Iterator[_Out], on_progress: Callable[[int], None] | None) -> Iterator[_Out]:
    for count, out in enumerate(outs, start=1):
        yield out
        if on_progress is not None and count % 1_000 == 0:
            on_progress(count)


def _write_lines(outs: Iterator[_Out], stream: BinaryIO, clear: bool) -> int:
    count = 0
    for out in outs:
        line = cloudevents.write(out.event, out.commit, out.data if clear else None)
        stream.write(line.encode() + b"\n")
        count += 1
    return count


# -- CSV -------------------------------------------------------------------------------------

_LEFT_OUT = frozenset({*AS_STORED, "lines"})
CSV_COLUMNS = (*(name for name in EVENT_SCHEMA.names if name not in _LEFT_OUT), "data")
"""The hot columns that are one value each, and the whole payload as JSON."""


def _write_csv(outs: Iterator[_Out], stream: BinaryIO) -> int:
    text = io.TextIOWrapper(stream, encoding="utf-8", newline="", write_through=True)
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(CSV_COLUMNS)
    count, units = 0, _units()
    for out in outs:
        row = hot_row(out.event, out.commit, units)
        units = units_after(units, [out.event])
        row["data"] = json.dumps(out.data, ensure_ascii=False, separators=(",", ":"))
        writer.writerow([neutral(_csv_text(row.get(name))) for name in CSV_COLUMNS])
        count += 1
    text.flush()
    text.detach()
    return count


def _csv_text(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, bytes):
        return str(UUID(bytes=value))
    return format_moment(value) if isinstance(value, datetime) else str(value)


def neutral(text: str) -> str:
    """Give a cell no spreadsheet takes for a formula: an apostrophe before = + - @ and the like.

    Plain negative figures stay as they are.
    """
    if not text.startswith(("=", "+", "-", "@", "\t", "\r", "\n")):
        return text
    try:
        float(text)
    except ValueError:
        return f"'{text}"
    return text if text[0] == "-" and text[1:2].isdigit() else f"'{text}"


# -- Parquet ---------------------------------------------------------------------------------


def _write_parquet(
    outs: Iterator[_Out], stream: BinaryIO, clear: bool, footer: dict[str, str]
) -> int:
    schema = _clear_schema() if clear else EVENT_SCHEMA
    about = {f"lockring.{name}": value for name, value in footer.items()}
    if clear:
        about = {"lockring.text": "clear"}
    schema = schema.with_metadata(about)
    count, rows = 0, _parquet_rows(outs, clear)
    with pq.ParquetWriter(stream, schema, compression="zstd") as writer:
        while group := list(islice(rows, _ROWS_A_GROUP)):
            writer.write_table(pa.Table.from_pylist(group, schema=schema))
            count += len(group)
    return count


def _parquet_rows(outs: Iterator[_Out], clear: bool) -> Iterator[dict[str, Any]]:
    units = _units()
    for out in outs:
        row = hot_row(out.event, out.commit, units)
        units = units_after(units, [out.event])
        if clear:
            whole = {**plain(out.event), "data": out.data}
            row["event"] = json.dumps(whole, ensure_ascii=False, separators=(",", ":"))
        else:
            row["canonical"] = canonical_bytes(out.event)
        yield row


def _clear_schema() -> pa.Schema:
    """Give the book's columns with the event in clear JSON in the place of the hashed bytes."""
    at = EVENT_SCHEMA.get_field_index("canonical")
    return EVENT_SCHEMA.set(at, pa.field("event", pa.string(), nullable=False))


def _units() -> Mapping[str, str]:
    return {code: word.unit for code, word in standard().quantities.items()}
