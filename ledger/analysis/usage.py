"""How far bikes are ridden: each bike's kilometres a day, and the season of its kind of riding.

Between two readings of one computer a bike rides D km in T days. D is taken to have the mean
r_b S and the variance r_b² SCATTER S, where r_b is the bike's rate and S the days weighted by
the season of its riding. Season: twelve monthly factors a kind of riding, by expectation
maximisation (each D is dealt out to the months it spans) with a gamma prior. Rates: the
logarithm of each bike's own rate is shrunk to the mean of its kind of riding, normal-normal
empirical Bayes in closed form. Few readings are normal: one reading a bike, or none, gives the
rate of its riding with the spread among bikes.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

import numpy as np
import pyarrow as pa

from ledger.analysis.distances import SCATTER_DAYS, Floats, Integers
from ledger.analysis.months import MONTH_SHARES, days_by_month
from ledger.analysis.unfit import CannotFit
from ledger.analysis.usage_pooling import pooled

FLAT_DAYS = 20.0
"""What the flat season weighs in each month, in days ridden by bikes in it."""
SMOOTH_DAYS = 250.0
"""What the geometric mean of its two neighbours weighs in each month."""
PRIOR_SCATTERS = 5.0
"""What the assumed scatter weighs, in intervals seen."""
USUAL_KM_PER_DAY = 4.0
"""The rate where no book tells any: an assumption, with the sd of its logarithm 1."""
LEAST_DAYS = 1.0
"""Readings closer than this tell nothing of a rate."""
_DAY_US = 86_400_000_000
_ROUNDS = 12
_STEPS = 20
_MONTH_BEFORE = np.roll(np.arange(12), 1)
_MONTH_AFTER = np.roll(np.arange(12), -1)


@dataclass(frozen=True)
class _Intervals:
    """Distances between readings of one computer; `bike` and `riding` are codes."""

    bike: Integers
    riding: Integers
    start: Floats
    end: Floats
    km: Floats
    variance: Floats
    """Of `km`, from the errors of both readings (km²)."""
    month_days: Floats


@dataclass(frozen=True)
class Usage:
    """How far bikes are ridden; made by `fit_usage`. Nothing it gives is ever NaN."""

    bikes: Mapping[str, int]
    ridings: Mapping[str, int]
    log_rates: Floats
    """By bike: the logarithm of km an average day."""
    log_sds: Floats
    riding_log_rates: Floats
    """By riding, and last of all ridings: of a bike of which nothing else is known."""
    riding_log_sds: Floats
    seasons: Floats
    """(ridings + 1, 12): monthly factors, of average 1 over the year; last of all ridings."""
    scatter_days: float
    """The variance of what is ridden in T days is its mean squared times this over T."""
    last_at: Floats
    """By bike: its last distance reading (days since 1970), its km, error and riding."""
    last_km: Floats
    last_error_km: Floats
    bike_ridings: Integers

    def of(
        self, bikes: Iterable[str], ridings: Iterable[str | None] | None = None
    ) -> tuple[Floats, Floats]:
        """Give each bike's km an average day (N,), and the sd of its logarithm (N,).

        A bike that is not known has the rate of its riding, an unknown riding that of all.
        """
        bike = self._bike_codes(bikes)
        riding = self._riding_codes(bike, ridings)
        is_known = bike >= 0
        rates = np.where(is_known, self._taken(self.log_rates, bike), self.riding_log_rates[riding])
        sds = np.where(is_known, self._taken(self.log_sds, bike), self.riding_log_sds[riding])
        return np.exp(rates), sds

    def season(self, riding: str | None) -> Floats:
        """Give the factors of January to December (12,): 1 is the average day of the year."""
        return np.asarray(self.seasons[self.ridings.get(riding or "", len(self.ridings))])

    def season_days(self, riding: str | None, start_date: date, horizon_days: int) -> Floats:
        """Give average days ridden from the start of a date until 0, 1 ... days on.

        Shape (horizon_days + 1,); a bike's km until then is its km_per_day times these.
        """
        first = float((start_date - date(1970, 1, 1)).days)
        until = first + np.arange(horizon_days + 1, dtype=np.float64)
        months = days_by_month(np.full(len(until), first), until)
        return np.asarray(months @ self.season(riding))

    def ridden(
        self,
        bikes: Sequence[str],
        start_days: Floats,
        end_days: Floats,
        ridings: Sequence[str | None] | None = None,
    ) -> tuple[Floats, Floats]:
        """Give the km each bike rides from one instant to another (days since 1970), and the sd
        of its logarithm, of what the bike's rate and its riding's scatter leave open."""
        rate, log_sd = self.of(bikes, ridings)
        riding = self._riding_codes(self._bike_codes(bikes), ridings)
        months = days_by_month(np.asarray(start_days), np.asarray(end_days))
        days = np.sum(months * self.seasons[riding], axis=1)
        scatter = self.scatter_days / np.maximum(days, LEAST_DAYS)
        return rate * days, np.sqrt(log_sd**2 + np.log1p(scatter))

    def distance_at(self, bikes: Sequence[str], at_days: Floats) -> tuple[Floats, Floats]:
        """Give each bike's km at an instant (days since 1970) past its last reading, and its sd.

        Before its last reading, that reading's own km. A bike never read has 0 km and an
        infinite error.
        """
        code = self._bike_codes(bikes)
        last = np.where(code >= 0, self._taken(self.last_at, code), at_days)
        km, log_sd = self.ridden(bikes, last, np.maximum(at_days, last))
        error = self._taken(self.last_error_km, code)
        spread = km * np.sqrt(np.expm1(np.minimum(log_sd, 3.0) ** 2))
        total = np.where(code >= 0, self._taken(self.last_km, code) + km, 0.0)
        return total, np.where(code >= 0, np.hypot(error, spread), np.inf)

    def _bike_codes(self, bikes: Iterable[str]) -> Integers:
        return np.array([self.bikes.get(bike, -1) for bike in bikes], dtype=np.int64)

    def _riding_codes(self, bike: Integers, ridings: Iterable[str | None] | None) -> Integers:
        others = len(self.ridings)
        if ridings is None:
            said = np.full(len(bike), others, dtype=np.int64)
        else:
            codes = [self.ridings.get(name or "", others) for name in ridings]
            said = np.array(codes, dtype=np.int64)
        own = np.where(bike >= 0, self._taken(self.bike_ridings, bike), others)
        return np.where(said == others, own, said).astype(np.int64)

    @staticmethod
    def _taken(values: Floats | Integers, code: Integers) -> Floats:
        if not len(values):
            return np.zeros(len(code))
        return np.asarray(values[np.maximum(code, 0)])


def fit_usage(distances: pa.Table | Mapping[str, Sequence[object]]) -> Usage:
    """Fit how far bikes are ridden to DISTANCES (`ledger.analysis.readings`).

    A mapping needs bike, riding, at and km; computer, source and error_km may be left out. Raises
    CannotFit for an instant without its time zone.
    """
    seen = _Seen(distances)
    intervals = seen.intervals()
    count = len(seen.ridings)
    seasons = np.ones((count + 1, 12))
    log_rates, scatter = _own_log_rates(seen, intervals, seasons, SCATTER_DAYS)[0], SCATTER_DAYS
    for _ in range(_ROUNDS):
        own, variances = _own_log_rates(seen, intervals, seasons, scatter)
        log_rates, log_sds, riding_rates, riding_sds = pooled(
            own, variances, seen.bike_ridings, count, np.log(USUAL_KM_PER_DAY)
        )
        seasons = _seasons(intervals, np.exp(log_rates), seasons)
        scatter = _scatter(intervals, seasons, len(seen.bikes))
    return Usage(
        bikes=seen.bikes,
        ridings=seen.ridings,
        log_rates=log_rates,
        log_sds=log_sds,
        riding_log_rates=riding_rates,
        riding_log_sds=riding_sds,
        seasons=seasons,
        scatter_days=scatter,
        last_at=seen.at[seen.last],
        last_km=seen.km[seen.last],
        last_error_km=seen.error_km[seen.last],
        bike_ridings=seen.bike_ridings,
    )


class _Seen:
    """The distance readings as arrays, by bike and time."""

    def __init__(self, distances: pa.Table | Mapping[str, Sequence[object]]) -> None:
        table = distances if isinstance(distances, pa.Table) else _with_zones(distances)
        names, ridings = table["bike"].to_pylist(), table["riding"].to_pylist()
        self.bikes = {name: code for code, name in enumerate(sorted(set(names)))}
        self.ridings = {name: code for code, name in enumerate(sorted(set(ridings) - {None}))}
        micros = _instants(table).cast(pa.timestamp("us", "UTC")).cast(pa.int64())
        at = np.asarray(micros.to_numpy(), dtype=np.float64) / _DAY_US
        bike = np.array([self.bikes[name] for name in names], dtype=np.int64)
        order = np.lexsort((at, bike))
        others = len(self.ridings)
        riding = np.array([self.ridings.get(name, others) for name in ridings], dtype=np.int64)
        self.at, self.bike, self.riding = at[order], bike[order], riding[order]
        self.km = np.asarray(table["km"].cast(pa.float64()).to_numpy())[order]
        self.computer = _column(table, "computer")[order]
        self.error_km = _column(table, "error_km")[order]
        after = np.searchsorted(self.bike, np.arange(len(self.bikes)), side="right")
        self.last = after.astype(np.int64) - 1
        self.bike_ridings = self.riding[self.last]

    def intervals(self) -> _Intervals:
        """Give what was ridden between readings of one computer."""
        end = np.arange(1, len(self.at))
        start = end - 1
        is_one = (self.bike[start] == self.bike[end]) & (self.computer[start] == self.computer[end])
        is_long = self.at[end] - self.at[start] >= LEAST_DAYS
        start, end = start[is_one & is_long], end[is_one & is_long]
        return _Intervals(
            bike=self.bike[end],
            riding=self.bike_ridings[self.bike[end]],
            start=self.at[start],
            end=self.at[end],
            km=np.maximum(self.km[end] - self.km[start], 0.0),
            variance=self.error_km[start] ** 2 + self.error_km[end] ** 2,
            month_days=days_by_month(self.at[start], self.at[end]),
        )


def _instants(table: pa.Table) -> pa.ChunkedArray:
    """Give the column `at`; raises CannotFit where an instant has no time zone."""
    at, right = table["at"], "Give instants with their time zone, such as UTC"
    if len(at) and (not pa.types.is_timestamp(at.type) or at.type.tz is None):
        raise CannotFit("row 0", "at", f"is {at[0]}, without a time zone", right)
    return at


def _with_zones(columns: Mapping[str, Sequence[object]]) -> pa.Table:
    """Give columns as a table; Arrow would take a time without a zone for one in UTC."""
    for row, moment in enumerate(columns.get("at", ())):
        if isinstance(moment, datetime) and moment.tzinfo is None:
            right = "Give instants with their time zone, such as UTC"
            raise CannotFit(f"row {row}", "at", f"is {moment}, without a time zone", right)
    return pa.table(dict(columns))


def _column(table: pa.Table, name: str) -> Floats:
    if name not in table.column_names:
        return np.zeros(len(table))
    return np.asarray(table[name].cast(pa.float64()).fill_null(0.0).to_numpy())


def _summed(values: Floats, codes: Integers, count: int) -> Floats:
    return np.bincount(codes, weights=values, minlength=count).astype(np.float64)


def _own_log_rates(
    seen: _Seen, intervals: _Intervals, seasons: Floats, scatter: float
) -> tuple[Floats, Floats]:
    """Give the logarithm of each bike's own rate and its variance (infinite where unknown)."""
    count = len(seen.bikes)
    days = np.sum(intervals.month_days * seasons[intervals.riding], axis=1)
    ridden, exposed = (_summed(part, intervals.bike, count) for part in (intervals.km, days))
    error = _summed(intervals.variance, intervals.bike, count)
    typical = ridden.sum() / exposed.sum() if exposed.sum() > 0 else USUAL_KM_PER_DAY
    # A bike that stood still for all it was seen has ridden less than the typical half a day.
    ridden = np.maximum(ridden, 0.5 * max(typical, 1e-3))
    with np.errstate(divide="ignore", invalid="ignore"):
        rate = np.where(exposed > 0, np.log(ridden / exposed), 0.0)
        variance = np.log1p(scatter / exposed) + np.log1p(error / ridden**2)
    return rate, np.where(exposed > 0, variance, np.inf)


def _seasons(intervals: _Intervals, rates: Floats, seasons: Floats) -> Floats:
    """Give the monthly factors by riding and, last, of all, a few steps on from `seasons`."""
    average_days = intervals.km / rates[intervals.bike]
    # What somebody only guessed tells little of when it was ridden.
    trust = 1.0 / (1.0 + intervals.variance / np.maximum(intervals.km, 1.0) ** 2 * 10)
    chosen = [intervals.riding == code for code in range(len(seasons) - 1)]
    chosen.append(np.ones(len(average_days), dtype=bool))
    return np.array(
        [
            _season(season, intervals.month_days[which], average_days[which], trust[which])
            for season, which in zip(seasons, chosen, strict=True)
        ]
    )


def _season(season: Floats, month_days: Floats, average_days: Floats, trust: Floats) -> Floats:
    """Give twelve factors of average 1 over the year, some steps of expectation maximisation on.

    The prior of each month lies between 1 and the geometric mean of its neighbours, since long
    intervals hardly tell neighbouring months apart.
    """
    exposed = trust @ month_days
    for _ in range(_STEPS):
        expected = np.maximum(month_days @ season, 1e-9)
        dealt = (trust * average_days / expected) @ month_days * season
        near = np.sqrt(season[_MONTH_BEFORE] * season[_MONTH_AFTER])
        prior = FLAT_DAYS + SMOOTH_DAYS * near
        season = (dealt + prior) / (exposed + FLAT_DAYS + SMOOTH_DAYS)
    return np.asarray(season / (season @ MONTH_SHARES))


def _scatter(intervals: _Intervals, seasons: Floats, count: int) -> float:
    """Give the scatter in days from how a bike's intervals differ from its own rate."""
    days = np.sum(intervals.month_days * seasons[intervals.riding], axis=1)
    ridden, exposed = (_summed(part, intervals.bike, count) for part in (intervals.km, days))
    number = _summed(np.ones(len(days)), intervals.bike, count)
    is_said = _summed(intervals.variance, intervals.bike, count) > 0
    chosen = ((number > 1) & (ridden > 0) & ~is_said)[intervals.bike]
    with np.errstate(divide="ignore", invalid="ignore"):
        own = (exposed / ridden)[intervals.bike]
        squares = (intervals.km * own - days) ** 2 / np.maximum(days, LEAST_DAYS)
    freedom = np.sum(1.0 - 1.0 / number[intervals.bike][chosen])
    return float(
        (squares[chosen].sum() + PRIOR_SCATTERS * SCATTER_DAYS) / (freedom + PRIOR_SCATTERS)
    )
