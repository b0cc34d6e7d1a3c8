"""How a book's parts wear: every part's line, where it stands, when it is due, how sure that is."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from functools import cached_property

import numpy as np

from ledger.analysis import wear_forecast
from ledger.analysis.backtest import Backtest, backtest
from ledger.analysis.usage import Usage
from ledger.analysis.wear import FamilyFit, WearFit
from ledger.analysis.wear_data import PER
from ledger.analysis.wear_forecast import HIGH, LOW, MIDDLE
from ledger.book import Book
from ledger.figures.ahead import BookTables
from ledger.figures.readings import BookReadings
from ledger.figures.wear_now import Now, now_of
from ledger.figures.wear_parts import (
    flagged_parts,
    near_parts,
    not_below_nought,
    parts_of,
    parts_on,
    some_parts,
)
from ledger.figures.wear_shapes import (
    BandPoint,
    DueDates,
    Estimate,
    GaugeFigure,
    PartWear,
    RateFigure,
    WearReading,
)
from ledger.figures.wear_standing import FamilyStanding
from ledger.figures.worn import Worn, readings_of, with_starts, worn_alike, worn_of

__all__ = [
    "BandPoint", "BookWear", "DueDates", "Estimate", "GaugeFigure", "PartWear", "RateFigure",
    "WearReading", "backtest_of", "wear_as_at", "wear_of",
]  # fmt: skip


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

    def near(self, within_days: int, chance: float) -> Iterator[PartWear]:
        """Give the fitted parts that are past their limit or may be soon, one at a time.

        Past it when last read, past it now with that chance at least, or within the days by the
        middle estimate; where nothing tells, every part that has a limit.
        """
        for each in self.fit.families:
            yield from near_parts(self, each, within_days, chance)

    def part(self, series: str) -> PartWear | None:
        """Give the part of a series; None where none was read under that name."""
        for each in self.fit.families:
            if series in each.family.series:
                which = np.array([each.family.series.index(series)])
                return next(iter(some_parts(self, each, which)))
        return None

    @cached_property
    def flagged(self) -> list[PartWear]:
        """The parts with a reading left out of the fit, by series."""
        found = [part for each in self.fit.families for part in flagged_parts(self, each)]
        return sorted(found, key=lambda part: part.series)

    @cached_property
    def standings(self) -> list[FamilyStanding]:
        """How the parts of every family stand, in arrays."""
        return [FamilyStanding(self, each) for each in self.fit.families]

    @cached_property
    def family_names(self) -> Mapping[str, str]:
        """The family of every series, such as `chain elongation`."""
        families = [each.family for each in self.fit.families]
        return {series: one.name for one in families for series in one.series}

    @cached_property
    def units(self) -> Mapping[str, str]:
        """The unit that the readings of every family are in."""
        units = self.tables.readings["unit"]
        families = [each.family for each in self.fit.families]
        return {one.name: units[int(one.row[0])].as_py() for one in families}

    def now_of(self, each: FamilyFit) -> Now:
        """Give how far the series of one of its families have gone by the instant asked."""
        found = self._now.get(id(each))
        if found is None:
            found = self._now[id(each)] = now_of(self, each)
        return found

    @cached_property
    def _now(self) -> dict[int, Now]:
        return {}

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
    the sorts of part and quantities that were read on them are fitted where no fit of all is kept,
    from the whole book's readings all the same: every figure of them is what it is without.
    """
    now, tables = as_at or datetime.now(UTC), ahead or BookTables(book, as_at, known_seq)
    worn = worn_of(book, tables) if bikes is None else worn_alike(book, tables, bikes)
    return wear_as_at(book, worn, now)


def wear_as_at(book: Book, worn: Worn, now: datetime) -> BookWear:
    """Give all wear of a book from what was fitted, as it goes on until an instant."""
    today = book.settings.local(now).date()
    return BookWear(now, today, worn.tables, worn.fit, worn.tables.usage)


def backtest_of(book: Book, on_progress: Callable[[int, int], None] | None = None) -> Backtest:
    """Score how the model would have foretold this book's readings.

    `on_progress` is told how many families are done, of how many.
    """
    tables = BookTables(book)
    readings = with_starts(book, readings_of(book, tables).readings, tables.asked.known_seq)
    return backtest(readings, on_progress=on_progress)


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
    part = wear.part(series)
    assert part is not None
    rows = np.flatnonzero((family.series_of == which) & each.used)
    now = (part.exposure_now or 0.0) / per
    due = part.due_in.middle if part.due_in else None
    reach = now + min(max((due or 0.0) / per * 1.1, ahead * now), 2 * now + 1.0)
    x = np.linspace(0.0, max(reach, 1e-6), count)
    seen = wear_forecast.band(family, each.scales, each.rates, each.readings, rows, which, x)
    turn = family.direction
    ends = (LOW, HIGH) if turn > 0 else (HIGH, LOW)
    low, middle, high = (
        not_below_nought(turn * seen.quantile(share), turn) for share in (ends[0], MIDDLE, ends[1])
    )
    return [
        BandPoint(float(per * one), float(two), float(three), float(four))
        for one, two, three, four in zip(x, low, middle, high, strict=True)
    ]
