"""A call list for other programs: as plain JSON types, and as rows of a CSV file."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from datetime import date, datetime
from typing import TYPE_CHECKING, Any

from ledger.events.types import format_moment
from ledger.figures.calls import Call, DueBike, DueList, DuePart, Person
from ledger.figures.due_words import DueWords

if TYPE_CHECKING:
    from ledger.figures.wear import DueDates, Estimate

COLUMNS = (
    "week", "keeper", "name", "phone", "email", "may_contact", "bike", "make", "model", "rider",
    "position", "point", "quantity", "last_reading", "limit", "unit", "standing", "chance_past",
    "due_early", "due", "due_late", "last_seen_at",
)  # fmt: skip
_FORMULA = ("=", "+", "-", "@", "\t", "\r")


def number(value: float | None) -> float | None:
    """Give a figure that JSON can hold; None for what is none."""
    return None if value is None or not math.isfinite(value) else float(f"{value:.6g}")


def day(value: date | None) -> str | None:
    """Give a day in ISO form."""
    return None if value is None else value.isoformat()


def moment(value: datetime | None) -> str | None:
    """Give an instant in ISO form, in UTC."""
    return None if value is None else format_moment(value)


def estimate(value: Estimate | None, ending: str = "") -> dict[str, float | None] | None:
    """Give an estimate with its 80 % interval; the names end in the unit, such as `_km`."""
    if value is None:
        return None
    ends = {"low": value.low, "middle": value.middle, "high": value.high}
    return {f"{name}{ending}": number(end) for name, end in ends.items()}


def dates(value: DueDates | None) -> dict[str, str | None] | None:
    """Give the days a limit is reached."""
    if value is None:
        return None
    return {"early": day(value.early), "middle": day(value.middle), "late": day(value.late)}


def due_json(found: DueList, words: DueWords) -> dict[str, Any]:
    """Give a call list as plain JSON types."""
    return {
        "as_at": moment(found.as_at),
        "within_days": found.within_days,
        "count_calls": found.count_calls,
        "seen_within_days": found.seen_within_days,
        "count_long_unseen": found.count_long_unseen,
        "calls": [_call(call, words) for call in found.calls],
        "on_the_bench": [_bike(bike, words) for bike in found.bench],
    }


def _person(person: Person) -> dict[str, Any]:
    return {name: getattr(person, name) for name in person.__dataclass_fields__}


def _call(call: Call, words: DueWords) -> dict[str, Any]:
    return {
        "keeper": _person(call.keeper),
        "standing": call.first.standing,
        "week": day(call.first.week),
        "bikes": [_bike(bike, words) for bike in call.bikes],
        "message": call.message,
    }


def _bike(bike: DueBike, words: DueWords) -> dict[str, Any]:
    return {
        "bike": bike.bike,
        "make": bike.make,
        "model": bike.model,
        "rider": _person(bike.rider),
        "keeper": bike.keeper.rider,
        "last_seen_at": moment(bike.last_seen_at),
        "jobs_open": [
            {"job": job.job, "tier": job.tier, "opened_at": moment(job.opened_at),
             "waiting_for": job.waiting_for}
            for job in bike.jobs
        ],
        "parts": [_part(part, words) for part in bike.parts],
    }  # fmt: skip


def _part(part: DuePart, words: DueWords) -> dict[str, Any]:
    ending = f"_{part.exposure_unit}"
    return {
        **{name: getattr(part, name) for name in (
            "part", "position", "place", "point", "quantity", "quantity_label", "make", "model",
            "unit")},
        "limit": number(part.limit),
        "past_is": "above" if part.direction > 0 else "below",
        "standing": part.standing,
        "was_past_when_read": part.was_past,
        "decides_safety": part.decides_safety,
        "fitted_at": moment(part.fitted_at),
        "last_reading": reading_json(part),
        "count_readings": part.count_readings,
        "chance_past": number(part.chance_past),
        "now": estimate(part.now),
        "due_on": dates(part.on),
        f"beyond{ending}": number(part.beyond),
        "days_beyond": number(part.days_beyond),
        "when": words.when(part),
        "how_sure": words.sure(part),
    }  # fmt: skip


def reading_json(part: DuePart) -> dict[str, Any] | None:
    """Give the last reading of a part; None for an age."""
    read = part.reading
    if read is None:
        return None
    figures = {name: number(getattr(read, name)) for name in ("value", "low", "high")}
    return {"event": read.event, "measured_at": moment(read.measured_at), **figures}


# -- CSV --------------------------------------------------------------------------------------


def due_rows(found: DueList, words: DueWords) -> Iterator[dict[str, str]]:
    """Give one row of COLUMNS a part that is due; what is on the bench is not called about."""
    for call in found.calls:
        for bike in call.bikes:
            for part in bike.parts:
                row = {**_who(call, bike), **_what(part, words)}
                yield {name: _plain(row[name]) for name in COLUMNS}


def _who(call: Call, bike: DueBike) -> Mapping[str, Any]:
    keeper = call.keeper
    return {
        "week": day(call.first.week),
        "keeper": keeper.rider,
        "name": keeper.name,
        "phone": keeper.phone,
        "email": keeper.email,
        "may_contact": "yes" if keeper.may_contact else "no",
        "bike": bike.bike,
        "make": bike.make,
        "model": bike.model,
        "rider": bike.rider.rider,
        "last_seen_at": moment(bike.last_seen_at),
    }


def _what(part: DuePart, words: DueWords) -> Mapping[str, Any]:
    on = part.on
    return {
        "position": part.position,
        "point": part.point,
        "quantity": part.quantity,
        "last_reading": words.reading(part),
        "limit": number(part.limit),
        "unit": part.unit,
        "standing": part.standing,
        "chance_past": number(part.chance_past),
        "due_early": day(on.early) if on else None,
        "due": day(on.middle) if on else None,
        "due_late": day(on.late) if on else None,
    }


def _plain(value: Any) -> str:
    """Give a cell; text that a spreadsheet would take for a formula is quoted as text."""
    text = "" if value is None else str(value)
    is_formula = isinstance(value, str) and text.startswith(_FORMULA)
    return f"'{text}" if is_formula else text
