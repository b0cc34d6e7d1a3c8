"""How a book's parts wear: every part's line, where it stands, when it is due, how sure that is."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime
from functools import cached_property
from itertools import compress

import numpy as np
import pyarrow as pa

from ledger.analysis import wear_forecast
from ledger.analysis.backtest import Backtest, backtest
from ledger.analysis.usage import Usage
from ledger.analysis.wear import FamilyFit, WearFit, fit_wear
from ledger.analysis.wear_data import PER, sort_of
from ledger.analysis.wear_forecast import HIGH, LOW, MIDDLE
from ledger.book import Book
from ledger.figures.ahead import BookTables
from ledger.figures.gauges import registered_errors
from ledger.figures.readings import BookReadings, book_readings
from ledger.figures.wear_parts import near_parts, parts_of, parts_on
from ledger.figures.wear_shapes import (
    BandPoint,
    DueDates,
    Estimate,
    GaugeFigure,
    PartWear,
    RateFigure,
    WearReading,
)

__all__ = [
    "BandPoint", "BookWear", "DueDates", "Estimate", "GaugeFigure", "PartWear", "RateFigure",
    "WearReading", "backtest_of", "wear_of",
]  # fmt: skip

NEW_FIGURES = {"elongation": 0.0, "tooth_wear": 0.0, "capacity_left": 100.0}
"""What a new part reads by the definition of the quantity."""


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
        found = [part for each in self.fit.families for part in parts_of(self, each)]
        return sorted(found, key=lambda part: part.series)

    def on_bikes(self, bikes: Collection[str]) -> list[PartWear]:
        """Give, by series, every part that was read and is on one of these bikes, or was last."""
        found = [part for each in self.fit.families for part in parts_on(self, each, bikes)]
        return sorted(found, key=lambda part: part.series)

    def near(self, within_days: int, chance: float) -> list[PartWear]:
        """Give, by series, the fitted parts that are past their limit or may be soon.

        Past it when last read, past it now with that chance at least, or within the days by the
        middle estimate; where nothing tells, every part that has a limit.
        """
        found = [
            part
            for each in self.fit.families
            for part in near_parts(self, each, within_days, chance)
        ]
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


def wear_of(
    book: Book,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    ahead: BookTables | None = None,
    bikes: Collection[str] | None = None,
) -> BookWear:
    """Fit the wear of every part of a book, as at an instant (None for now).

    `ahead` are its tables as at the same, where they were asked for before. With `bikes`, only
    the sorts of part and quantities that were read on them are fitted, from the whole book's
    readings all the same: every figure of them is what it is without.
    """
    now = as_at or datetime.now(UTC)
    tables = book_readings(book, as_at, known_seq, ahead=ahead)
    readings = tables.readings if bikes is None else _alike(tables.readings, bikes)
    return BookWear(
        as_at=now,
        today=book.settings.local(now).date(),
        tables=replace(tables, readings=readings),
        fit=fit_wear(_with_starts(book, readings)),
        usage=tables.usage,
    )


def _alike(readings: pa.Table, bikes: Collection[str]) -> pa.Table:
    """Keep the readings of what wears like something that was read on these bikes."""
    names = ("position", "quantity")
    places, quantities = (readings[name].to_pylist() for name in names)
    kinds = [(sort_of(place), quantity) for place, quantity in zip(places, quantities, strict=True)]
    ours = set(compress(kinds, (bike in bikes for bike in readings["bike"].to_pylist())))
    return readings.filter(pa.array([kind in ours for kind in kinds], pa.bool_()))


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
    errors = registered_errors(book.gauges.values(), book.vocabulary)
    known = [
        errors.get((gauge, quantity))
        for gauge, quantity in zip(readings["gauge"].to_pylist(), quantities, strict=True)
    ]
    place = readings.schema.get_field_index("start")
    return readings.set_column(place, "start", pa.array(starts, pa.float64())).append_column(
        "gauge_error", pa.array(known, pa.float64())
    )


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
