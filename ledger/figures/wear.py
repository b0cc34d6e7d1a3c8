"""How a book's parts wear: every part's line, where it stands, when it is due, how sure that is."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from functools import cached_property
from typing import Any

import numpy as np
import pyarrow as pa

from ledger.analysis import wear_forecast
from ledger.analysis.backtest import Backtest, backtest
from ledger.analysis.usage import Usage
from ledger.analysis.wear import FamilyFit, WearFit, fit_wear
from ledger.analysis.wear_data import PER, Floats, Ints
from ledger.analysis.wear_flags import Flagged
from ledger.analysis.wear_forecast import HIGH, LOW, MIDDLE, Use
from ledger.book import Book
from ledger.events import kinds
from ledger.figures.gauges import registered_errors
from ledger.figures.readings import BookReadings, book_readings

HORIZON_DAYS = 3 * 365
"""No due date is foretold beyond this."""
NEW_FIGURES = {"elongation": 0.0, "tooth_wear": 0.0, "capacity_left": 100.0}
"""What a new part reads by the definition of the quantity."""
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A figure with its 80 % interval; None at an end: beyond what can be foretold."""

    low: float | None
    middle: float | None
    high: float | None


@dataclass(frozen=True, slots=True)
class DueDates:
    """The days a part reaches its limit: early (one in ten), even odds, late (nine in ten).

    None: beyond HORIZON_DAYS from the day asked.
    """

    early: date | None
    middle: date | None
    late: date | None


@dataclass(frozen=True, slots=True)
class WearReading:
    """One reading of a part."""

    event: str
    measured_at: datetime
    exposure: float
    """km or days of the part until then."""
    exposure_error: float
    value: float | None
    low: float | None
    high: float | None
    gauge: str | None
    flag: str | None
    """Why it was left out of the fit; None where it was not."""


@dataclass(frozen=True, slots=True)
class PartWear:
    """One part (or one sprocket of it) and one quantity, as at an instant."""

    series: str
    part: str
    bike: str
    rider: str | None
    position: str
    quantity: str
    point: str | None
    make: str | None
    model: str | None
    riding: str | None
    unit: str
    exposure_unit: str
    """km, or days where a distance is not known."""
    direction: int
    limit: float | None
    is_fitted: bool
    is_from_new: bool
    fitted_at: datetime
    readings: tuple[WearReading, ...]
    rate: Estimate | None
    """Wear per 1,000 km (or per year), as a positive figure; None where nothing tells one."""
    now: Estimate | None
    """What it would measure now."""
    exposure_now: float | None
    exposure_now_error: float
    chance_past: float | None
    """Chance of being past its limit now."""
    due_in: Estimate | None
    """km (or days) from now until it reaches the limit; 0 where it is past."""
    due_on: DueDates | None

    @property
    def last(self) -> WearReading:
        """The last reading."""
        return self.readings[-1]


@dataclass(frozen=True, slots=True)
class RateFigure:
    """The usual rate of one family at one level of what it is pooled over."""

    family: str
    factor: str
    """"all", riding, model, position or point."""
    level: str
    rate: Estimate
    """Of a part of that level, per 1,000 km or per year: 80 % of such parts lie inside."""
    count_series: int
    exposure_unit: str


@dataclass(frozen=True, slots=True)
class GaugeFigure:
    """How one gauge errs at one family, measured from the book."""

    gauge: str
    family: str
    bias: float
    """What it adds, against the other gauges and the figure when new."""
    bias_error: float
    gain: float
    """By what share it shows wear too large."""
    error: float
    """Standard deviation of one reading."""
    count: int
    """Readings it was measured from."""
    exposure_unit: str
    """km, or days: what the readings it was measured from are counted in."""


@dataclass(frozen=True, slots=True)
class BandPoint:
    """The fitted line at one exposure, with its 80 % band."""

    exposure: float
    low: float
    middle: float
    high: float


@dataclass(frozen=True)
class BookWear:
    """All of a book's wear as at an instant."""

    as_at: datetime
    today: date
    """The same day in the book's time zone."""
    tables: BookReadings
    fit: WearFit
    usage: Usage

    @cached_property
    def parts(self) -> list[PartWear]:
        """Every part that was read, by series."""
        found = [part for each in self.fit.families for part in _parts(self, each)]
        return sorted(found, key=lambda part: part.series)

    @cached_property
    def by_series(self) -> Mapping[str, PartWear]:
        """The parts by their series."""
        return {part.series: part for part in self.parts}

    @property
    def flagged(self) -> list[PartWear]:
        """The parts with a reading left out of the fit."""
        return [part for part in self.parts if any(one.flag for one in part.readings)]

    @cached_property
    def gauges(self) -> list[GaugeFigure]:
        """What was measured of every gauge, once for each family: from most of its readings."""
        found: dict[tuple[str, str], GaugeFigure] = {}
        for one in (one for each in self.fit.families for one in _gauges(each)):
            key = one.family, one.gauge
            if key not in found or one.count > found[key].count:
                found[key] = one
        return [found[key] for key in sorted(found)]

    @cached_property
    def rates(self) -> list[RateFigure]:
        """The usual rates, by family and what they are pooled over."""
        return [one for each in self.fit.families for one in _rates(each)]

    def band(self, series: str, count: int = 41, ahead: float = 0.3) -> list[BandPoint]:
        """Give the fitted line of a series with its 80 % band, from nought to beyond now.

        Raises KeyError for a series that was not read.
        """
        for each in self.fit.families:
            if series in each.family.series and each.scales is not None:
                return _band(self, each, series, count, ahead)
        return []


def wear_of(book: Book, as_at: datetime | None = None, known_seq: int | None = None) -> BookWear:
    """Fit the wear of every part of a book, as at an instant (None for now)."""
    now = as_at or datetime.now(UTC)
    tables = book_readings(book, as_at, known_seq)
    return BookWear(
        as_at=now,
        today=book.settings.local(now).date(),
        tables=tables,
        fit=fit_wear(_with_starts(book, tables.readings)),
        usage=tables.usage,
    )


def backtest_of(book: Book, on_progress: Callable[[int, int], None] | None = None) -> Backtest:
    """Score how the model would have foretold this book's readings.

    `on_progress` is told how many families are done, of how many.
    """
    return backtest(_with_starts(book, book_readings(book).readings), on_progress=on_progress)


def _with_starts(book: Book, readings: pa.Table) -> pa.Table:
    """Give the readings with the figure when new, and each gauge's registered error."""
    quantities = readings["quantity"].to_pylist()
    starts = [
        NEW_FIGURES.get(quantity) if start is None else start
        for quantity, start in zip(quantities, readings["start"].to_pylist(), strict=True)
    ]
    gauges = [each.data for each in book.book_events() if isinstance(each, kinds.GaugeRegistered)]
    errors = registered_errors(gauges, book.vocabulary)
    known = [
        errors.get((gauge, quantity))
        for gauge, quantity in zip(readings["gauge"].to_pylist(), quantities, strict=True)
    ]
    place = readings.schema.get_field_index("start")
    return readings.set_column(place, "start", pa.array(starts, pa.float64())).append_column(
        "gauge_error", pa.array(known, pa.float64())
    )


def _none(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _estimates(low: Floats, middle: Floats, high: Floats) -> list[Estimate]:
    return [
        Estimate(_none(one), _none(two), _none(three))
        for one, two, three in zip(low, middle, high, strict=True)
    ]


@dataclass(frozen=True, slots=True)
class _Now:
    """Exposures (S,) of a family's series as at the instant asked, in the model's units."""

    x: Floats
    error: Floats
    is_fitted: np.ndarray[Any, np.dtype[np.bool_]]
    fitted_at: list[datetime]
    bikes: list[str]
    ridings: list[str | None]


def _columns(table: pa.Table, rows: Ints, names: Sequence[str]) -> dict[str, list[Any]]:
    some = table.select(list(names)).take(pa.array(rows))
    return {name: some[name].to_pylist() for name in names}


def _last_rows(each: FamilyFit) -> Ints:
    family = each.family
    ends = np.searchsorted(family.series_of, np.arange(len(family.series)), side="right") - 1
    return family.row[ends]


def _now(wear: BookWear, each: FamilyFit) -> _Now:
    family, per = each.family, PER[each.family.unit]
    readings = wear.tables.readings
    place = {part: row for row, part in enumerate(wear.tables.parts["part"].to_pylist())}
    last = ["part", "measured_at", "distance_km", "distance_error_km"]
    named = _columns(readings, _last_rows(each), last)
    rows = np.array([place[part] for part in named["part"]], dtype=np.int64)
    facts = _columns(
        wear.tables.parts,
        rows,
        ["bike", "riding", "is_fitted", "fitted_at", "ended_at", "distance_km", "days"],
    )
    is_fitted = np.array(facts["is_fitted"], dtype=bool)
    last_x = family.x[np.searchsorted(family.series_of, np.arange(len(family.series)), "right") - 1]
    if family.unit == "km":
        x, error = _km_now(wear, facts, named)
    else:
        today = _days_since_epoch(wear.as_at)
        since = [today - _days_since_epoch(at) for at in facts["fitted_at"]]
        x = np.where(is_fitted, since, np.array(facts["days"], dtype=np.float64))
        error = np.zeros(len(x))
    return _Now(
        x=np.maximum(x / per, last_x),
        error=error / per,
        is_fitted=is_fitted,
        fitted_at=facts["fitted_at"],
        bikes=facts["bike"],
        ridings=facts["riding"],
    )


def _km_now(
    wear: BookWear, facts: Mapping[str, list[Any]], last: Mapping[str, list[Any]]
) -> tuple[Floats, Floats]:
    """Give each part's km now, and the error of what it went since its last reading.

    To the km it is known to have gone by the bike's last distance reading, or by its own last
    reading where that is later, comes what the bike was ridden since then.
    """
    bikes, ridings = facts["bike"], facts["riding"]
    usage, today = wear.usage, _days_since_epoch(wear.as_at)
    is_fitted = np.array(facts["is_fitted"], dtype=bool)
    read_at = np.array([_days_since_epoch(at) for at in last["measured_at"]])
    begun = np.array([_days_since_epoch(at) for at in facts["fitted_at"]])
    code = np.array([usage.bikes.get(bike, -1) for bike in bikes])
    counted = np.where(code >= 0, np.append(usage.last_at, -np.inf)[code], -np.inf)
    known = np.array([np.nan if km is None else km for km in facts["distance_km"]])
    read_km = np.array(last["distance_km"], dtype=np.float64)
    until = np.minimum(np.maximum.reduce([counted, read_at, begun]), today)
    km, log_sd = usage.ridden(bikes, until, np.full(len(bikes), today), ridings)
    spread = km * np.sqrt(np.expm1(np.minimum(log_sd, 3.0) ** 2))
    is_between = (counted > read_at) & is_fitted
    error = np.hypot(spread, np.where(is_between, np.array(last["distance_error_km"]), 0.0))
    gone = np.fmax(known, read_km) + np.where(is_fitted, km, 0.0)
    return gone, np.where(is_fitted, error, 0.0)


def _days_since_epoch(at: datetime) -> float:
    return (at - _EPOCH) / timedelta(days=1)


def _use(wear: BookWear, each: FamilyFit, now: _Now) -> Use:
    size = len(now.x)
    if each.family.unit != "km":
        days = np.arange(HORIZON_DAYS + 1, dtype=np.float64)[None, :]
        a_day = np.full(size, 1 / PER["days"])
        return Use(a_day, np.zeros(size), days, np.zeros(size, dtype=np.int64))
    names = sorted({riding or "" for riding in now.ridings})
    start = wear.today
    season = np.stack([wear.usage.season_days(name or None, start, HORIZON_DAYS) for name in names])
    km, log_sd = wear.usage.of(now.bikes, now.ridings)
    place = {name: row for row, name in enumerate(names)}
    of = np.array([place[riding or ""] for riding in now.ridings], dtype=np.int64)
    return Use(km / PER["km"], log_sd, season, of)


@dataclass(frozen=True, slots=True)
class _Foretold:
    """What a family's series (S,) are foretold; lists of what pages show."""

    rates: Sequence[Estimate | None]
    now: Sequence[Estimate | None]
    chance: Sequence[float | None]
    due_in: Sequence[Estimate | None]
    due_on: Sequence[DueDates | None]


def _foretold(wear: BookWear, each: FamilyFit, now: _Now) -> _Foretold:
    family, state = each.family, each.state
    size = len(family.series)
    nothing: list[None] = [None] * size
    if state is None:
        return _Foretold(nothing, nothing, nothing, nothing, nothing)
    variance = now.error**2
    seen = wear_forecast.at(state, now.x, variance)
    turn = family.direction
    ends = (LOW, HIGH) if turn > 0 else (HIGH, LOW)
    figures = _estimates(*(turn * seen.quantile(share) for share in (ends[0], MIDDLE, ends[1])))
    rates = _estimates(*(state.rate(share) for share in (LOW, MIDDLE, HIGH)))
    has = np.flatnonzero(~np.isnan(family.limit))
    chance, due_in, due_on = list(nothing), list(nothing), list(nothing)
    past = seen.chance_above(family.limit)
    for place in has:
        chance[place] = float(past[place])  # type: ignore[call-overload]
    going = has[now.is_fitted[has]]
    for place, (one, two) in zip(going, _due(wear, each, now, going, variance), strict=True):
        due_in[place], due_on[place] = one, two  # type: ignore[call-overload]
    return _Foretold(rates, figures, chance, due_in, due_on)


def _due(
    wear: BookWear, each: FamilyFit, now: _Now, which: Ints, variance: Floats
) -> Iterator[tuple[Estimate, DueDates]]:
    state = each.state
    assert state is not None
    some, limit, per = state.of(which), each.family.limit[which], PER[each.family.unit]
    use = _use(wear, each, now)
    use = Use(use.a_day[which], use.log_deviation[which], use.season, use.season_of[which])
    x, error = now.x[which], variance[which]
    ways = _estimates(
        *(
            per * wear_forecast.due_after(some, limit, x, error, share)
            for share in (LOW, MIDDLE, HIGH)
        )
    )
    days = [
        wear_forecast.due_days(some, limit, x, error, use, share) for share in (LOW, MIDDLE, HIGH)
    ]
    start = wear.today
    for way, *ends in zip(ways, *days, strict=True):
        yield way, DueDates(*(_day(start, end) for end in ends))


def _day(start: date, days: float) -> date | None:
    return start + timedelta(days=int(days)) if np.isfinite(days) else None


_FACTS = ("series", "part", "position", "quantity", "point", "make", "model", "riding",
          "rider", "unit", "direction", "limit", "is_from_new")  # fmt: skip
_OF_ONE = ("event", "measured_at", "value", "low", "high", "gauge",
           "distance_km", "distance_error_km", "days")  # fmt: skip


def _parts(wear: BookWear, each: FamilyFit) -> Iterator[PartWear]:
    family = each.family
    now = _now(wear, each)
    foretold = _foretold(wear, each, now)
    flags = {flag.row: flag for flag in each.flagged}
    readings = _columns(wear.tables.readings, family.row, _OF_ONE)
    facts = _columns(wear.tables.readings, _last_rows(each), _FACTS)
    ends = np.searchsorted(family.series_of, np.arange(len(family.series) + 1))
    per = PER[family.unit]
    for place, series in enumerate(family.series):
        fact = {name: facts[name][place] for name in _FACTS}
        yield PartWear(
            **{**fact, "series": series},
            bike=now.bikes[place],
            exposure_unit=family.unit,
            is_fitted=bool(now.is_fitted[place]),
            fitted_at=now.fitted_at[place],
            readings=tuple(
                _reading(readings, row, family.unit, flags.get(int(family.row[row])))
                for row in range(ends[place], ends[place + 1])
            ),
            rate=foretold.rates[place],
            now=foretold.now[place],
            exposure_now=_none(per * now.x[place]),
            exposure_now_error=float(per * now.error[place]),
            chance_past=foretold.chance[place],
            due_in=foretold.due_in[place],
            due_on=foretold.due_on[place],
        )


def _reading(
    columns: Mapping[str, list[Any]], row: int, unit: str, flag: Flagged | None
) -> WearReading:
    one = {name: columns[name][row] for name in _OF_ONE}
    km, error, days = one.pop("distance_km"), one.pop("distance_error_km"), one.pop("days")
    exposure = km if unit == "km" else days
    return WearReading(
        **one,
        exposure=exposure,
        exposure_error=error if unit == "km" else 0.0,
        flag=_flag_words(flag) if flag else None,
    )


def _flag_words(flag: Flagged) -> str:
    return f"left out: {flag.why} (expected {flag.low:.3g} to {flag.high:.3g})"


def _gauges(each: FamilyFit) -> Iterator[GaugeFigure]:
    family, scales = each.family, each.scales
    if scales is None:
        return
    for place, gauge in enumerate(family.gauges):
        if scales.count[place]:
            yield GaugeFigure(
                gauge=gauge,
                family=family.name,
                bias=float(family.direction * scales.bias[place]),
                bias_error=float(scales.bias_error[place]),
                gain=float(scales.gain[place]),
                error=float(scales.error[place]),
                count=int(scales.count[place]),
                exposure_unit=family.unit,
            )


def _rates(each: FamilyFit) -> Iterator[RateFigure]:
    family, pool = each.family, each.pool
    if pool is None:
        return
    spread = pool.spread**2 + pool.bike_spread**2
    levels = [("all", "all", 0.0, 0.0, len(family.series))]
    for place, (factor, level) in enumerate(pool.columns):
        code = family.levels[factor].index(level)
        count = int((family.factors[factor] == code).sum())
        unsure = float(pool.covariance[place + 1, place + 1])
        levels.append((factor, level, float(pool.effects[place]), unsure, count))
    for factor, level, effect, unsure, count in levels:
        middle, width = pool.mean + effect, 1.2816 * float(np.sqrt(spread + unsure))
        ends = (float(np.exp(middle + side * width)) for side in (-1, 0, 1))
        yield RateFigure(family.name, factor, level, Estimate(*ends), count, family.unit)


def _band(
    wear: BookWear, each: FamilyFit, series: str, count: int, ahead: float
) -> list[BandPoint]:
    family, per = each.family, PER[each.family.unit]
    assert each.scales and each.rates and each.readings
    which = family.series.index(series)
    part = wear.by_series[series]
    rows = np.flatnonzero((family.series_of == which) & each.used)
    now = (part.exposure_now or 0.0) / per
    due = part.due_in.middle if part.due_in else None
    reach = now + min(max((due or 0.0) / per * 1.1, ahead * now), 2 * now + 1.0)
    x = np.linspace(0.0, max(reach, 1e-6), count)
    seen = wear_forecast.band(family, each.scales, each.rates, each.readings, rows, which, x)
    turn = family.direction
    ends = (LOW, HIGH) if turn > 0 else (HIGH, LOW)
    low, middle, high = (turn * seen.quantile(share) for share in (ends[0], MIDDLE, ends[1]))
    return [
        BandPoint(float(per * one), float(two), float(three), float(four))
        for one, two, three, four in zip(x, low, middle, high, strict=True)
    ]
