"""The rows of one file against their canonical bytes: what differs is named by its event."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.errors import Problem, Refused
from ledger.events import Event, parse_event
from ledger.storage.envelope import AROUND, STORED, as_hashed, sum_of
from ledger.storage.footer import is_of_segment
from ledger.storage.hot import units_after
from ledger.storage.schema import AS_STORED, COUNT_AT_FIRST, EVENT_SCHEMA
from ledger.storage.segment import Entry, Stored, stored_in, tabulate
from ledger.storage.verify_statistics import wrong_blooms, wrong_statistics

RESTORE = "Put the file back from a backup"
DERIVED = [name for name in EVENT_SCHEMA.names if name not in AS_STORED]
_NEEDED = frozenset((*STORED, *AROUND))
_MOST_NAMED = 8
_ROWS_AT_ONCE = 16
_UNREADABLE = (pa.ArrowException, OSError, MemoryError, ValueError)


class Held(NamedTuple):
    """An event of a file, as far as roots are concerned."""

    seq: int
    commit: int
    leaf: bytes


@dataclass
class Rows:
    """Some rows of a file in `seq` order, with the events in them."""

    table: pa.Table
    stored: list[Stored]
    events: list[Event | None]
    """None where the canonical bytes are those of no event."""


@dataclass
class Wrong:
    """What differs in some rows: the problems, and the seqs they name."""

    problems: list[Problem] = field(default_factory=list)
    seqs: set[int] = field(default_factory=set)


def problem(where: str, name: str, wrong: str, rule: str) -> Problem:
    """Give what is wrong with a file or an event in it."""
    return Problem(event=where, field=name, wrong=wrong, right=RESTORE, rule=rule)


def where(name: str, seqs: Sequence[int]) -> str:
    """Give a file and events in it, a few of them by their seq."""
    named = ", ".join(map(str, seqs[:_MOST_NAMED]))
    if len(seqs) > 2 and list(seqs) == list(range(seqs[0], seqs[-1] + 1)):
        named = f"{seqs[0]} to {seqs[-1]}"
    elif len(seqs) > _MOST_NAMED:
        named += f" and {len(seqs) - _MOST_NAMED} more"
    return f"{name}, event{'' if len(seqs) == 1 else 's'} {named}"


def decoded(name: str, content: bytes) -> tuple[pa.Table | None, list[Problem]]:
    """Give a file's rows as they stand there, and which events stand in pages nobody can read.

    Without what its canonical bytes are put together from there are no rows to look at; other
    columns that cannot be read are left out. A footer's figures are held to the rows where all
    can be read.
    """
    try:
        with pq.ParquetFile(pa.BufferReader(content)) as file:
            if wrong := wrong_columns(name, file.schema_arrow, file.metadata.metadata or {}):
                return None, [wrong]
            table = file.read()
            if problems := list(_unsaid(name, table, file.metadata.metadata or {})):
                return None, problems
            problems = [*wrong_statistics(name, file.metadata, table)]
            problems += wrong_blooms(name, content, file.metadata, table)
            return as_hashed(file, table), problems
    except _UNREADABLE:
        return _without_damage(name, content)


def wrong_columns(name: str, held: pa.Schema, said: Mapping[bytes, bytes]) -> Problem | None:
    """Give what is wrong with a file's columns: they are the declared ones, in their order.

    Those added since it was written are not there yet; later versions may have more, but none
    that a reader to whom case is nothing (DuckDB) would take for another.
    """
    declared = EVENT_SCHEMA.names
    least = declared.index("canonical_sum") + 1 if is_of_segment(said) else COUNT_AT_FIRST
    for place, due in enumerate(EVENT_SCHEMA):
        if place >= len(held):
            return None if place >= least else problem(name, due.name, "is not there", "columns")
        there = held.field(place)
        if (there.name, there.type) != (due.name, due.type):
            wrong = f"in its place stands {there.name!r}, {there.type}"
            return problem(name, due.name, wrong, "columns")
    known = {one.casefold() for one in declared}
    for more in held.names[len(declared) :]:
        if more.casefold() in known:
            return problem(name, more, "there is another column of that name", "columns")
        known.add(more.casefold())
    return None


def _unsaid(name: str, table: pa.Table, said: Mapping[bytes, bytes]) -> Iterator[Problem]:
    """Give the events that lack what every event of the file has."""
    needed = [one.name for one in EVENT_SCHEMA if not one.nullable]
    for column in [*needed, *(["canonical_sum"] if is_of_segment(said) else [])]:
        if table[column].null_count:
            seqs = table["seq"].filter(pc.is_null(table[column])).drop_null().to_pylist()
            place = where(name, sorted(seqs)) if seqs else name
            yield problem(place, column, "says nothing, and must", "hot_column")


def _without_damage(name: str, content: bytes) -> tuple[pa.Table | None, list[Problem]]:
    problems: list[Problem] = []
    with pq.ParquetFile(pa.BufferReader(content)) as file:
        for group in range(file.metadata.num_row_groups):
            problems += _unreadable(name, file, group)
        bad = {found.field for found in problems}
        kept = [column for column in file.schema_arrow.names if column not in bad]
        if bad and not bad & _NEEDED:
            try:
                return as_hashed(file, file.read(kept)), problems
            except _UNREADABLE:
                pass
    if not bad:
        wrong = "its pages do not fit together"
        problems.append(problem(name, "the file", wrong, "unreadable"))
    return None, problems


def _unreadable(name: str, file: pq.ParquetFile, group: int) -> Iterator[Problem]:
    """Give the columns of a row group that cannot be read, with the events from there on."""
    seqs, expected = _seqs(file, group), file.metadata.row_group(group).num_rows
    for column in dict.fromkeys(file.schema_arrow.names):
        count, wrong = 0, ""
        try:
            for batch in file.iter_batches(
                _ROWS_AT_ONCE, row_groups=[group], columns=[column], use_threads=False
            ):
                count += batch.num_rows
            if count != expected:
                wrong = f"{count} rows stand there, and {expected} should"
        except _UNREADABLE as error:
            wrong = f"cannot be read in the page that holds them ({_said(error)})"
        if wrong:
            suspects = sorted(seqs[count:] or seqs)
            place = where(name, suspects) if suspects else f"{name}, row group {group + 1}"
            yield problem(place, column, wrong, "unreadable")


def _seqs(file: pq.ParquetFile, group: int) -> list[int]:
    """Give the seqs of a row group, as they stand there or as the canonical bytes say."""
    try:
        return list(file.read_row_group(group, ["seq"], use_threads=False)["seq"].to_pylist())
    except _UNREADABLE:
        pass
    try:
        texts = file.read_row_group(group, ["canonical"], use_threads=False)["canonical"]
        return [json.loads(text)["seq"] for text in texts.to_pylist()]
    except (*_UNREADABLE, KeyError, TypeError):
        return []


def rows_of(table: pa.Table) -> Rows:
    """Give rows with their events, each parsed by itself."""
    stored = list(stored_in(table))
    return Rows(table, stored, [_event(one) for one in stored])


def _event(stored: Stored) -> Event | None:
    try:
        return parse_event(json.loads(stored.canonical))
    except (ValueError, TypeError, KeyError, RecursionError):
        return None


def wrong_rows(name: str, rows: Rows, units: Mapping[str, str]) -> tuple[Wrong, Mapping[str, str]]:
    """Give the rows that are not what their canonical bytes say, and the units after them."""
    found = Wrong()
    lost = [one.seq for one, event in zip(rows.stored, rows.events, strict=True) if event is None]
    if lost:
        wrong = "the bytes that were hashed are those of no event"
        found.problems.append(problem(where(name, lost), "canonical", wrong, "canonical"))
        found.seqs |= set(lost)
    if changed := [seq for seq in _changed(rows) if seq not in found.seqs]:
        wrong = "its columns and its payload are not together the bytes that were hashed"
        found.problems.append(problem(where(name, changed), "canonical", wrong, "canonical"))
        found.seqs |= set(changed)
    places = [place for place, event in enumerate(rows.events) if event is not None]
    table = rows.table if not lost else rows.table.take(pa.array(places, pa.int64()))
    events = [event for event in rows.events if event is not None]
    entries = [
        Entry(rows.stored[place].commit, event, rows.stored[place].canonical)
        for place, event in zip(places, events, strict=True)
    ]
    try:
        derived = tabulate(entries, units)
    except (Refused, ValueError, ArithmeticError, pa.ArrowException) as error:
        wrong = f"the columns cannot be worked out again ({_said(error)})"
        found.problems.append(problem(name, "canonical", wrong, "canonical"))
        return found, units
    for column, seqs in _differing(table, derived, events):
        wrong = "is not what the bytes that were hashed say"
        found.problems.append(problem(where(name, seqs), column, wrong, "hot_column"))
        found.seqs |= set(seqs)
    return found, units_after(units, events)


def _changed(rows: Rows) -> list[int]:
    """Give the seqs of a segment's rows whose bytes, put together, do not give their sum."""
    if "canonical_sum" not in rows.table.column_names:
        return []
    sums = rows.table["canonical_sum"].to_pylist()
    pairs = zip(rows.stored, sums, strict=True)
    return [one.seq for one, held in pairs if held is not None and held != sum_of(one.canonical)]


def _differing(
    stored: pa.Table, derived: pa.RecordBatch, events: Sequence[Event]
) -> Iterator[tuple[str, list[int]]]:
    """Give each hot column that differs, with the seqs of its rows as the canonical bytes say."""
    for name in DERIVED:
        if name not in stored.column_names:
            continue  # written before the column was added
        holds, should = stored[name].combine_chunks(), derived[name]
        if holds.equals(should):
            continue
        pairs = zip(_values(holds), _values(should), events, strict=True)
        seqs = [event.seq or 0 for one, other, event in pairs if one != other]
        yield name, seqs or [event.seq or 0 for event in events]


def _values(column: pa.Array) -> list[object]:
    try:
        return list(column.to_pylist())
    except (ValueError, OverflowError):
        return [_plain(one) for one in column]


def _plain(one: pa.Scalar) -> object:
    try:
        return one.as_py()
    except (ValueError, OverflowError):
        # Bytes that are no UTF-8, or a time beyond the years Python counts: equal to nothing.
        return object()


def _said(error: BaseException) -> str:
    return " ".join(str(error).split())[:160].rstrip(".")
