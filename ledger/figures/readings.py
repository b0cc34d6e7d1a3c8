"""A book's readings, parts and distances as the tables that wear is worked out from."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.distances import SOURCES, Floats, Integers
from ledger.analysis.readings import PARTS, READINGS, conforming
from ledger.analysis.usage import Usage, fit_usage
from ledger.book import Book
from ledger.figures.ahead import TOLD_APART, BookTables
from ledger.figures.mark_ranges import Ranges, cut
from ledger.figures.marks import Marks, Texts, in_time
from ledger.figures.spells import PartLives, Spell, Sums, fitted_spells, parts_read
from ledger.vocabulary import Vocabulary

DOES_NOT_WEAR = frozenset({"runout", "age"})
"""Quantities with a limit that no distance brings nearer."""
LENGTHS = {"roller_span": "elongation"}
"""Lengths that are read instead of a quantity with a limit: grown by so many per cent."""
_OF_DISTANCES = frozenset(
    (
        *("bike", "seq", "kind", "occurred_at", "riding", "outcome"),
        *("distance_km", "distance_total_km", "computer"),
    )
)
_SOURCES = np.array(SOURCES, dtype=object)


@dataclass(frozen=True, slots=True)
class BookReadings:
    """What wear is worked out from; the schemas say what each column is."""

    readings: pa.Table
    """`ledger.analysis.readings.READINGS`."""
    parts: pa.Table
    """`ledger.analysis.readings.PARTS`."""
    distances: pa.Table
    """`ledger.analysis.readings.DISTANCES`."""
    usage: Usage
    """How far the bikes are ridden."""


def book_readings(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    ahead: BookTables | None = None,
) -> BookReadings:
    """Give all live readings of what wears, all parts and all distance readings of a book.

    As at an instant (None for now), as the book knew it to a seq (None for all it holds);
    `ahead` are its tables as at the same, where they were asked for before.
    """
    tables = ahead or BookTables(book, as_at, known_seq)
    # Asked first: what the engine takes for it is free again before there are marks.
    facts = _facts_without_column(tables)
    words = book.vocabulary_known(tables.asked.known_seq)
    with tables.marks() as marks:
        ranges = cut(marks)
        distances = _distances(ranges)
        usage = fit_usage(distances)
        found = [_of_range(in_time(one), book, words, facts, usage) for one in ranges.read()]
    by_time = [("measured_at", "ascending"), ("seq", "ascending")]
    readings = _in_order([readings for readings, _ in found], by_time)
    parts = _in_order([parts for _, parts in found], [("part", "ascending")])
    return BookReadings(readings, parts, distances, usage)


def _distances(ranges: Ranges) -> pa.Table:
    """Give the distance readings of all ranges as DISTANCES."""
    marks = ranges.read(_OF_DISTANCES)
    read = (some.filter(pc.equal(some["kind"], "distance_read")) for some in marks)
    keys = [("bike", "ascending"), ("at", "ascending"), ("seq", "ascending")]
    return _in_order([in_time(some).distances() for some in read], keys)


def _of_range(
    marks: Marks, book: Book, words: Vocabulary, facts: dict[int, dict[str, Any]], usage: Usage
) -> tuple[pa.Table, pa.Table]:
    """Give READINGS and PARTS of marks that hold all there is of each of their parts."""
    rows, direction = _worn(marks, words)
    spells = fitted_spells(marks)
    parts, found = parts_read(marks, rows, spells)
    rates = usage.of(marks.bike, marks.texts("riding"))
    lives = PartLives(marks, [*spells, *found], *rates)
    limits = _Limits(marks, words, book, facts)
    return _readings(marks, rows, parts, direction, lives, limits), _parts(marks, lives)


def _in_order(tables: list[pa.Table], keys: list[tuple[str, str]]) -> pa.Table:
    """Give one table of several, each of which is in this order; the list is emptied."""
    if len(tables) == 1:
        return tables[0]
    whole = pa.concat_tables(tables)
    tables.clear()
    return whole.sort_by(keys)


def _direction(words: Vocabulary, position: str, quantity: str) -> int:
    """Give the way wear moves a quantity: +1 or -1; 0 for one that does not wear."""
    if quantity in DOES_NOT_WEAR:
        return 0
    quantity = LENGTHS.get(quantity, quantity)
    limit = words.limit_for(position, quantity, None)
    sides = {one.direction for one in words.limits if one.quantity == quantity}
    if limit is not None:
        sides = {limit.direction}
    return {frozenset({"above"}): 1, frozenset({"below"}): -1}.get(frozenset(sides), 0)


def _worn(marks: Marks, words: Vocabulary) -> tuple[Integers, Integers]:
    """Give the rows that are readings of what wears, and the way each goes."""
    measured = np.flatnonzero(marks.kind == "measured")
    quantity = marks.texts("quantity")
    ways: dict[tuple[str, str], int] = {}
    direction = []
    for row in measured.tolist():
        key = (marks.position[row], quantity[row])
        if key not in ways:
            ways[key] = _direction(words, *key)
        direction.append(ways[key])
    found = np.array(direction, dtype=np.int64)
    return measured[found != 0], found[found != 0]


def _facts_without_column(tables: BookTables) -> dict[int, dict[str, Any]]:
    """Give the payload of readings that tell a length when new or a backing plate, by seq."""
    return {
        row["seq"]: json.loads(row["canonical"])["data"]
        for row in tables.answer(TOLD_APART).select(["seq", "canonical"]).to_pylist()
    }


class _Limits:
    """What readings began at and where their limits are, as far as anybody knows."""

    def __init__(
        self, marks: Marks, words: Vocabulary, book: Book, facts: dict[int, dict[str, Any]]
    ) -> None:
        self._marks, self._words, self._book = marks, words, book
        self._quantity, self._speeds = marks.texts("quantity"), marks.seqs("speeds")
        seqs = marks.seqs("seq")
        told = np.flatnonzero(np.isin(seqs, np.fromiter(facts, np.int64, len(facts)))).tolist()
        self._told = {row: facts[int(seqs[row])] for row in told}

    def plated(self) -> frozenset[int]:
        """Give the rows of pads that were read with their backing plate."""
        return frozenset(row for row, data in self._told.items() if data.get("with_backing_plate"))

    def starts(self) -> Floats:
        """Give each row's figure when new, if the reading tells it; NaN where it does not."""
        found = np.full(len(self._quantity), np.nan)
        for row, data in self._told.items():
            new = data.get("length_when_new")
            if new is not None and new.get("canonical") is not None:
                is_share = self._quantity[row] in LENGTHS.values()
                found[row] = 0.0 if is_share else float(new["canonical"])
        return found

    def limits(self) -> Floats:
        """Give the limit stored with each reading, else that of a length of known zero, or NaN."""
        found, starts = self._marks.floats("limit_value").copy(), self.starts()
        for row in np.flatnonzero(np.isnan(found) & ~np.isnan(starts)).tolist():
            if self._quantity[row] in LENGTHS:
                found[row] = self._grown(row, starts[row])
        return found

    def _grown(self, row: int, start: float) -> float:
        day = self._book.settings.local(self._marks.table["occurred_at"][row].as_py())
        speeds = int(self._speeds[row])
        found = self._words.limit_for(
            self._marks.position[row],
            LENGTHS[self._quantity[row]],
            speeds if speeds >= 0 else None,
            day.date().isoformat(),
        )
        return math.nan if found is None else start * float(1 + found.due / Decimal(100))


def _series(part: str, quantity: str, point: str | None, has_plate: bool) -> str:
    names = (part, quantity, point, "with backing plate" if has_plate else None)
    return "/".join(name for name in names if name)


def _named(marks: Marks, lives: PartLives, column: str) -> Texts:
    """Give for each spell what its part was last called by then."""
    said, called = marks.texts(column), np.empty(len(lives.spells), dtype=object)
    for index, spell in enumerate(lives.spells):
        is_fitting = marks.kind[spell.start] == "part_fitted"
        name = said[spell.start] if is_fitting else None
        if name is None and index and lives.part[index - 1] == lives.part[index]:
            name = called[index - 1]
        called[index] = name
    return called


def _gone(sums: Sums) -> dict[str, Any]:
    return {
        "distance_km": _nullable(sums.gone.km),
        "distance_error_km": sums.gone.error_km,
        "distance_source": _SOURCES[sums.gone.source],
        "days": sums.days,
        "is_from_new": sums.is_from_new,
    }


def _nullable(values: Floats) -> pa.Array:
    return pa.array(values, pa.float64(), from_pandas=True)


def _texts(texts: Iterable[str]) -> pa.Array:
    """Give texts that are each told once, so that no list of them is held beside other columns."""
    return pa.array(texts, pa.string())


def _readings(
    marks: Marks,
    rows: Integers,
    parts: Texts,
    direction: Integers,
    lives: PartLives,
    limits: _Limits,
) -> pa.Table:
    spell = lives.spell_at(parts, rows)
    columns: dict[str, Any] = {
        name: marks.texts(name)[rows]
        for name in ("bike", "rider", "position", "quantity", "point", "riding", "gauge", "unit")
    }
    plated = limits.plated()
    columns |= {
        "series": _texts(
            _series(part, quantity, point, row in plated)
            for part, quantity, point, row in zip(
                parts, columns["quantity"], columns["point"], rows.tolist(), strict=True
            )
        ),
        "part": parts,
        "make": _named(marks, lives, "make")[spell],
        "model": _named(marks, lives, "model")[spell],
        "event": _texts(map(marks.event, rows.tolist())),
        "seq": marks.seqs("seq")[rows],
        "recorded_at": marks.moments("recorded_at", rows),
        "measured_at": marks.moments("occurred_at", rows),
        "value": _nullable(marks.floats("value")[rows]),
        "low": _nullable(marks.floats("value_low")[rows]),
        "high": _nullable(marks.floats("value_high")[rows]),
        "limit": _nullable(limits.limits()[rows]),
        "direction": direction,
        "start": _nullable(limits.starts()[rows]),
    }
    return conforming({**columns, **_gone(lives.at_rows(parts, rows))}, READINGS)


def _parts(marks: Marks, lives: PartLives) -> pa.Table:
    last, kind = lives.last, marks.kind
    spells: list[Spell] = [lives.spells[index] for index in last.tolist()]
    outcome = marks.texts("outcome")
    reason = [
        None
        if one.end < 0
        else (outcome[one.end] if kind[one.end] == "part_removed" else "replaced")
        for one in spells
    ]
    start, first = lives.start[last], lives.start[lives.first[last]]
    seen = np.where(lives.end[last] >= 0, lives.end[last], marks.last_row_of_bike[start])
    ended = [None if one.end < 0 else one.end for one in spells]
    columns: dict[str, Any] = {
        "part": [one.part for one in spells],
        "bike": marks.bike[start],
        "rider": marks.texts("rider")[seen],
        "position": marks.position[start],
        "make": _named(marks, lives, "make")[last],
        "model": _named(marks, lives, "model")[last],
        "riding": marks.texts("riding")[seen],
        "is_found": [lives.spells[index].is_found for index in lives.first[last].tolist()],
        "is_fitted": lives.end[last] < 0,
        "fitted_at": marks.moments("occurred_at", first),
        "ended_at": marks.moments("occurred_at", pa.array(ended, pa.int64())),
        "end_reason": reason,
    }
    return conforming({**columns, **_gone(lives.ended())}, PARTS)
