"""Which part was where from when to when, and how far each had gone at any mark."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from ledger.analysis.distances import (
    NONE,
    SOURCES,
    Floats,
    Gone,
    Integers,
    Places,
    gone_between,
    summed_so_far,
)
from ledger.figures.marks import Flags, Marks, Texts
from ledger.state import made_up_part

NEW = frozenset({"shop", "warranty", "riders own"})
"""Origins of a part that is new when it is first fitted."""
_UNKNOWN = len(SOURCES) - 1


@dataclass(frozen=True, slots=True)
class Spell:
    """One part at one place from one row of the marks to another."""

    part: str
    start: int
    end: int
    """NONE while it is fitted."""
    is_found: bool
    is_new: bool
    """Fitted new, if this is its first spell."""


def moves_of(marks: Marks) -> Integers:
    """Give the rows that are fittings or removals, in order of time."""
    return np.flatnonzero((marks.kind == "part_fitted") | (marks.kind == "part_removed"))


def _ends(marks: Marks, moves: Integers) -> dict[int, int]:
    """Give for each move the next one at its position of its bike, or NONE."""
    ends: dict[int, int] = {}
    last: dict[tuple[str, str], int] = {}
    for row in moves.tolist():
        place = (marks.bike[row], marks.position[row])
        if place in last:
            ends[last[place]] = row
        ends[row] = NONE
        last[place] = row
    return ends


def fitted_spells(marks: Marks) -> list[Spell]:
    """Give every spell that a fitting began, in order of time."""
    moves = moves_of(marks)
    ends, parts, origins = _ends(marks, moves), marks.fitted_parts, marks.texts("outcome")
    is_found = marks.table["is_found"].to_pylist()
    return [
        Spell(parts[row], row, ends[row], is_found[row], origins[row] in NEW and not is_found[row])
        for row in moves.tolist()
        if marks.kind[row] == "part_fitted"
    ]


def parts_read(marks: Marks, rows: Integers, spells: list[Spell]) -> tuple[Texts, list[Spell]]:
    """Give the part of each reading, and the spells of parts found by reading them.

    That is the part the reading names, else the one fitted there, else one made up, found there
    when it was first read; it is another after every move there.
    """
    named, there = marks.fitted_parts, _there(marks)
    first_seen: dict[str, int] = {}
    for spell in spells:
        first_seen[spell.part] = min(spell.start, first_seen.get(spell.part, spell.start))
    found: dict[tuple[str, str, int, str | None], tuple[str, list[int]]] = {}
    parts = np.empty(len(rows), dtype=object)
    left_seq = marks.seqs("there_seq")
    for index, row in enumerate(rows.tolist()):
        part = named[row] or there[row]
        if part is None or first_seen.get(part, len(marks.at)) > row:
            key = (marks.bike[row], marks.position[row], int(left_seq[row]), named[row])
            part, seen = found.setdefault(key, (part or made_up_part(marks.event(row)), []))
            seen.append(row)
        parts[index] = part
    return parts, _found_spells(marks, list(found.values()), spells)


def _there(marks: Marks) -> Texts:
    """Give the part that the last move left where something was measured; None for none."""
    row_of = {seq: row for row, seq in enumerate(marks.seqs("seq").tolist())}
    parts, kinds = marks.fitted_parts, marks.texts("there_kind")
    seqs = marks.seqs("there_seq").tolist()
    return np.array(
        [
            parts[row_of[seq]] if kind == "part_fitted" else None
            for kind, seq in zip(kinds, seqs, strict=True)
        ],
        dtype=object,
    )


def _found_spells(
    marks: Marks, found: list[tuple[str, list[int]]], fitted: list[Spell]
) -> list[Spell]:
    """Give the spell of each part found by reading it: until the next move at its position, or,
    where it is seen elsewhere before that, until it was last read here."""
    moves: dict[tuple[str, str], list[int]] = {}
    for row in moves_of(marks).tolist():
        moves.setdefault((marks.bike[row], marks.position[row]), []).append(row)
    starts: dict[str, list[int]] = {}
    for part, start in [*((one.part, one.start) for one in fitted), *((p, r[0]) for p, r in found)]:
        starts.setdefault(part, []).append(start)
    spells = []
    for part, rows in found:
        end = _next(moves.get((marks.bike[rows[0]], marks.position[rows[0]]), []), rows[0])
        elsewhere = _next(sorted(starts[part]), rows[0])
        if elsewhere != NONE and (end == NONE or end > elsewhere):
            end = max(row for row in rows if row < elsewhere)
        spells.append(Spell(part, rows[0], end, True, False))
    return spells


def _next(rows: list[int], after: int) -> int:
    """Give the first of some rows, in order, that comes after one; NONE where none does."""
    place = int(np.searchsorted(rows, after, side="right"))
    return rows[place] if place < len(rows) else NONE


@dataclass(frozen=True)
class Sums:
    """How far parts had gone at N marks: Gone with days, and whether that counts from new."""

    gone: Gone
    days: Floats
    is_from_new: Flags


class PartLives:
    """All spells by part, then time, with what was gone over in each."""

    def __init__(
        self, marks: Marks, spells: list[Spell], km_per_day: Floats, log_sd: Floats
    ) -> None:
        """`km_per_day` and `log_sd` are of each row's bike."""
        self.readings = marks.readings_with_lost(km_per_day)
        names = sorted({spell.part for spell in spells})
        self.code = {name: code for code, name in enumerate(names)}
        self.spells = sorted(spells, key=lambda one: (self.code[one.part], one.start))
        self.marks, self._rates = marks, (km_per_day, log_sd)
        self.part = np.array([self.code[one.part] for one in self.spells], dtype=np.int64)
        self.start = np.array([one.start for one in self.spells], dtype=np.int64)
        self.end = np.array([one.end for one in self.spells], dtype=np.int64)
        self._is_new = np.array([one.is_new for one in self.spells], dtype=bool)
        self._is_found = np.array([one.is_found for one in self.spells], dtype=bool)

    @cached_property
    def first(self) -> Integers:
        """For each spell, the first spell of its part."""
        return np.searchsorted(self.part, self.part)

    @cached_property
    def last(self) -> Integers:
        """The last spell of each part, by part."""
        return np.searchsorted(self.part, np.arange(len(self.code)), side="right") - 1

    def _gone(self, start: Integers, end: Places) -> Gone:
        km_per_day, log_sd = (rate[start] for rate in self._rates)
        begun = self.marks.places.take(start)
        return gone_between(begun, end, self.readings, km_per_day, log_sd)

    @cached_property
    def whole(self) -> Gone:
        """What was gone over in each spell: until it ended, or the bike's last reading."""
        marks, start = self.marks, self.start
        has_later = marks.latest_row[start] > start
        ended = np.where(self.end != NONE, self.end, start)
        to_end = self._gone(start, marks.places.take(ended))
        to_latest = self._gone(start, marks.latest.take(start))
        is_latest = (self.end == NONE) & has_later
        return Gone(
            *(
                np.where(is_latest, latest, end)
                for latest, end in (
                    (to_latest.km, to_end.km),
                    (to_latest.error_km, to_end.error_km),
                    (to_latest.source, to_end.source),
                )
            )
        )

    @cached_property
    def whole_days(self) -> Floats:
        """How long each spell was: until it ended, or the bike's last event."""
        until = np.where(
            self.end != NONE, self.marks.at[self.end], self.marks.days("observed_until")[self.start]
        )
        return np.asarray(until - self.marks.at[self.start])

    def _before(self, values: Floats) -> Floats:
        """Give for each spell the sum of values over the earlier spells of its part."""
        sums = np.concatenate([[0.0], summed_so_far(values, self.part)[:-1]])
        return np.where(self.first == np.arange(len(values)), 0.0, sums[: len(values)])

    def _worst(self, source: Integers) -> Integers:
        """Give for each spell the least sure source until it, of its part."""
        step = len(SOURCES)
        return np.asarray(np.maximum.accumulate(source + step * self.part) - step * self.part)

    def spell_at(self, parts: Texts, rows: Integers) -> Integers:
        """Give the last spell of each part that began by a row of the marks."""
        code = np.array([self.code[part] for part in parts], dtype=np.int64)
        size = len(self.marks.at)
        keys, asked = self.part * size + self.start, code * size + rows
        return np.asarray(np.searchsorted(keys, asked, side="right") - 1)

    def at_rows(self, parts: Texts, rows: Integers) -> Sums:
        """Give how far each part had gone at a row of the marks; each has a spell by then."""
        spell = self.spell_at(parts, rows)
        is_over = (self.end[spell] != NONE) & (self.end[spell] <= rows)
        is_here = self.marks.bike[rows] == self.marks.bike[self.start[spell]]
        running = self._gone(self.start[spell], self.marks.places.take(rows))
        km = np.where(is_over, self.whole.km[spell], np.where(is_here, running.km, np.nan))
        error = np.where(is_over, self.whole.error_km[spell], running.error_km)
        source = np.where(is_over, self.whole.source[spell], running.source)
        days = np.where(
            is_over, self.whole_days[spell], self.marks.at[rows] - self.marks.at[self.start[spell]]
        )
        return self._summed(spell, Gone(km, error, source), days)

    def ended(self) -> Sums:
        """Give how far each part has gone in all, by part."""
        last, whole = self.last, self.whole
        gone = Gone(whole.km[last], whole.error_km[last], whole.source[last])
        return self._summed(last, gone, self.whole_days[last])

    def _summed(self, spell: Integers, now: Gone, days: Floats) -> Sums:
        """Give sums over a spell so far and the earlier ones of its part."""
        is_unknown = np.isnan(self.whole.km).astype(float)
        km = now.km + self._before(np.nan_to_num(self.whole.km))[spell]
        km = np.where(self._before(is_unknown)[spell] > 0.5, np.nan, km)
        variance = self._before(self.whole.error_km**2)[spell] + now.error_km**2
        earlier = np.where(spell > self.first[spell], self._worst(self.whole.source)[spell - 1], 0)
        is_known = ~np.isnan(km)
        source = np.where(is_known, np.maximum(now.source, earlier), _UNKNOWN)
        is_found = self._before(self._is_found.astype(float))[spell] + self._is_found[spell] > 0.5
        is_from_new = self._is_new[self.first[spell]] & ~is_found & is_known
        error = np.where(is_known, np.sqrt(np.maximum(variance, 0.0)), 0.0)
        gone = Gone(km, error, source.astype(np.int64))
        return Sums(gone, days + self._before(self.whole_days)[spell], is_from_new)
