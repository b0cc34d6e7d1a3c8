"""Calls and bikes made of rows when somebody looks at them; counted and sorted without that."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Any, overload

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.calls import STANDINGS, Call, DueBike, OpenJob, Person, Standing
from ledger.figures.due_rows import Ints, parts_in, standings, starts_of
from ledger.riders import Rider

_AT_ONCE = 200
"""Calls that are made of rows in one go."""
Say = Callable[[Person, Sequence[DueBike]], str]
"""Gives the message to a keeper about their bikes."""


@dataclass(frozen=True)
class Facts:
    """What is known of bikes: whose each is, what it is, and whether it is on the bench."""

    bikes: pa.Table
    """A row a bike, with bike, make, model, rider, keeper and last_seen_at."""
    jobs: Mapping[str, tuple[OpenJob, ...]]
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

    rows: pa.Table
    """Rows of `ledger.figures.due_rows.ROWS`; those of a bike together, as they press."""
    facts: Facts
    say: Say

    @cached_property
    def starts(self) -> Ints:
        """Where each bike's rows begin, and how many rows there are."""
        return starts_of(self.rows["bike"])

    @cached_property
    def bikes(self) -> pa.Table:
        """The facts of each bike, in the order of the rows."""
        tags = self.rows["bike"].take(pa.array(self.starts[:-1]))
        return self.facts.bikes.take(pc.index_in(tags, self.facts.bikes["bike"].combine_chunks()))

    @cached_property
    def keepers(self) -> pa.ChunkedArray:
        """The id of who keeps each bike, else rides it; null where nobody is known."""
        return keepers_of(self.bikes)

    def of_bikes(self, which: Ints) -> Due:
        """Give what is due on some of the bikes, in that order."""
        return Due(self.rows.take(pa.array(self._rows_of(which))), self.facts, self.say)

    def _rows_of(self, which: Ints) -> Ints:
        begins, counts = self.starts[:-1][which], np.diff(self.starts)[which]
        inside = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
        found: Ints = np.repeat(begins, counts) + inside
        return found

    @property
    def decides_safety(self) -> bool:
        """Whether anything of it may decide whether somebody gets hurt."""
        return bool(pc.any(self.rows["decides_safety"]).as_py())

    def places_of(self, bike: str) -> Ints:
        """Give the place of a bike among the bikes, if it is there."""
        found: Ints = np.flatnonzero(pc.equal(self.bikes["bike"], bike).to_numpy())
        return found

    def made(self) -> list[DueBike]:
        """Give every bike with what is due on it."""
        parts = parts_in(self.rows)
        return [
            DueBike(
                bike=row["bike"],
                make=row["make"],
                model=row["model"],
                rider=self.facts.person(row["rider"]),
                keeper=self.facts.person(row["keeper"] or row["rider"] or None),
                last_seen_at=row["last_seen_at"],
                jobs=self.facts.jobs.get(row["bike"], ()),
                parts=tuple(parts[start:end]),
            )
            for row, (start, end) in zip(
                self.bikes.to_pylist(), pairwise(self.starts.tolist()), strict=True
            )
        ]


def keepers_of(bikes: pa.Table) -> pa.ChunkedArray:
    """Give who keeps each bike, else rides it, of rows with `keeper` and `rider`."""
    return pc.coalesce(*(_named(bikes[name]) for name in ("keeper", "rider")))


def _named(ids: pa.ChunkedArray) -> pa.ChunkedArray:
    return pc.if_else(pc.equal(ids, ""), pa.scalar(None, pa.string()), ids)


class Bikes(Sequence[DueBike]):
    """Bikes with what is due on each, as they press: each is made when it is looked at."""

    def __init__(self, due: Due) -> None:
        self._due = due

    def __len__(self) -> int:
        return len(self._due.starts) - 1

    @overload
    def __getitem__(self, key: int) -> DueBike: ...
    @overload
    def __getitem__(self, key: slice) -> Bikes: ...
    def __getitem__(self, key: int | slice) -> DueBike | Bikes:
        places = np.arange(len(self))[key]
        some = self._due.of_bikes(np.atleast_1d(places))
        return Bikes(some) if isinstance(key, slice) else some.made()[0]

    def __iter__(self) -> Iterator[DueBike]:
        for start in range(0, len(self), _AT_ONCE):
            yield from self[start : start + _AT_ONCE]._due.made()

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and tuple(self) == tuple(other)

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return repr(tuple(self))

    @property
    def decides_safety(self) -> bool:
        """Whether anything on any of them may decide whether somebody gets hurt."""
        return self._due.decides_safety

    def only(self, bike: str) -> Bikes:
        """Give one bike alone, where it is among them."""
        return Bikes(self._due.of_bikes(self._due.places_of(bike)))


class Calls(Sequence[Call]):
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
        keepers, tags = due.keepers, due.bikes["bike"]
        keys = pc.if_else(
            pc.is_valid(keepers),
            pc.binary_join_element_wise("keeper", pc.fill_null(keepers, ""), " "),
            pc.binary_join_element_wise("bike", tags, " "),
        )
        codes = pa.chunked_array(keys.chunks, pa.string()).combine_chunks().dictionary_encode()
        # Codes count up as keys come first: the order of calls.
        places = codes.indices.to_numpy()
        ordered = np.argsort(places, kind="stable")
        starts = np.flatnonzero(np.diff(places[ordered], prepend=-1))
        return cls(due.of_bikes(ordered), np.append(starts, len(ordered)))

    def __len__(self) -> int:
        return len(self._starts) - 1

    @overload
    def __getitem__(self, key: int) -> Call: ...
    @overload
    def __getitem__(self, key: slice) -> Calls: ...
    def __getitem__(self, key: int | slice) -> Call | Calls:
        places = np.arange(len(self))[key]
        if isinstance(key, slice):
            return self.some(places)
        return self.some(np.array([places])).made()[0]

    def __iter__(self) -> Iterator[Call]:
        for start in range(0, len(self), _AT_ONCE):
            yield from self[start : start + _AT_ONCE].made()

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Sequence) and tuple(self) == tuple(other)

    __hash__ = None  # type: ignore[assignment]

    def __repr__(self) -> str:
        return repr(tuple(self))

    def some(self, which: Ints) -> Calls:
        """Give some of the calls, in that order."""
        begins, counts = self._starts[:-1][which], np.diff(self._starts)[which]
        inside = np.arange(counts.sum()) - np.repeat(np.cumsum(counts) - counts, counts)
        bikes = np.repeat(begins, counts) + inside
        return Calls(self._due.of_bikes(bikes), np.append(0, np.cumsum(counts)))

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
        return [STANDINGS[one] for one in standings(self._due.rows)[self._row_starts[:-1]]]

    def of_standing(self, standing: Standing) -> Calls:
        """Give those whose most pressing thing stands so."""
        return self.some(np.flatnonzero([one == standing for one in self.standings]))

    @cached_property
    def chances(self) -> list[float]:
        """The highest chance of anything in each of being past its limit; 0 where none is told."""
        if not len(self):
            return []
        chances = pc.fill_null(self._due.rows["chance_past"], 0.0).to_numpy()
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
