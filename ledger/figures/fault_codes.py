"""A book's fault tables as numbers: which bike, job and part each row is of, worked out once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
import pyarrow as pa

from ledger.figures.fault_arrays import (
    NONE,
    Coded,
    Integers,
    coded,
    codes_in,
    last_before,
    micros,
    rows_of_jobs,
)
from ledger.figures.fault_sorts import ModelsOf, models_of

if TYPE_CHECKING:
    from ledger.figures.fault_tables import FaultTables


@dataclass(frozen=True, eq=False)
class FaultCodes:
    """Bikes, jobs and parts are rows of `bikes`, `job_facts` and `spells`; NONE is none of them.

    Times are microseconds since 1970, NULL_TIME where there is none.
    """

    tables: FaultTables

    def _bikes(self, table: pa.Table) -> Integers:
        return codes_in(table["bike"], self.bike_names)

    @cached_property
    def bike_names(self) -> pa.Array:
        """The tags of `bikes`, in its order."""
        return self.tables.bikes["bike"].combine_chunks()

    @cached_property
    def watched_from(self) -> Integers:
        """Of each bike: when its first job was closed."""
        return micros(self.tables.bikes["first_closed_at"])

    @cached_property
    def watched_to(self) -> Integers:
        """Of each bike: its last event."""
        return micros(self.tables.bikes["observed_until"])

    @cached_property
    def riding(self) -> Coded:
        """Of each bike."""
        return coded(self.tables.bikes["riding"])

    # -- episodes and repairs ---------------------------------------------------------------------

    @cached_property
    def bike_of_episode(self) -> Integers:
        """The bike of each of `episodes`."""
        return self._bikes(self.tables.episodes)

    @cached_property
    def found(self) -> Integers:
        """When each episode was found."""
        return micros(self.tables.episodes["found_at"])

    @cached_property
    def system_of_episode(self) -> Coded:
        """The system of each of `episodes`."""
        return coded(self.tables.episodes["system"])

    @cached_property
    def position_of_episode(self) -> Coded:
        """The position of each of `episodes`."""
        return coded(self.tables.episodes["position"])

    @cached_property
    def bike_of_repair(self) -> Integers:
        """The bike of each of `repairs`."""
        return self._bikes(self.tables.repairs)

    @cached_property
    def _jobs(self) -> tuple[Integers, Integers]:
        """The jobs of episodes and of repairs, looked up together."""
        names = [self.tables.episodes["found_job"], self.tables.repairs["job"]]
        bikes = (self.bike_of_episode, self.bike_of_repair)
        asked = pa.chunked_array([chunk for name in names for chunk in name.chunks], pa.string())
        row = rows_of_jobs(
            self.tables.job_facts["job"], self.bike_of_job, asked, np.concatenate(bikes)
        )
        return row[: len(bikes[0])], row[len(bikes[0]) :]

    @property
    def job_of_episode(self) -> Integers:
        """The job each episode was found in."""
        return self._jobs[0]

    @property
    def job_of_repair(self) -> Integers:
        """The job each of `repairs` was done in."""
        return self._jobs[1]

    # -- jobs -------------------------------------------------------------------------------------

    @cached_property
    def bike_of_job(self) -> Integers:
        """The bike of each of `job_facts`."""
        return self._bikes(self.tables.job_facts)

    @cached_property
    def closed(self) -> Integers:
        """When each job was closed."""
        return micros(self.tables.job_facts["closed_at"])

    @cached_property
    def tier(self) -> Coded:
        """Of each job."""
        return coded(self.tables.job_facts["tier"])

    # -- parts ------------------------------------------------------------------------------------

    @cached_property
    def bike_of_part(self) -> Integers:
        """The bike of each of `spells`."""
        return self._bikes(self.tables.spells)

    @cached_property
    def models(self) -> ModelsOf:
        """The models of `spells`."""
        return models_of(self.tables.spells)

    @cached_property
    def fitted(self) -> Integers:
        """When each part was fitted."""
        return micros(self.tables.spells["started_at"])

    @cached_property
    def ended(self) -> Integers:
        """When each part was removed, else its bike's last event."""
        return micros(self.tables.spells["ended_at"])

    @cached_property
    def part_of_episode(self) -> Integers:
        """The part that sat at an episode's position when it was found.

        Only parts at places where anything was ever found are looked through.
        """
        position, bike = self.position_of_episode, self.bike_of_episode
        width, here = len(position.names) + 1, self.bike_of_part
        asked = np.where(bike == NONE, NONE, bike * width + position.code)
        at = codes_in(self.tables.spells["position"], position.names)
        is_asked = np.zeros(len(self.bike_names) * width + 1, dtype=np.bool_)
        is_asked[asked[asked != NONE]] = True
        place = np.where((at == NONE) | (here == NONE), len(is_asked) - 1, here * width + at)
        rows = np.flatnonzero(is_asked[place])
        if not len(rows):
            return np.full(len(asked), NONE, dtype=np.int64)
        row = last_before(place[rows], self.fitted[rows], asked, self.found)
        part = np.where(row == NONE, NONE, rows[row])
        return np.where((part != NONE) & (self.found <= self.ended[part]), part, NONE)
