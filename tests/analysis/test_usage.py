"""How far bikes are ridden: rates, seasons, and how far the next stretch will be."""

from __future__ import annotations

from datetime import date
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.months import MONTH_SHARES, days_by_month
from ledger.analysis.usage import Usage, fit_usage
from ledger.analysis.usage_pooling import pooled

FIRST = float((date(2023, 1, 1) - date(1970, 1, 1)).days)
SUMMER = np.array([0.1, 0.2, 0.7, 1.1, 1.5, 1.8, 1.9, 1.8, 1.3, 0.8, 0.5, 0.3])
SUMMER = SUMMER / (SUMMER @ MONTH_SHARES)
FLAT = np.ones(12)
SCATTER = 6.0


def table(rows: list[tuple[str, str | None, float, float]]) -> dict[str, Any]:
    """Distances from (bike, riding, days since 1970, km)."""
    bike, riding, at, km = (list(column) for column in zip(*rows, strict=True))
    micros = pa.array([round(day * 86_400e6) for day in at], pa.int64())
    return {"bike": bike, "riding": riding, "at": micros.cast(pa.timestamp("us", "UTC")), "km": km}


def ridden(rng: np.random.Generator, rate: float, season: Any, start: float, end: float) -> float:
    """Simulate km from one instant to another: a gamma process in days of the season."""
    days = float((days_by_month(np.array([start]), np.array([end])) @ season)[0])
    return rate * rng.gamma(max(days, 1e-9) / SCATTER) * SCATTER


def simulated(
    rng: np.random.Generator, count: int, riding: str, weekly_km: float, season: Any
) -> tuple[list[tuple[str, str | None, float, float]], list[tuple[str, float, float, float]]]:
    """Give readings of bikes, and for each the stretch that follows: (bike, start, end, km)."""
    rows: list[tuple[str, str | None, float, float]] = []
    next_stretch = []
    for number in range(count):
        bike = f"{riding}-{number}"
        rate = weekly_km / 7 * np.exp(rng.normal(0, 0.35))
        at, km = FIRST + rng.uniform(0, 300), rng.uniform(0, 2000)
        for _ in range(rng.integers(1, 6)):
            rows.append((bike, riding, at, km))
            end = at + rng.uniform(40, 250)
            further = ridden(rng, rate, season, at, end)
            last, at, km = (bike, at, end, further), end, km + further
        next_stretch.append(last)
    return rows, next_stretch


@pytest.fixture(scope="module")
def shop() -> tuple[Usage, list[tuple[str, float, float, float]]]:
    """The usage of a simulated shop of two kinds of riding, and what its bikes rode next."""
    rng = np.random.default_rng(20260403)
    touring, next_touring = simulated(rng, 500, "touring", 30.0, SUMMER)
    courier, next_courier = simulated(rng, 300, "courier", 135.0, FLAT)
    return fit_usage(table([*touring, *courier])), [*next_touring, *next_courier]


def test_the_weekly_distance_of_each_riding_is_recovered(shop: Any) -> None:
    """The median bike of each kind of riding, and the spread among bikes."""
    usage, _ = shop
    rates, sds = usage.of(["new one", "another"], ["touring", "courier"])
    assert (7 * rates).tolist() == pytest.approx([30, 135], rel=0.06)
    assert sds.tolist() == pytest.approx([0.35, 0.35], rel=0.15)


def test_the_season_is_recovered_from_intervals_of_months(shop: Any) -> None:
    """Factors of touring within 0.25 of the truth, of couriers within 0.15 of flat."""
    usage, _ = shop
    assert np.max(np.abs(usage.season("touring") - SUMMER)) < 0.25
    assert np.max(np.abs(usage.season("courier") - FLAT)) < 0.15
    assert usage.season("touring") @ MONTH_SHARES == pytest.approx(1.0)


def test_a_winter_lay_up_shows_as_hardly_any_riding() -> None:
    """Bikes read before and after a winter they stood still in show it."""
    season = np.where(np.isin(np.arange(12), [11, 0, 1]), 0.0, 1.0)
    season = season / (season @ MONTH_SHARES)
    rng = np.random.default_rng(20260404)
    rows, _ = simulated(rng, 400, "family", 20.0, season)
    found = fit_usage(table(rows)).season("family")
    assert found[[11, 0, 1]].max() < 0.3 < found[2:11].min()


def test_the_scatter_is_recovered(shop: Any) -> None:
    """How far a bike's riding differs from its own rate, in days."""
    assert shop[0].scatter_days == pytest.approx(SCATTER, rel=0.35)


def test_the_next_stretch_lies_in_its_80_per_cent_interval(shop: Any) -> None:
    """Of 800 stretches not used in the fit, about 80 % lie within."""
    usage, stretches = shop
    bikes, start, end, km = zip(*stretches, strict=True)
    median, log_sd = usage.ridden(list(bikes), np.array(start), np.array(end))
    inside = np.abs(np.log(np.array(km) / median)) <= 1.281552 * log_sd
    assert 0.75 < inside.mean() < 0.85


def test_the_distance_now_goes_on_from_the_last_reading(shop: Any) -> None:
    """Within its error two thirds of the time; before the last reading it is that reading."""
    usage, stretches = shop
    bikes, start, end, km = zip(*stretches, strict=True)
    last, _ = usage.distance_at(list(bikes), np.array(start))
    then, error = usage.distance_at(list(bikes), np.array(end))
    assert 0.6 < np.mean(np.abs(then - last - np.array(km)) <= error) < 0.85
    nobody = usage.distance_at(["nobody"], np.array([FIRST]))
    assert nobody[0].tolist() == [0.0] and np.isinf(nobody[1][0])


def test_average_days_add_up_by_the_season(shop: Any) -> None:
    """From 1 January over a year they are the year's days, and summer days weigh more."""
    usage, _ = shop
    days = usage.season_days("touring", date(2025, 1, 1), 365)
    assert days.shape == (366,) and days[0] == 0.0
    assert days[-1] == pytest.approx(365, rel=0.002)
    assert days[31] == pytest.approx(31 * usage.season("touring")[0])
    assert np.all(np.diff(days) >= 0)


def test_a_bike_with_one_reading_has_the_rate_of_its_riding() -> None:
    """One reading tells no rate; 200 days tell most of it."""
    rates_km = np.exp(np.log(5.0) + 0.5 * np.linspace(-1.5, 1.5, 21))
    rows = [
        (f"b{number}", "commute", FIRST + day, rate * day)
        for number, rate in enumerate(rates_km)
        for day in (0, 200)
    ]
    usage = fit_usage(table([*rows, ("lone", "commute", FIRST, 800.0)]))
    rates, sds = usage.of(["lone", "b1"], ["commute", "commute"])
    assert rates[0] == pytest.approx(5.0, rel=0.1)
    assert rates_km[1] < rates[1] < 5.0
    assert sds[0] > sds[1] > 0


def test_without_readings_there_is_still_an_answer() -> None:
    """An empty book gives the usual rate, a flat season, and never NaN."""
    usage = fit_usage(table([("b", None, FIRST, 5.0)]))
    rates, sds = usage.of(["b", "c"], [None, "touring"])
    assert np.all(rates > 0) and np.all(sds > 0.5)
    assert usage.season("touring").tolist() == pytest.approx([1.0] * 12)
    empty = pa.table({n: pa.array([], t) for n, t in (
        ("bike", pa.string()), ("riding", pa.string()),
        ("at", pa.timestamp("us", "UTC")), ("km", pa.float64()))})  # fmt: skip
    rates, sds = fit_usage(empty).of(["c"], ["touring"])
    assert np.isfinite(rates).all() and np.isfinite(sds).all()


def test_pooling_of_equal_variances_is_the_textbook_shrinkage() -> None:
    """With one group and known variances each lies as far to the mean as B = v / (v + tau²).

    Efron and Morris (1975), the closed form of the normal-normal model (from memory).
    """
    rng = np.random.default_rng(20260405)
    truth = rng.normal(1.0, 0.6, size=4000)
    values = truth + rng.normal(0, 0.8, size=4000)
    variances, group = np.full(4000, 0.64), np.zeros(4000, dtype=np.int64)
    posterior, sd, means, sds = pooled(values, variances, group, 1, 0.0)
    assert (means[0], sds[0]) == (pytest.approx(1.0, abs=0.06), pytest.approx(0.6, rel=0.08))
    shrunk = 1.0 - 0.64 / (0.64 + 0.36)
    assert np.polyfit(values, posterior, 1)[0] == pytest.approx(shrunk, rel=0.1)
    assert sd[0] == pytest.approx((0.36 * 0.64 / (0.36 + 0.64)) ** 0.5, rel=0.08)
    assert np.mean((posterior - truth) ** 2) < np.mean((values - truth) ** 2)


rows_of_bikes = st.lists(
    st.tuples(
        st.sampled_from(("a", "b", "c")),
        st.sampled_from(("commute", "touring", None)),
        st.floats(FIRST, FIRST + 2000),
        st.floats(0, 50_000),
    ),
    min_size=1,
    max_size=12,
)


@settings(max_examples=40)
@given(rows_of_bikes)
def test_nothing_is_ever_nan(rows: list[tuple[str, str | None, float, float]]) -> None:
    """Whatever was read, falling or standing still, every answer is a figure."""
    usage = fit_usage(table(sorted(rows, key=lambda row: row[2])))
    rates, sds = usage.of(["a", "b", "c", "d"], ["commute", None, "touring", "unknown"])
    km, error = usage.distance_at(["a", "d"], np.array([FIRST + 3000.0, FIRST]))
    for found in (
        rates,
        sds,
        usage.seasons,
        km,
        usage.season_days("touring", date(2024, 2, 29), 9),
    ):
        assert np.isfinite(found).all() and (found >= 0).all()
    assert np.isfinite(error[0]) or "a" not in usage.bikes


def test_days_by_month_sum_to_the_days_between() -> None:
    """From noon on 31 January 2024 to noon on 1 March: half a day, February, half a day."""
    start = float((date(2024, 1, 31) - date(1970, 1, 1)).days) + 0.5
    (found,) = days_by_month(np.array([start]), np.array([start + 30]))
    assert found[:3].tolist() == [0.5, 29.0, 0.5]
    assert found[3:].sum() == 0.0
