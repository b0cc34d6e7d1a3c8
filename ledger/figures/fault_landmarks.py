"""From when a bike is watched for trouble at a position, and what came of it; one bike once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import (
    NONE,
    NULL_TIME,
    Flags,
    Floats,
    Integers,
    coded,
    codes_in,
    days,
    flags,
    floats,
    keys,
    micros,
    pairs,
    rows_of_jobs,
)
from ledger.figures.fault_happenings import NEVER, Happenings
from ledger.figures.fault_tables import FaultTables


@dataclass(frozen=True, slots=True, eq=False)
class Landmarks:
    """The bikes of one position, one row a bike; `bike` and `job` are rows of their tables."""

    bike: Integers
    job: Integers
    """The first job closed with no open fault there: the landmark."""
    is_treated: Flags
    """Whether unbilled preventive work was done there in it."""
    fine_until: Floats
    """Days since the landmark until the last look there without trouble: before it was found, else
    the bike's last event; 0 where nobody looked on purpose before it was found."""
    found: Floats
    """Days until a fault was found there; infinite where none was."""
    last: Floats
    """Days until the bike's last event."""
    stratum: Integers
    """Tier of the job and kind of riding."""
    minutes: Floats
    """Of the next job in which a fault was put right there; NaN where none was."""


@dataclass(frozen=True, eq=False)
class Bench:
    """What every position's landmarks are worked out from."""

    tables: FaultTables

    # -- jobs, in order of bike and closing ---------------------------------------------------

    @cached_property
    def order(self) -> Integers:
        """The rows of closed jobs, bike by bike in order of closing."""
        codes = self.tables.codes
        rows = np.flatnonzero((codes.closed != NULL_TIME) & (codes.bike_of_job != NONE))
        if not len(rows):
            return rows
        return rows[np.argsort(keys(codes.bike_of_job[rows], codes.closed[rows]), kind="stable")]

    @cached_property
    def bike(self) -> Integers:
        """The bike of each job of `order`."""
        return self.tables.codes.bike_of_job[self.order]

    @cached_property
    def closed(self) -> Integers:
        """When each job of `order` was closed."""
        return self.tables.codes.closed[self.order]

    @cached_property
    def first(self) -> Integers:
        """Where each bike's jobs begin in `order`."""
        return np.flatnonzero(np.append(True, self.bike[1:] != self.bike[:-1])[: len(self.bike)])

    @cached_property
    def stratum(self) -> Integers:
        """Of each job of `order`: its tier with the bike's kind of riding."""
        codes = self.tables.codes
        riding = codes.riding.code[self.bike]
        return pairs(codes.tier.code[self.order] + 1, riding + 1)

    @cached_property
    def minutes(self) -> Floats:
        """Minutes worked in each job of `job_facts`."""
        names = ("quoted", "found_later", "come_back", "goodwill")
        columns = [floats(self.tables.job_facts[f"minutes_{name}"]) for name in names]
        return np.asarray(np.sum(columns, axis=0))

    @cached_property
    def sort(self) -> Integers:
        """The sort of each bike: its kind, and whether it has gears."""
        bikes = self.tables.bikes
        kind, speeds = coded(bikes["bike_kind"]).code + 1, floats(bikes["speeds"])
        return pairs(kind, np.where(speeds > 1, 1, np.where(speeds == 1, 0, 2)))

    # -- work, looks and trouble by position --------------------------------------------------

    @cached_property
    def treatments(self) -> pa.Table:
        """Preventive treatments, with `row`, that of their job in `job_facts`; billed ones and
        those of no job left out."""
        work, codes = self.tables.preventive_work, self.tables.codes
        bike = codes_in(work["bike"], codes.bike_names)
        row = rows_of_jobs(self.tables.job_facts["job"], codes.bike_of_job, work["job"], bike)
        kept = (row != NONE) & ~flags(work["is_billed"])
        return work.append_column("row", pa.array(row)).filter(pa.array(kept)).combine_chunks()

    @cached_property
    def positions(self) -> tuple[str, ...]:
        """Positions with unbilled preventive work."""
        return tuple(sorted(pc.unique(self.treatments["position"]).to_pylist()))

    @cached_property
    def _place_of_treatment(self) -> Integers:
        return codes_in(self.treatments["position"], self.positions)

    @cached_property
    def _row_of_treatment(self) -> Integers:
        return np.asarray(self.treatments["row"].to_numpy(), dtype=np.int64)

    @cached_property
    def _place_of_episode(self) -> Integers:
        return codes_in(self.tables.episodes["position"], self.positions)

    @cached_property
    def _ended(self) -> Integers:
        ended = micros(self.tables.episodes["ended_at"])
        return np.where(ended == NULL_TIME, NEVER, ended)

    @cached_property
    def _looks(self) -> tuple[Integers, Integers, Integers]:
        """Looks at these positions: place, bike, when."""
        looks = self.tables.looks_at(self.positions)
        bike = codes_in(looks["bike"], self.tables.codes.bike_names)
        return codes_in(looks["position"], self.positions), bike, micros(looks["occurred_at"])

    @cached_property
    def _repairs(self) -> tuple[Integers, Integers, Integers]:
        """Of each repair: place, its bike where its job is known, and when."""
        codes, repairs = self.tables.codes, self.tables.repairs
        bike = np.where(codes.job_of_repair == NONE, NONE, codes.bike_of_repair)
        return codes_in(repairs["position"], self.positions), bike, micros(repairs["put_right_at"])

    def _at(
        self,
        place: int,
        of_place: Integers,
        bike: Integers,
        at: Integers,
        ended: Integers | None = None,
    ) -> tuple[Happenings, Integers]:
        """Give what happened at one of `positions`, and the rows it is of."""
        rows = np.flatnonzero(of_place == place)
        over = None if ended is None else ended[rows]
        count_bikes = len(self.tables.codes.bike_names)
        return Happenings.of(bike[rows], at[rows], count_bikes, over), rows

    def treatments_at(self, place: int) -> tuple[str, ...]:
        """Give which treatments were done at one of `positions`."""
        done = self.treatments.filter(pa.array(self._place_of_treatment == place))
        return tuple(sorted(pc.unique(done["treatment"].drop_null()).to_pylist()))

    def count_on(self, place: int, bikes: Landmarks) -> int:
        """Give how many treatments were done there in the landmark's own job."""
        is_landmark = np.zeros(len(self.tables.job_facts), dtype=np.bool_)
        is_landmark[bikes.job] = True
        worked = self._row_of_treatment[self._place_of_treatment == place]
        return int(np.count_nonzero(is_landmark[worked]))

    # -- one position -------------------------------------------------------------------------

    def landmarks(self, place: int) -> Landmarks:
        """Give the bikes of one of `positions`.

        Left out are bikes not seen again, and those of sorts (kind, and with gears or without)
        of which none ever had work or trouble there: what they do not have gives no trouble.
        """
        codes = self.tables.codes
        given = (self._place_of_episode, codes.bike_of_episode, codes.found, self._ended)
        trouble, _ = self._at(place, *given)
        worked = self._row_of_treatment[self._place_of_treatment == place]
        has_it = np.zeros(int(self.sort.max(initial=0)) + 1, dtype=np.bool_)
        has_it[self.sort[codes.bike_of_job[worked]]] = True
        has_it[self.sort[trouble.bike]] = True
        start = self.first[has_it[self.sort[self.bike[self.first]]]]
        job = self._first_without(start, trouble)
        job = job[codes.watched_to[self.bike[job]] > self.closed[job]]
        return self._followed(place, job, worked, trouble)

    def _first_without(self, job: Integers, trouble: Happenings) -> Integers:
        """Give each bike's first job of `order` that was closed with nothing open there."""
        found = [job[:0]]
        while len(job):
            is_open = trouble.is_open(self.bike[job], self.closed[job])
            found.append(job[~is_open])
            job = job[is_open] + 1
            job = job[job < len(self.bike)]
            job = job[self.bike[job] == self.bike[job - 1]]
        return np.concatenate(found)

    def _followed(
        self, place: int, job: Integers, worked: Integers, trouble: Happenings
    ) -> Landmarks:
        codes = self.tables.codes
        bike, at, row = self.bike[job], self.closed[job], self.order[job]
        is_treated = np.zeros(len(codes.closed), dtype=np.bool_)
        is_treated[worked] = True
        next_one, seen = trouble.next_after(bike, at), codes.watched_to[bike]
        with_it = np.flatnonzero(next_one != NONE)
        found = np.full(len(job), np.inf)
        when = trouble.at[next_one[with_it]]
        found[with_it] = days(when - at[with_it])
        looks, _ = self._at(place, *self._looks)
        fine = seen.copy()
        fine[with_it] = looks.last_between(bike[with_it], at[with_it], when)
        return Landmarks(
            bike=bike,
            job=row,
            is_treated=is_treated[row],
            fine_until=days(fine - at),
            found=found,
            last=days(seen - at),
            stratum=self.stratum[job],
            minutes=self._next_minutes(place, bike, at),
        )

    def _next_minutes(self, place: int, bike: Integers, at: Integers) -> Floats:
        repairs, rows = self._at(place, *self._repairs)
        next_one = repairs.next_after(bike, at)
        is_some = next_one != NONE
        found = np.full(len(bike), np.nan)
        repair = rows[repairs.row[next_one[is_some]]]
        found[is_some] = self.minutes[self.tables.codes.job_of_repair[repair]]
        return found
