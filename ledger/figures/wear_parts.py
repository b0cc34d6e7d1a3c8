"""A family's parts as they stand now: what they would measure, and when they are due."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa

from ledger.analysis import wear_forecast
from ledger.analysis.wear import FamilyFit
from ledger.analysis.wear_data import PER, Flags, Floats, Ints
from ledger.analysis.wear_flags import Flagged
from ledger.analysis.wear_forecast import HIGH, LOW, MIDDLE
from ledger.figures.wear_now import Now, columns, last_rows, use_of
from ledger.figures.wear_shapes import DueDates, Estimate, PartWear, WearReading

if TYPE_CHECKING:
    from ledger.figures.wear import BookWear

_FACTS = ("series", "part", "position", "quantity", "point", "make", "model", "riding",
          "rider", "unit", "direction", "limit", "is_from_new")  # fmt: skip
_OF_ONE = ("event", "measured_at", "value", "low", "high", "gauge",
           "distance_km", "distance_error_km", "days")  # fmt: skip
_AT_ONCE = 20_000


def parts_of(wear: BookWear, each: FamilyFit) -> Iterator[PartWear]:
    """Give every part of a family."""
    return _parts(wear, each, wear.now_of(each), np.arange(len(each.family.series)))


def parts_on(wear: BookWear, each: FamilyFit, bikes: Collection[str]) -> Iterator[PartWear]:
    """Give every part of a family that is on one of these bikes, or was last."""
    now = wear.now_of(each)
    return _parts(wear, each, now, np.flatnonzero([bike in bikes for bike in now.bikes]))


def some_parts(wear: BookWear, each: FamilyFit, which: Ints) -> Iterator[PartWear]:
    """Give the parts of some series of a family, `which` rising."""
    return _parts(wear, each, wear.now_of(each), which)


def flagged_parts(wear: BookWear, each: FamilyFit) -> Iterator[PartWear]:
    """Give the parts of a family with a reading left out of the fit."""
    left_out = np.isin(each.family.row, [flag.row for flag in each.flagged])
    return some_parts(wear, each, np.unique(each.family.series_of[left_out]))


def near_parts(
    wear: BookWear, each: FamilyFit, within_days: int, chance: float
) -> Iterator[PartWear]:
    """Give the fitted parts of a family that are past their limit, or may soon be.

    Those whose last reading is past it, that are past it with that chance at least, or reach it
    within the days by the middle estimate; all that have a limit where nothing is foretold.
    """
    now, limit = wear.now_of(each), each.family.limit
    is_limited = now.is_fitted & ~np.isnan(limit)
    if each.state is None:
        return _parts(wear, each, now, np.flatnonzero(is_limited))
    past = wear_forecast.at(each.state, now.x, now.error**2).chance_above(limit)
    is_near = is_limited & (is_read_past(wear, each) | ~(past < chance))
    others = np.flatnonzero(is_limited & ~is_near)
    is_near[others] = _is_soon(wear, each, now, others, within_days)
    return _parts(wear, each, now, np.flatnonzero(is_near))


def is_read_past(wear: BookWear, each: FamilyFit) -> Flags:
    """Say of each series whether its last reading, the whole of it, is past its limit."""
    turn = each.family.direction
    read = columns(wear.tables.readings, last_rows(each), ("value", "low", "high", "limit"))
    ends = read["low"] if turn > 0 else read["high"]
    given = [
        end if value is None else value for value, end in zip(read["value"], ends, strict=True)
    ]
    figure, limit = (np.array(some, dtype=np.float64) for some in (given, read["limit"]))
    found: Flags = turn * (figure - limit) >= 0
    return found


def _is_soon(wear: BookWear, each: FamilyFit, now: Now, which: Ints, within_days: int) -> Flags:
    assert each.state is not None
    use = use_of(wear, each, now, which)
    limit, x, variance = each.family.limit[which], now.x[which], now.error[which] ** 2
    state = each.state.of(which)
    return wear_forecast.is_due_by(state, limit, x, variance, use, within_days, MIDDLE)


@dataclass(frozen=True, slots=True)
class _Foretold:
    """What some series of a family are foretold; lists of what pages show."""

    rates: Sequence[Estimate | None]
    now: Sequence[Estimate | None]
    chance: Sequence[float | None]
    due_in: Sequence[Estimate | None]
    due_on: Sequence[DueDates | None]


def _foretold(wear: BookWear, each: FamilyFit, now: Now, which: Ints) -> _Foretold:
    nothing: list[None] = [None] * len(which)
    if each.state is None:
        return _Foretold(nothing, nothing, nothing, nothing, nothing)
    state, limit, turn = each.state.of(which), each.family.limit[which], each.family.direction
    seen = wear_forecast.at(state, now.x[which], now.error[which] ** 2)
    ends = (LOW, HIGH) if turn > 0 else (HIGH, LOW)
    shown = (turn * seen.quantile(share) for share in (ends[0], MIDDLE, ends[1]))
    figures = _estimates(*(not_below_nought(figure, turn) for figure in shown))
    rates = _estimates(*(state.rate(share) for share in (LOW, MIDDLE, HIGH)))
    past = seen.chance_above(limit).tolist()
    is_limited = ~np.isnan(limit)
    chance = [one if has else None for one, has in zip(past, is_limited, strict=True)]
    due_in: list[Estimate | None] = list(nothing)
    due_on: list[DueDates | None] = list(nothing)
    going = np.flatnonzero(is_limited & now.is_fitted[which])
    for place, (way, on) in zip(going, _due(wear, each, now, which[going]), strict=True):
        due_in[place], due_on[place] = way, on
    return _Foretold(rates, figures, chance, due_in, due_on)


def not_below_nought(figure: Floats, direction: float) -> Floats:
    """Give figures (N,) of what wears away with none below nought: nothing is thinner than that."""
    return np.maximum(figure, 0.0) if direction < 0 else figure


def _due(
    wear: BookWear, each: FamilyFit, now: Now, which: Ints
) -> Iterator[tuple[Estimate, DueDates]]:
    assert each.state is not None
    some, limit, per = each.state.of(which), each.family.limit[which], PER[each.family.unit]
    use, x, error = use_of(wear, each, now, which), now.x[which], now.error[which] ** 2
    shares = (LOW, MIDDLE, HIGH)
    ways = _estimates(
        *(per * wear_forecast.due_after(some, limit, x, error, share) for share in shares)
    )
    days = [wear_forecast.due_days(some, limit, x, error, use, share) for share in shares]
    for way, *ends in zip(ways, *days, strict=True):
        yield way, DueDates(*(_day(wear.today, end) for end in ends))


def _day(start: date, days: float) -> date | None:
    return start + timedelta(days=int(days)) if np.isfinite(days) else None


def _none(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _estimates(low: Floats, middle: Floats, high: Floats) -> list[Estimate]:
    return [
        Estimate(_none(one), _none(two), _none(three))
        for one, two, three in zip(low, middle, high, strict=True)
    ]


def _parts(wear: BookWear, each: FamilyFit, now: Now, which: Ints) -> Iterator[PartWear]:
    """Give some series as parts, so many at a time that what is made of them stays small."""
    for first in range(0, len(which), _AT_ONCE):
        yield from _some(wear, each, now, which[first : first + _AT_ONCE])


def _some(wear: BookWear, each: FamilyFit, now: Now, which: Ints) -> Iterator[PartWear]:
    family, foretold = each.family, _foretold(wear, each, now, which)
    facts = columns(wear.tables.readings, last_rows(each)[which], _FACTS)
    per, begun = PER[family.unit], now.fitted_at.take(pa.array(which)).to_pylist()
    for row, (place, readings) in enumerate(zip(which, _readings(wear, each, which), strict=True)):
        fact = {name: facts[name][row] for name in _FACTS}
        yield PartWear(
            **{**fact, "series": family.series[place]},
            bike=now.bikes[place],
            exposure_unit=family.unit,
            is_fitted=bool(now.is_fitted[place]),
            fitted_at=begun[row],
            readings=readings,
            rate=foretold.rates[row],
            now=foretold.now[row],
            exposure_now=_none(per * now.x[place]),
            exposure_now_error=float(per * now.error[place]),
            chance_past=foretold.chance[row],
            due_in=foretold.due_in[row],
            due_on=foretold.due_on[row],
        )


def _readings(wear: BookWear, each: FamilyFit, which: Ints) -> Iterator[tuple[WearReading, ...]]:
    """Give the readings of some series, by series."""
    family, flags = each.family, {flag.row: flag for flag in each.flagged}
    begins, ends = (
        np.searchsorted(family.series_of, which, side=side) for side in ("left", "right")
    )
    wanted = np.concatenate([np.arange(*one) for one in zip(begins, ends, strict=True)])
    rows = family.row[wanted]
    figures = columns(wear.tables.readings, rows, _OF_ONE)
    found = [
        _reading(figures, row, family.unit, flags.get(number))
        for row, number in enumerate(rows.tolist())
    ]
    stops = np.cumsum(ends - begins).tolist()
    for start, stop in zip([0, *stops], stops, strict=False):
        yield tuple(found[start:stop])


def _reading(
    columns: Mapping[str, list[Any]], row: int, unit: str, flag: Flagged | None
) -> WearReading:
    one = {name: columns[name][row] for name in _OF_ONE}
    km, error, days = one.pop("distance_km"), one.pop("distance_error_km"), one.pop("days")
    return WearReading(
        **one,
        exposure=km if unit == "km" else days,
        exposure_error=error if unit == "km" else 0.0,
        flag=_flag_words(flag) if flag else None,
    )


def _flag_words(flag: Flagged) -> str:
    return f"left out: {flag.why} (expected {flag.low:.3g} to {flag.high:.3g})"
