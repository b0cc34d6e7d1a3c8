"""Who to call: what is due, on which bikes, whose they are, and how sure that is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Any

from ledger.analysis.wear_data import PER
from ledger.book import Book
from ledger.figures.calls import Call, DueBike, DueList, DuePart, OpenJob, Person, Standing
from ledger.figures.due_words import DueWords
from ledger.figures.wear import BookWear, PartWear, wear_of
from ledger.queries import whole_table
from ledger.vocabulary import Vocabulary
from ledger.vocabulary.caution import needs_caution

WITHIN_DAYS = 28
LIKELY = 0.5
"""From this chance on of being past its limit, a part is called about whatever its date."""
WIDE_DAYS = 365
"""Dates that begin by today and end later than this from now tell nothing."""
OLD_DAYS = 90
"""Where dates tell nothing, a reading older than this is one to take again."""


def due_list(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    within_days: int = WITHIN_DAYS,
    rider: str | None = None,
    bike: str | None = None,
    limit: int | None = None,
    wear: BookWear | None = None,
) -> DueList:
    """Give whom to call about what is due within some days of an instant (None for now).

    A part is due where it is fitted, has a limit, and is past it now with a chance of LIKELY at
    least or reaches it by the middle estimate within the days. `rider` keeps the bikes that
    somebody of that id rides or keeps, `bike` one bike, `limit` the first so many calls; `wear`
    is the wear as at the same instant where it was worked out before.
    """
    found = wear or wear_of(book, as_at, known_seq)
    last_day = book.settings.local(found.as_at).date() + timedelta(days=within_days)
    vocabulary = book.vocabulary if known_seq is None else book.vocabulary_known(known_seq)
    due = _by_bike(found, vocabulary, last_day)
    facts = _Facts.of(book, as_at, known_seq)
    tags = _tags(book, bike, known_seq)
    bikes = [
        facts.bike(tag, parts)
        for tag, parts in due.items()
        if (tags is None or tag in tags) and (rider is None or rider in facts.people(tag))
    ]
    calls = _calls([each for each in bikes if not each.jobs], DueWords(book.settings))
    bench = sorted((each for each in bikes if each.jobs), key=_order)
    return DueList(found.as_at, within_days, calls[:limit], tuple(bench), len(calls))


def _tags(book: Book, bike: str | None, known_seq: int | None) -> frozenset[str] | None:
    return None if bike is None else book.aliases(known_seq).get(bike, frozenset({bike}))


def _order(bike: DueBike) -> tuple[tuple[int, float, float], str]:
    return bike.parts[0].order, bike.bike


# -- which parts ----------------------------------------------------------------------------


def _by_bike(wear: BookWear, words: Vocabulary, last_day: date) -> dict[str, list[DuePart]]:
    """Give what is due by bike: of each part and quantity the point that is most pressing."""
    most: dict[tuple[str, str, str], DuePart] = {}
    for each in wear.parts:
        standing = _standing(each, wear.as_at, last_day)
        if standing is None:
            continue
        found, key = _due(wear, each, standing, words), (each.bike, each.part, each.quantity)
        if key not in most or found.order < most[key].order:
            most[key] = found
    by_bike: dict[str, list[DuePart]] = {}
    for (bike, _, _), part in most.items():
        by_bike.setdefault(bike, []).append(part)
    return by_bike


def _standing(part: PartWear, now: datetime, last_day: date) -> Standing | None:
    """Say why a part is called about; None where it is not."""
    if not part.is_fitted or part.limit is None:
        return None
    if part.chance_past is None:
        return "past" if _was_past(part) else None
    middle = part.due_on.middle if part.due_on else None
    if part.chance_past < LIKELY and (middle is None or middle > last_day):
        return None
    if _tells_nothing(part, now):
        return "unclear"
    return "past" if part.chance_past >= LIKELY else "coming"


def _was_past(part: PartWear) -> bool:
    read, turn = part.last, part.direction
    figure = read.value if read.value is not None else (read.low if turn > 0 else read.high)
    return figure is not None and part.limit is not None and turn * (figure - part.limit) >= 0


def _tells_nothing(part: PartWear, now: datetime) -> bool:
    on, today = part.due_on, now.date()
    if on is None or now - part.last.measured_at < timedelta(days=OLD_DAYS):
        return False
    begins = on.early is not None and on.early <= today
    return begins and (on.late is None or on.late > today + timedelta(days=WIDE_DAYS))


def _due(wear: BookWear, part: PartWear, standing: Standing, words: Vocabulary) -> DuePart:
    assert part.limit is not None
    position, quantity = words.positions.get(part.position), words.quantities.get(part.quantity)
    label = position.label if position else part.position
    beyond = _beyond(part)
    return DuePart(
        part=part.part,
        position=part.position,
        place=f"{label} ({part.point})" if part.point else label,
        point=part.point,
        quantity=part.quantity,
        quantity_label=quantity.label if quantity else part.quantity,
        make=part.make,
        model=part.model,
        unit=part.unit,
        limit=part.limit,
        direction=part.direction,
        standing=standing,
        fitted_at=part.fitted_at,
        decides_safety=needs_caution(words, part.position, part.quantity),
        reading=part.last,
        count_readings=len(part.readings),
        exposure_unit=part.exposure_unit,
        chance_past=part.chance_past,
        now=part.now,
        on=part.due_on,
        beyond=beyond,
        days_beyond=None if beyond is None else beyond / _a_day(wear, part),
    )


def _beyond(part: PartWear) -> float | None:
    """Give how far past its limit a part has gone, by the middle figure and the middle rate."""
    now, rate, limit = part.now, part.rate, part.limit
    if not now or now.middle is None or not rate or not rate.middle or limit is None:
        return None
    over = part.direction * (now.middle - limit)
    gone = over / rate.middle * PER[part.exposure_unit]
    return min(gone, part.exposure_now or gone) if over > 0 else None


def _a_day(wear: BookWear, part: PartWear) -> float:
    if part.exposure_unit != "km":
        return 1.0
    km, _ = wear.usage.of([part.bike], [part.riding])
    return max(float(km[0]), 1e-9)


# -- whose bike ------------------------------------------------------------------------------


@dataclass(frozen=True)
class _Facts:
    """What is known of every bike: whose it is, what it is, and whether it is on the bench."""

    summaries: Mapping[str, Mapping[str, Any]]
    jobs: Mapping[str, tuple[OpenJob, ...]]
    register: Mapping[str, Person]

    @classmethod
    def of(cls, book: Book, as_at: datetime | None, known_seq: int | None) -> _Facts:
        summaries = whole_table(book, "bike_summary", as_at, known_seq).to_pylist()
        return cls(
            summaries={row["bike"]: row for row in summaries},
            jobs=_open_jobs(whole_table(book, "open_jobs", as_at, known_seq).to_pylist()),
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


def _calls(bikes: Iterable[DueBike], words: DueWords) -> tuple[Call, ...]:
    """Give one call a keeper; a bike of which nobody is known is a call of its own."""
    by_keeper: dict[str, list[DueBike]] = {}
    for bike in sorted(bikes, key=_order):
        by_keeper.setdefault(bike.keeper.rider or f"bike {bike.bike}", []).append(bike)
    return tuple(_call(each, words) for each in by_keeper.values())


def _call(bikes: list[DueBike], words: DueWords) -> Call:
    keeper = bikes[0].keeper
    said = words.message(keeper, bikes) if keeper.may_contact else None
    return Call(keeper, tuple(bikes), said)
