"""Live events of some bikes as numbers, and what several folds ask of them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pyarrow as pa

from ledger.engines.every.columns import (
    NONE,
    Choice,
    Numbers,
    by_key,
    codes_of,
    found_in,
    in_time,
    is_one_of,
    is_true,
    later,
    latest,
    micros_of,
    millionths_of,
    place_of,
    places_in,
    tag_numbers,
    whole,
)

Effects = Callable[[frozenset[str]], pa.Table]
"""Gives `position_effects` where these positions are named."""


class Rows:
    """Live events of one part: its columns by name, its bikes by their place among all bikes."""

    def __init__(self, table: pa.Table, bikes: pa.Array) -> None:
        """`bikes` are the tags that have a live event, sorted."""
        self._columns = {name: whole(table[name]) for name in table.column_names}
        self.bike: Numbers = _places_among(bikes, self._columns.pop("bike"))
        self.at = micros_of(self._columns["occurred_at"])
        self.seq: Numbers = np.asarray(self._columns["seq"].to_numpy())

    def __getitem__(self, name: str) -> pa.Array:
        """Give a column."""
        return self._columns[name]

    def codes(self, name: str) -> Numbers:
        """Give a column of texts by code."""
        column = self._columns[name]
        return codes_of(column.dictionary_encode() if pa.types.is_string(column.type) else column)

    def kinds(self, *kinds: str) -> Choice:
        """Say which rows are of these kinds."""
        return is_one_of(self._columns["kind"], kinds)

    def in_order(self) -> Numbers:
        """Give the rows by bike, then time, then seq."""
        order = in_time(self.at, self.seq)
        return np.asarray(order[by_key(self.bike, place_of(order))[1]])

    def last(self, key: Numbers, among: Choice | None = None) -> Numbers:
        """Give the last row of each key by time, then seq, in order of the keys."""
        if among is None:
            return latest(key, self.at, self.seq)
        rows = np.flatnonzero(among)
        return np.asarray(rows[latest(key[rows], self.at[rows], self.seq[rows])])

    def first(self, key: Numbers, among: Choice) -> Numbers:
        """Give the first row of each key by time, then seq, in order of the keys."""
        rows = np.flatnonzero(among)
        return np.asarray(rows[latest(key[rows], -self.at[rows], -self.seq[rows])])

    def looked_up(
        self, key: Numbers, among: Numbers, wanted: Numbers, *names: str
    ) -> dict[str, pa.Array]:
        """Give columns of the rows `among`, in order of their keys, of wanted keys; else nulls."""
        place, is_there = found_in(key[among], wanted)
        chosen = among[place] if len(among) else place
        places = pa.array(chosen, mask=~is_there)
        return {name: self._columns[name].take(places) for name in names}

    def taken(self, places: Numbers, **names: str) -> dict[str, pa.Array]:
        """Give columns of some rows, by the names they go by then."""
        rows = pa.array(places)
        return {called: self._columns[name].take(rows) for called, name in names.items()}


def _places_among(bikes: pa.Array, tags: pa.Array) -> Numbers:
    """Give each tag's place among all, sorted; tags are told by code or as numbers."""
    among = tag_numbers(bikes)
    if pa.types.is_integer(tags.type):
        return np.asarray(np.searchsorted(among, tags.to_numpy()))
    return np.asarray(np.searchsorted(among, tag_numbers(tags.dictionary))[codes_of(tags)])


class Answer:
    """Rows of a relation on their way: bikes by place, and columns."""

    def __init__(self, bikes: pa.Array, bike: Numbers, **columns: pa.Array) -> None:
        """One row for each of `bike`."""
        self.table = pa.table({"bike": bikes.take(pa.array(bike)), **columns})

    def where(self, choice: Choice) -> pa.Table:
        """Give the rows that are chosen."""
        return self.table.filter(pa.array(choice))


class Distances:
    """The distance readings of every bike in order, each summed over computers."""

    def __init__(self, rows: Rows) -> None:
        order = rows.in_order()
        self.bike, self.at, self.seq = rows.bike[order], rows.at[order], rows.seq[order]
        shown = millionths_of(rows["distance_km"])[order]
        is_first = np.append(True, self.bike[1:] != self.bike[:-1])[: len(order)]
        starts = np.flatnonzero(is_first | is_true(rows["is_computer_replaced"])[order])
        if not len(starts):
            self.km = shown
            return
        highest = np.maximum.reduceat(shown, starts)
        before = np.cumsum(highest) - highest
        # What is before the first computer of a bike is other bikes'.
        of_bike = self.bike[starts]
        first = np.searchsorted(of_bike, of_bike)
        computer = np.repeat(np.arange(len(starts)), np.diff(np.append(starts, len(order))))
        self.km = shown + (before - before[first])[computer]

    def last(self, bike: Numbers) -> tuple[Numbers, Choice]:
        """Give the place of each bike's last reading, and whether it has one."""
        place = np.searchsorted(self.bike, bike, side="right") - 1
        return self._sound(place, bike)

    def before(self, bike: Numbers, at: Numbers, seq: Numbers) -> tuple[Numbers, Choice]:
        """Give the place of the last reading of each bike before an event, and if there is one."""
        both = (np.concatenate(pair) for pair in ((self.at, at), (self.seq, seq)))
        moment = place_of(in_time(*both))
        read, asked = moment[: len(self.at)], moment[len(self.at) :]
        bits = max(len(moment).bit_length(), 1)
        # Readings are in order already: as many as came by then tell which was the last.
        by_then = np.searchsorted((self.bike << bits) | read, (bike << bits) | asked)
        return self._sound(by_then - 1, bike)

    def _sound(self, place: Numbers, bike: Numbers) -> tuple[Numbers, Choice]:
        if not len(self.bike):
            return np.zeros(len(bike), np.int64), np.zeros(len(bike), bool)
        safe = np.maximum(place, 0)
        return safe, (place >= 0) & (self.bike[safe] == bike)

    def km_at(self, place: Numbers) -> Numbers:
        """Give the distance at readings, in millionths of a km."""
        return self.km[place] if len(self.km) else np.zeros(len(place), np.int64)


class Reached:
    """What work at a position reaches, over the positions that any of the events name."""

    def __init__(self, effects: Effects, *columns: pa.Array) -> None:
        named = [one.dictionary for one in columns]
        self._names = pa.compute.unique(pa.concat_arrays([one.cast(pa.string()) for one in named]))
        table = effects(frozenset(self._names.to_pylist()) - {None})
        self._effects = {
            effect: self._pairs(table.filter(pa.compute.equal(table["effect"], effect)))
            for effect in ("within", "hidden by")
        }

    def _pairs(self, table: pa.Table) -> tuple[Numbers, Numbers]:
        ends = [
            pa.compute.index_in(table[name].combine_chunks(), self._names)
            for name in ("position", "reached")
        ]
        both = pa.compute.and_(ends[0].is_valid(), ends[1].is_valid())
        start, end = (np.asarray(one.filter(both).to_numpy(), dtype=np.int64) for one in ends)
        order = np.argsort(start, kind="stable")
        return start[order], end[order]

    def codes(self, column: pa.Array) -> Numbers:
        """Give each position's code: its place among all that are named; NONE where none is."""
        places = places_in(column.dictionary, self._names)
        return np.append(places, NONE)[codes_of(column)]

    def spread(self, position: Numbers, effect: str) -> tuple[Numbers, Numbers]:
        """Give for work at positions the rows (again and again) and the positions they reach."""
        start, end = self._effects[effect]
        first = np.searchsorted(start, position)
        count = np.searchsorted(start, position, side="right") - first
        rows = np.repeat(np.arange(len(position)), count)
        within = np.arange(len(rows)) - np.repeat(np.cumsum(count) - count, count)
        return rows, end[np.repeat(first, count) + within]


class Happened:
    """When something last happened, by bike and position: what is told of works that void."""

    def __init__(self, bike: Numbers, position: Numbers, at: Numbers, seq: Numbers) -> None:
        key = _at_position(bike, position)
        last = latest(key, at, seq)
        self.key, self.bike, self.position = key[last], bike[last], position[last]
        self.at, self.seq = at[last], seq[last]

    def reaching(self, reached: Reached, effect: str) -> Happened:
        """Give when something last reached positions from where it happened."""
        rows, position = reached.spread(self.position, effect)
        return Happened(self.bike[rows], position, self.at[rows], self.seq[rows])

    def joined(self, other: Happened) -> Happened:
        """Give when either last happened."""
        mine, theirs = self._parts(), other._parts()
        return Happened(*(np.concatenate(pair) for pair in zip(mine, theirs, strict=True)))

    def _parts(self) -> tuple[Numbers, Numbers, Numbers, Numbers]:
        return self.bike, self.position, self.at, self.seq

    def after(self, bike: Numbers, position: Numbers, at: Numbers, seq: Numbers) -> Choice:
        """Say at which of some places it happened after what is told of them."""
        place, is_there = found_in(self.key, _at_position(bike, position))
        if not len(self.key):
            return is_there
        return is_there & later(self.at[place], self.seq[place], at, seq)


def _at_position(bike: Numbers, position: Numbers) -> Numbers:
    # The same key for the same place, whichever rows are looked at.
    return (bike << 24) | (position + 1)
