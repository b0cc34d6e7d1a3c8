"""Who to call: what is due, on which bikes, whose they are, and how sure that is."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.clocks import OPEN_JOBS as KEPT_JOBS
from ledger.figures.ages import part_ages
from ledger.figures.ahead import OPEN_JOBS, SUMMARIES, BookTables, Question
from ledger.figures.calls import Call, DueBike, DueList, DuePart, OpenJob, Person
from ledger.figures.due_parts import LIKELY, Asked, aged_parts, by_bike, worn_parts
from ledger.figures.due_words import DueWords
from ledger.figures.home_keeps import BIKES
from ledger.figures.wear import BookWear, wear_of
from ledger.kept import Keep, kept

__all__ = ["LIKELY", "SEEN_WITHIN_DAYS", "WITHIN_DAYS", "due_list"]

WITHIN_DAYS = 28
SEEN_WITHIN_DAYS = 540
"""A bike not seen for longer may be anywhere: about it nobody is called unless it is asked for."""


def due_list(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    within_days: int = WITHIN_DAYS,
    rider: str | None = None,
    bike: str | None = None,
    limit: int | None = None,
    seen_within_days: int | None = SEEN_WITHIN_DAYS,
    wear: BookWear | None = None,
    ahead: BookTables | None = None,
) -> DueList:
    """Give whom to call about what is due within some days of an instant (None for now).

    A part is due where it is fitted, has a limit, and is past it now with a chance of LIKELY at
    least, was last read past it (and that reading was not left out), or reaches it by the middle
    estimate within the days. `rider` keeps the bikes that somebody of that id rides or keeps,
    `bike` one bike, `limit` the first so many calls; bikes not seen within `seen_within_days`
    (None: however long ago) are counted and not called about. `wear` and `ahead` are the wear as
    at the same instant and the book's tables, where they were asked for before.
    """
    tables = ahead or BookTables(book, as_at, known_seq)
    found = wear or wear_of(book, as_at, known_seq, ahead=tables)
    words = book.vocabulary if known_seq is None else book.vocabulary_known(known_seq)
    asked = Asked(found.as_at, found.today, within_days, words)
    ages = part_ages(book, found.tables.parts, found.as_at, known_seq, ahead=tables)
    parts = [*worn_parts(found, asked), *aged_parts(ages, asked)]
    due = by_bike(_as_joined(book, known_seq, parts))
    facts = _Facts.of(book, tables, due)
    tags = _tags(book, bike, known_seq)
    bikes = [
        facts.bike(tag, its)
        for tag, its in due.items()
        if tag in facts.summaries
        and (tags is None or tag in tags)
        and (rider is None or rider in facts.people(tag))
    ]
    away = [each for each in bikes if not each.jobs]
    seen = _seen_lately(book, away, asked.today, seen_within_days)
    calls, said = _by_keeper(seen), DueWords(book.settings)
    return DueList(
        as_at=found.as_at,
        today=asked.today,
        within_days=within_days,
        calls=tuple(_call(each, said) for each in calls[:limit]),
        bench=tuple(sorted((each for each in bikes if each.jobs), key=_order)),
        count_calls=len(calls),
        seen_within_days=seen_within_days,
        count_long_unseen=len(away) - len(seen),
    )


def _seen_lately(
    book: Book, bikes: Iterable[DueBike], today: date, within_days: int | None
) -> list[DueBike]:
    """Give the bikes that were seen within some days; all of them for None."""
    if within_days is None:
        return list(bikes)
    since = today - timedelta(days=within_days)
    return [each for each in bikes if _seen_on(book, each) >= since]


def _as_joined(
    book: Book, known_seq: int | None, parts: Iterable[tuple[str, DuePart]]
) -> Iterator[tuple[str, DuePart]]:
    """Give parts under the first tag of their bike: tags may be joined since the wear was told."""
    aliases = book.aliases(known_seq)
    for bike, part in parts:
        yield min(aliases.get(bike, (bike,))), part


def _seen_on(book: Book, bike: DueBike) -> date:
    return book.settings.local(bike.last_seen_at).date()


def _tags(book: Book, bike: str | None, known_seq: int | None) -> frozenset[str] | None:
    return None if bike is None else book.aliases(known_seq).get(bike, frozenset({bike}))


def _order(bike: DueBike) -> tuple[tuple[int, float, float], str]:
    return bike.parts[0].order, bike.bike


# -- whose bike ------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Facts:
    """What is known of every bike: whose it is, what it is, and whether it is on the bench."""

    summaries: Mapping[str, Mapping[str, Any]]
    jobs: Mapping[str, tuple[OpenJob, ...]]
    register: Mapping[str, Person]

    @classmethod
    def of(cls, book: Book, tables: BookTables, bikes: Collection[str]) -> _Facts:
        wanted = pa.array(sorted(bikes), pa.string())

        def rows(keep: Keep, question: Question) -> list[dict[str, Any]]:
            table = kept(book, keep, tables.asked)
            found = tables.answer(question) if table is None else table
            return list(found.filter(pc.is_in(found["bike"], wanted)).to_pylist())

        return cls(
            summaries={row["bike"]: row for row in rows(BIKES, SUMMARIES)},
            jobs=_open_jobs(rows(KEPT_JOBS, OPEN_JOBS)),
            register={row.rider: _person(row) for row in book.riders.all()},
        )

    def people(self, bike: str) -> tuple[str | None, str | None]:
        """Give the ids of who rides and who keeps a bike."""
        row = self.summaries[bike]
        return row["rider"], row["keeper"] or row["rider"]

    def bike(self, bike: str, parts: Iterable[DuePart]) -> DueBike:
        """Give a bike with what is due on it."""
        row, (rider, keeper) = self.summaries[bike], self.people(bike)
        return DueBike(
            bike=bike,
            make=row["make"],
            model=row["model"],
            rider=self._person(rider),
            keeper=self._person(keeper),
            last_seen_at=row["last_seen_at"],
            jobs=self.jobs.get(bike, ()),
            parts=tuple(sorted(parts, key=lambda part: (part.order, part.part, part.quantity))),
        )

    def _person(self, rider: str | None) -> Person:
        nobody = Person(rider, is_registered=False, may_contact=False)
        return self.register.get(rider or "", nobody)


def _person(row: Any) -> Person:
    if not row.may_contact:
        return Person(row.rider, is_registered=True, may_contact=False)
    return Person(row.rider, True, True, row.name, row.phone, row.email)


def _open_jobs(rows: Iterable[Mapping[str, Any]]) -> dict[str, tuple[OpenJob, ...]]:
    found: dict[str, tuple[OpenJob, ...]] = {}
    for row in sorted(rows, key=lambda row: (row["opened_at"], row["job"])):
        job = OpenJob(row["job"], row["tier"], row["opened_at"], row["waiting_for"])
        found[row["bike"]] = (*found.get(row["bike"], ()), job)
    return found


def _by_keeper(bikes: Iterable[DueBike]) -> list[list[DueBike]]:
    """Give the bikes of each keeper; a bike of which nobody is known is called about alone."""
    by_keeper: dict[tuple[str, str], list[DueBike]] = {}
    for bike in sorted(bikes, key=_order):
        keeper = bike.keeper.rider
        key = ("keeper", keeper) if keeper else ("bike", bike.bike)
        by_keeper.setdefault(key, []).append(bike)
    return list(by_keeper.values())


def _call(bikes: list[DueBike], words: DueWords) -> Call:
    keeper = bikes[0].keeper
    said = words.message(keeper, bikes) if keeper.may_contact else None
    return Call(keeper, tuple(bikes), said)
