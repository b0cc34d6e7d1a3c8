"""Calls and bikes made of rows when somebody looks at them; counted and sorted without that."""

from __future__ import annotations

from abc import abstractmethod
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise
from typing import Any, Self, TypeVar, overload

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.analysis.wear_data import Flags
from ledger.figures.calls import STANDINGS, Call, DueBike, OpenJob, Person, Standing
from ledger.figures.due_rows import Ints, Rows, parts_in
from ledger.riders import Rider

Thing = TypeVar("Thing")
_AT_ONCE = 200
"""Calls that are made of rows in one go."""
Say = Callable[[Person, Sequence[DueBike]], str]
"""Gives the message to a keeper about their bikes."""


@dataclass(frozen=True)
class Facts:
    """What is known of bikes: whose each is, what it is, and whether it is on the bench."""

    bikes: pa.Table
    """A row a bike, with bike, make, model, rider, keeper and last_seen_at."""
    jobs: pa.Table
    """A row an open job, with bike, job, tier, opened_at and waiting_for."""
    register: Mapping[str, Rider]

    def person(self, rider: str | None) -> Person:
        """Give somebody by id: name and contact only where they agreed to be contacted."""
        row = self.register.get(rider or "")
        if row is None:
            return Person(rider, is_registered=False, may_contact=False)
        if not row.may_contact:
            return Person(row.rider, is_registered=True, may_contact=False)
        return Person(row.rider, True, True, row.name, row.phone, row.email)


@dataclass(frozen=True)
class Due:
    """What is due, with what is known of the bikes it is due on."""

    rows: Rows
    names: pa.Array
    """Tags of bikes."""
    facts_of: pa.Array
    """The row of each of them in the facts."""
    bike_of: Ints
    """The place of each row's bike in `names`."""
    which: Ints
    """The rows that are meant; those of a bike together, as they press."""
    facts: Facts
    say: Say

    @cached_property
    def starts(self) -> Ints:
        """Where each bike's rows begin, and how many rows there are."""
        begins = np.flatnonzero(np.diff(self.bike_of[self.which], prepend=-1))
        return np.append(begins, len(self.which))

    @cached_property
    def _places(self) -> pa.Array:
        """The place of each bike in `names`, in the order of the rows."""
        return pa.array(self.bike_of[self.which[self.starts[:-1]]])

    @cached_property
    def tags(self) -> pa.Array:
        """The bikes, in the order of the rows."""
        return self.names.take(self._places)

    def bikes(self, *names: str) -> pa.Table:
        """Give facts of each bike by name, in the order of the rows."""
        return self.facts.bikes.select(names).take(self.facts_of.take(self._places))

    @cached_property
    def keepers(self) -> pa.ChunkedArray:
        """The id of who keeps each bike, else rides it; null where nobody is known."""
        return keepers_of(self.bikes("keeper", "rider"))

    @property
    def on_bench(self) -> Flags:
        """Say which of the bikes have a job open."""
        with_jobs = self.facts.jobs["bike"].combine_chunks()
        found: Flags = pc.is_in(self.tags, with_jobs).to_numpy(zero_copy_only=False)
        return found

    def of_bikes(self, which: Ints) -> Due:
        """Give what is due on some of the bikes, in that order."""
        return replace(self, which=self.which[runs(self.starts, which)[0]])

    @property
    def decides_safety(self) -> bool:
        """Whether anything of it may decide whether somebody gets hurt."""
        return bool(self.rows.decides_safety[self.which].any())

    def places_of(self, bike: str) -> Ints:
        """Give the place of a bike among the bikes, if it is there."""
        found: Ints = np.flatnonzero(pc.equal(self.tags, bike).to_numpy(zero_copy_only=False))
        return found

    def made(self) -> list[DueBike]:
        """Give every bike with what is due on it."""
        parts = parts_in(self.rows.table.take(pa.array(self.which)))
        bikes = self.bikes("bike", "make", "model", "rider", "keeper", "last_seen_at")
        jobs = self.facts.jobs
        theirs = open_jobs_of(jobs.filter(pc.is_in(jobs["bike"], self.tags)).to_pylist())
        return [
            DueBike(
                bike=row["bike"],
                make=row["make"],
                model=row["model"],
                rider=self.facts.person(row["rider"]),
                keeper=self.facts.person(row["keeper"] or row["rider"] or None),
                last_seen_at=row["last_seen_at"],
                jobs=theirs.get(row["bike"], ()),
                parts=tuple(parts[start:end]),
            )
            for row, (start, end) in zip(
                bikes.to_pylist(), pairwise(self.starts.tolist()), strict=True
            )
        ]


def runs(starts: Ints, which: Ints) -> tuple[Ints, Ints]:
    """Give the members of some runs, in that order, and where each of these runs begins among them.

    `starts` is where each run begins, and how many members all have; so is what is given.
    """
    begins, counts = starts[:-1][which], np.diff(starts)[which]
    ends = np.cumsum(counts)
    inside = np.arange(counts.sum()) - np.repeat(ends - counts, counts)
    return np.repeat(begins, counts) + inside, np.append(0, ends)


def keepers_of(bikes: pa.Table) -> pa.ChunkedArray:
    """Give who keeps each bike, else rides it, of rows with `keeper` and `rider`."""
    return pc.coalesce(*(_named(bikes[name]) for name in ("keeper", "rider")))


def _named(ids: pa.ChunkedArray) -> pa.ChunkedArray:
    return pc.if_else(pc.equal(ids, ""), pa.scalar(None, pa.string()), ids)


class _Looked(Sequence[Thing]):
    """Things that are made of rows when they are looked at."""

    @abstractmethod
    def some(self, which: Ints) -> Self:
        """Give some of them, in that order."""

    @abstractmethod
    def made(self) -> list[Thing]:
        """Give all of them at once."""

    @overload
    def __getitem__(self, key: int) -> Thing: ...
    @overload
    def __getitem__(self, key: slice) -> Self: ...
    def __getitem__(self, key: int | slice) -> Thing | Self:
        places = np.arange(len(self))[key]
        some = self.some(np.atleast_1d(places))
        return some if isinstance(key, slice) else some.made()[0]

    def __iter__(self) -> Iterator[Thing]:
        for start in range(0, len(self), _AT_ONCE):
            yield from self[start : start + _AT_ONCE].made()

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and tuple(self) == tuple(other)

    def __hash__(self) -> int:
        return hash(tuple(self))

    def __repr__(self) -> str:
        return repr(tuple(self))


class Bikes(_Looked[DueBike]):
    """Bikes with what is due on each, as they press: each is made when it is looked at."""

    def __init__(self, due: Due) -> None:
        self._due = due

    def __len__(self) -> int:
        return len(self._due.starts) - 1

    def some(self, which: Ints) -> Bikes:
        """Give some of the bikes, in that order."""
        return Bikes(self._due.of_bikes(which))

    def made(self) -> list[DueBike]:
        """Give all of them at once."""
        return self._due.made()

    @property
    def decides_safety(self) -> bool:
        """Whether anything on any of them may decide whether somebody gets hurt."""
        return self._due.decides_safety

    def only(self, bike: str) -> Bikes:
        """Give one bike alone, where it is among them."""
        return self.some(self._due.places_of(bike))


class Calls(_Looked[Call]):
    """Calls, the most pressing first: each is made when it is looked at.

    What is counted of them, or they are sorted by, is there in arrays, an entry a call.
    """

    def __init__(self, due: Due, starts: Ints) -> None:
        """Take bikes so that those of a call are together; `starts` is where each call begins.

        Its last entry is how many bikes there are.
        """
        self._due, self._starts = due, starts

    @classmethod
    def of(cls, due: Due) -> Calls:
        """Give a call a keeper, about all bikes of theirs; of one nobody is known of, alone."""
        keepers = due.keepers.combine_chunks().dictionary_encode()
        known = keepers.indices.is_valid().to_numpy(zero_copy_only=False)
        alone = len(keepers.dictionary) + np.arange(len(known))
        keys = np.where(known, pc.fill_null(keepers.indices, 0).to_numpy(), alone)
        _, firsts, places = np.unique(keys, return_index=True, return_inverse=True)
        # Calls come in the order of their first bikes.
        turn = np.empty(len(firsts), np.int64)
        turn[np.argsort(firsts)] = np.arange(len(firsts))
        places = turn[places]
        ordered = np.argsort(places, kind="stable")
        starts = np.flatnonzero(np.diff(places[ordered], prepend=-1))
        return cls(due.of_bikes(ordered), np.append(starts, len(ordered)))

    def __len__(self) -> int:
        return len(self._starts) - 1

    def some(self, which: Ints) -> Calls:
        """Give some of the calls, in that order."""
        bikes, starts = runs(self._starts, which)
        return Calls(self._due.of_bikes(bikes), starts)

    def made(self) -> list[Call]:
        """Give all of them at once."""
        bikes, found = self._due.made(), []
        for start, end in pairwise(self._starts.tolist()):
            theirs = bikes[start:end]
            keeper = theirs[0].keeper
            said = self._due.say(keeper, theirs) if keeper.may_contact else None
            found.append(Call(keeper, tuple(theirs), said))
        return found

    @cached_property
    def standings(self) -> list[Standing]:
        """The standing of what is most pressing in each."""
        firsts = self._due.which[self._row_starts[:-1]]
        return [STANDINGS[one] for one in self._due.rows.standing[firsts]]

    def of_standing(self, standing: Standing) -> Calls:
        """Give those whose most pressing thing stands so."""
        return self.some(np.flatnonzero([one == standing for one in self.standings]))

    @cached_property
    def chances(self) -> list[float]:
        """The highest chance of anything in each of being past its limit; 0 where none is told."""
        if not len(self):
            return []
        chances = self._due.rows.chance[self._due.which]
        found: list[float] = np.maximum.reduceat(chances, self._row_starts[:-1]).tolist()
        return found

    @cached_property
    def keepers(self) -> list[Person]:
        """Whom each is to."""
        ids = self._due.keepers.take(pa.array(self._starts[:-1])).to_pylist()
        return [self._due.facts.person(one) for one in ids]

    @property
    def decides_safety(self) -> bool:
        """Whether anything in any of them may decide whether somebody gets hurt."""
        return self._due.decides_safety

    def about(self, bike: str) -> Calls:
        """Give those that are about a bike too."""
        calls = np.searchsorted(self._starts, self._due.places_of(bike), side="right") - 1
        return self.some(np.unique(calls))

    @cached_property
    def _row_starts(self) -> Ints:
        found: Ints = self._due.starts[self._starts]
        return found


def open_jobs_of(rows: Sequence[Mapping[str, Any]]) -> dict[str, tuple[OpenJob, ...]]:
    """Give the open jobs of each bike, in the order they were opened."""
    found: dict[str, tuple[OpenJob, ...]] = {}
    for row in sorted(rows, key=lambda row: (row["opened_at"], row["job"])):
        job = OpenJob(row["job"], row["tier"], row["opened_at"], row["waiting_for"])
        found[row["bike"]] = (*found.get(row["bike"], ()), job)
    return found
