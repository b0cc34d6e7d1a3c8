"""Holding a log to its word: every hash, root and hot column recomputed from canonical bytes."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from itertools import islice
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from ledger.errors import BookDamaged, Problem
from ledger.events import parse_event
from ledger.storage.files import footer_of
from ledger.storage.footer import CommitMark, check_self_hash, read_footer
from ledger.storage.hot import units_after
from ledger.storage.listing import Cover, Listing
from ledger.storage.merkle import Frontier, leaf_hash
from ledger.storage.schema import EVENT_SCHEMA
from ledger.storage.segment import ROWS_IN_GROUP, Entry, Stored, stored_in, tabulate
from ledger.storage.store import Store

RESTORE = "Put the file back from a backup"
DERIVED = [name for name in EVENT_SCHEMA.names if name != "canonical"]


def verify_log(store: Store, listing: Listing, units: Mapping[str, str]) -> list[Problem]:
    """Give everything that is wrong with the files of a reading set; nothing wrong, an empty list.

    `units` is each quantity's canonical unit. One file is held in memory at a time.
    """
    problems: list[Problem] = []
    frontier = Frontier()
    for file in listing.files:
        try:
            content = store.read(file.name)
            if not check_self_hash(content):
                wrong = "the file's bytes do not give the hash it carries of itself"
                problems.append(_problem(file.name, "lockring.sha256", wrong, "self_hash"))
            found, units = _verify_file(file, content, frontier, units)
            problems.extend(found)
            frontier = footer_of(store, file.name).frontier
        except (BookDamaged, OSError, pa.ArrowException, ValueError) as error:
            wrong = f"{error} (files after it were not looked at)"
            problems.append(_problem(file.name, "the file", wrong, "unreadable"))
            break
    return problems


def _verify_file(
    file: Cover, content: bytes, before: Frontier, units: Mapping[str, str]
) -> tuple[list[Problem], Mapping[str, str]]:
    footer = read_footer(content, file.name)
    if (footer.first, footer.last.commit) != (file.first, file.last):
        raise BookDamaged(f"it holds commits {footer.first} to {footer.last.commit}")
    table = pq.read_table(pa.BufferReader(content)).sort_by("seq")
    problems = list(_wrong_roots(file, table, footer.marks, before))
    for start in range(0, table.num_rows, ROWS_IN_GROUP):
        part = table.slice(start, ROWS_IN_GROUP)
        entries = [_entry(stored) for stored in stored_in(part)]
        problems.extend(_wrong_columns(file, part, tabulate(entries, units)))
        units = units_after(units, (entry.event for entry in entries))
    return problems, units


def _wrong_roots(
    file: Cover, table: pa.Table, marks: Sequence[CommitMark], before: Frontier
) -> Iterator[Problem]:
    """Give the commits whose events do not give what the footer says of them."""
    rows = stored_in(table.select(["seq", "commit", "canonical"]))
    frontier = before
    for mark in marks:
        held = list(islice(rows, max(0, mark.size - frontier.size)))
        expected = range(frontier.size + 1, mark.size + 1)
        frontier = frontier.extend(leaf_hash(row.canonical) for row in held)
        where = f"{file.name}, commit {mark.commit}"
        if [row.seq for row in held] != list(expected):
            yield _problem(where, "seq", "events are missing or out of place", "seq_gap")
        if any(row.commit != mark.commit for row in held):
            yield _problem(where, "commit", "events name another commit", "commit_numbers")
        if (frontier.size, frontier.root().hex()) != (mark.size, mark.root):
            yield _problem(where, "root", "its events do not give the root it states", "root")
        if held and _entry(held[-1]).event.recorded_at != mark.recorded_at:
            yield _problem(where, "recorded_at", "its events were recorded at another time", "time")
    if next(rows, None) is not None:
        yield _problem(file.name, "seq", "it holds events of no commit", "seq_gap")


def _wrong_columns(file: Cover, stored: pa.Table, derived: pa.RecordBatch) -> Iterator[Problem]:
    """Give the hot columns that are not what the canonical bytes say."""
    for name in DERIVED:
        if name not in stored.column_names:
            continue  # written before the column was added
        holds, should = stored[name].combine_chunks(), derived[name]
        if holds.equals(should):
            continue
        pairs = zip(holds.to_pylist(), should.to_pylist(), strict=True)
        different = [row for row, (one, other) in enumerate(pairs) if one != other]
        seq = stored["seq"][different[0]] if different else "?"
        wrong = f"{len(different)} rows differ from their canonical bytes, first at seq {seq}"
        yield _problem(file.name, name, wrong, "hot_column")


def _entry(stored: Stored) -> Entry:
    raw: dict[str, Any] = json.loads(stored.canonical)
    return Entry(stored.commit, parse_event(raw), stored.canonical)


def _problem(where: str, field: str, wrong: str, rule: str) -> Problem:
    return Problem(event=where, field=field, wrong=wrong, right=RESTORE, rule=rule)
