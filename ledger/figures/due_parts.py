"""Which parts are due as at a day: by what was read of them, or by their age."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from ledger.analysis.wear_data import PER
from ledger.figures.ages import PartAge
from ledger.figures.calls import DuePart, Standing
from ledger.figures.wear import BookWear, DueDates, Estimate, PartWear
from ledger.figures.wear_shapes import LIKELY, was_past
from ledger.vocabulary import Vocabulary
from ledger.vocabulary.caution import needs_caution

__all__ = ["LIKELY", "Asked", "aged_parts", "was_past", "worn_parts"]

WIDE_DAYS = 365
"""Dates that begin by today and end later than this from now tell nothing."""
OLD_DAYS = 90
"""Where dates tell nothing, a reading older than this is one to take again."""


@dataclass(frozen=True, slots=True)
class Asked:
    """As at when, within how many days, and in which words."""

    as_at: datetime
    today: date
    """The same day in the book's time zone."""
    within_days: int
    words: Vocabulary

    @property
    def last_day(self) -> date:
        """The last day asked about."""
        return self.today + timedelta(days=self.within_days)


# -- by what was read -------------------------------------------------------------------------


def worn_parts(wear: BookWear, asked: Asked) -> Iterator[tuple[str, DuePart]]:
    """Give each bike and part that is due by its readings."""
    for part in wear.near(asked.within_days, LIKELY):
        standing = _standing(part, asked)
        if standing is not None:
            yield part.bike, _worn(wear, part, standing, asked.words)


def _standing(part: PartWear, asked: Asked) -> Standing | None:
    """Say why a part is called about; None where it is not."""
    if not part.is_fitted or part.limit is None:
        return None
    chance = _chance(part)
    if chance is None:
        return "past" if was_past(part) else None
    middle = part.due_on.middle if part.due_on else None
    is_coming = middle is not None and middle <= asked.last_day
    is_read_past = was_past(part) and part.last.flag is None
    if chance < LIKELY and not is_coming and not is_read_past:
        return None
    if _tells_nothing(part, asked):
        return "unclear"
    return "past" if chance >= LIKELY or is_read_past else "coming"


def _chance(part: PartWear) -> float | None:
    """Give the chance of being past the limit; None where the fit could not tell one."""
    chance = part.chance_past
    return None if chance is None or not math.isfinite(chance) else chance


def _tells_nothing(part: PartWear, asked: Asked) -> bool:
    on = part.due_on
    is_new = asked.as_at - part.last.measured_at < timedelta(days=OLD_DAYS)
    if on is None or is_new or was_past(part):
        return False
    begins = on.early is not None and on.early <= asked.today
    return begins and (on.late is None or on.late > asked.today + timedelta(days=WIDE_DAYS))


def _worn(wear: BookWear, part: PartWear, standing: Standing, words: Vocabulary) -> DuePart:
    assert part.limit is not None
    quantity, beyond = words.quantities.get(part.quantity), _beyond(part)
    return DuePart(
        part=part.part,
        position=part.position,
        place=_place(words, part.position, part.point),
        point=part.point,
        quantity=part.quantity,
        quantity_label=quantity.label if quantity else part.quantity,
        make=part.make,
        model=part.model,
        unit=part.unit,
        limit=part.limit,
        direction=part.direction,
        standing=standing,
        was_past=was_past(part),
        fitted_at=part.fitted_at,
        decides_safety=needs_caution(words, part.position, part.quantity),
        reading=part.last,
        count_readings=len(part.readings),
        exposure_unit=part.exposure_unit,
        chance_past=_chance(part),
        now=part.now,
        on=part.due_on,
        beyond=beyond,
        days_beyond=None if beyond is None else beyond / _a_day(wear, part),
    )


def _place(words: Vocabulary, position: str, point: str | None) -> str:
    word = words.positions.get(position)
    label = word.label if word else position
    return f"{label} ({point})" if point else label


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


# -- by their age -----------------------------------------------------------------------------


def aged_parts(ages: Iterable[PartAge], asked: Asked) -> Iterator[tuple[str, DuePart]]:
    """Give each bike and part that reaches the limit on its age by the last day asked about."""
    for age in ages:
        if age.due_on is not None and age.due_on <= asked.last_day:
            yield age.bike, _aged(age, age.due_on, asked)


def _aged(age: PartAge, day: date, asked: Asked) -> DuePart:
    over = (asked.today - day).days
    return DuePart(
        part=age.part,
        position=age.position,
        place=_place(asked.words, age.position, None),
        point=None,
        quantity="age",
        quantity_label=asked.words.quantities["age"].label,
        make=age.make,
        model=age.model,
        unit="day",
        limit=age.limit_days,
        direction=1,
        standing="past" if over >= 0 else "coming",
        was_past=False,
        fitted_at=age.fitted_at,
        decides_safety=needs_caution(asked.words, age.position),
        reading=None,
        count_readings=0,
        exposure_unit="days",
        chance_past=float(over >= 0),
        now=Estimate(age.age_days, age.age_days, age.age_days),
        on=DueDates(day, day, day),
        beyond=float(over) if over > 0 else None,
        days_beyond=float(over) if over > 0 else None,
    )
