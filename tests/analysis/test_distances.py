"""How far a bike had gone between, ahead of and beyond its distance readings."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.analysis.distances import (
    NONE,
    SCATTER_DAYS,
    SOURCES,
    Floats,
    Gone,
    Places,
    Readings,
    gone_between,
    km_at,
    place,
    with_lost,
)


def readings(*rows: tuple[float, float], error: float = 0.0) -> Readings:
    """Readings of one bike: (day, km)."""
    at, km = (np.array(column, dtype=float) for column in zip(*rows, strict=True))
    return Readings(at, km, np.full(len(at), error), np.zeros(len(at)))


def placed(at: list[float], seen: Readings) -> Places:
    """Place instants among the readings of one bike, by looking at each of them."""
    before = [max(np.flatnonzero(seen.at <= one), default=NONE) for one in at]
    after = [min(np.flatnonzero(seen.at >= one), default=NONE) for one in at]
    return place(np.array(at, float), np.array(before), np.array(after), seen)


def gone(start: float, end: float, seen: Readings, rate: float = 10.0, sd: float = 0.3) -> Gone:
    first, last = placed([start], seen), placed([end], seen)
    return gone_between(first, last, seen, np.array([rate]), np.array([sd]))


def test_an_instant_between_two_readings_is_interpolated_by_time() -> None:
    """A third of the time is a third of the way."""
    seen = readings((0, 100), (30, 400))
    found = placed([10, 20], seen)
    assert km_at(found, seen, np.full(2, 99.0)).tolist() == pytest.approx([200, 300])
    assert [SOURCES[code] for code in found.source] == ["between", "between"]


def test_an_instant_within_a_day_of_a_reading_counts_as_read() -> None:
    """The bike stood in the shop: the nearer reading is the distance."""
    seen = readings((0, 100), (30, 400))
    found = placed([0.9, 29.2, 30.5], seen)
    assert km_at(found, seen, np.full(3, 99.0)).tolist() == [100, 400, 400]
    assert [SOURCES[code] for code in found.source] == ["read"] * 3


def test_beyond_the_readings_the_rate_goes_on_and_back() -> None:
    """Ten days after the last reading, and ten before the first, at 7 km a day."""
    seen = readings((0, 100), (30, 400))
    found = placed([-10, 40], seen)
    assert km_at(found, seen, np.full(2, 7.0)).tolist() == pytest.approx([30, 470])
    assert [SOURCES[code] for code in found.source] == ["beyond", "beyond"]


def test_without_any_reading_nothing_is_known() -> None:
    """No reading: no distance, no error, and no zero in its place."""
    none = Readings(*(np.zeros(0) for _ in range(4)))
    found = gone(0, 10, none)
    assert np.isnan(found.km[0])
    assert (found.error_km[0], SOURCES[found.source[0]]) == (0.0, "unknown")


def test_the_gamma_bridge_has_the_spread_of_simulated_riding() -> None:
    """Over 200,000 simulated rides the share ridden by then scatters as the formula says."""
    rng = np.random.default_rng(20260401)
    days, until = 90.0, 36.0
    first = rng.gamma(until / SCATTER_DAYS, size=200_000)
    rest = rng.gamma((days - until) / SCATTER_DAYS, size=200_000)
    simulated = np.std(500 * first / (first + rest))
    found = gone(0, until, readings((0, 0), (days, 500)))
    assert found.error_km[0] == pytest.approx(simulated, rel=0.01)


def test_beyond_the_spread_is_that_of_the_rate_and_of_the_riding() -> None:
    """A log-normal rate and a gamma process give the error simulated beyond the last reading."""
    rng = np.random.default_rng(20260402)
    rate = 10 * np.exp(rng.normal(-(0.3**2) / 2, 0.3, size=400_000))
    ridden = rate * rng.gamma(60 / SCATTER_DAYS, SCATTER_DAYS, size=400_000)
    found = gone(100, 160, readings((0, 0), (100, 1000)))
    # The scatter within a rate that varies itself is left out: about 4 % of the error.
    assert found.error_km[0] == pytest.approx(np.std(ridden), rel=0.06)


def test_an_error_grows_with_the_gap() -> None:
    """Further beyond is never surer."""
    seen = readings((0, 0), (100, 1000))
    errors = [gone(0, 100 + days, seen).error_km[0] for days in (2, 10, 50, 200)]
    assert errors == sorted(errors) and errors[0] > 0


def test_the_error_of_a_reading_that_both_ends_lean_on_cancels() -> None:
    """Fitted and read at one visit: nothing was ridden between, however unsure the figure."""
    seen = readings((0, 1000), (50, 1500), error=80.0)
    assert gone(50, 50.3, seen).error_km[0] == pytest.approx(0.0, abs=1e-9)
    assert gone(0, 50, seen).error_km[0] == pytest.approx(80 * 2**0.5)
    # Half way from 0 to 50: what the line between both readings says, and no more.
    half = gone(0, 25, readings((0, 1000), (50, 1000), error=80.0))
    assert half.error_km[0] == pytest.approx(80 * (0.5**2 + 0.5**2) ** 0.5)


def test_what_no_computer_counted_is_an_error_of_as_much() -> None:
    """A computer replaced after 40 days at 10 km a day may have missed 400 km."""
    bare = readings((0, 0), (100, 1000), (140, 1000), (200, 1600))
    computer = np.array([0, 0, 1, 1])
    seen = with_lost(bare, np.zeros(4, dtype=np.int64), computer, np.full(4, 10.0))
    assert gone(0, 200, seen).error_km[0] == pytest.approx(400)
    assert gone(140, 200, seen).error_km[0] == 0.0
    assert gone(0, 100, seen).error_km[0] == 0.0


days: st.SearchStrategy[Floats] = st.lists(
    st.floats(0, 1000, allow_nan=False), min_size=2, max_size=6, unique=True
).map(lambda found: np.sort(np.array(found)))


@given(days, st.lists(st.floats(0, 500), min_size=6, max_size=6), st.data())
def test_a_bike_never_goes_backwards(at: Floats, ridden: list[float], data: st.DataObject) -> None:
    """Later is never less far, and what was ridden adds up over any instant between."""
    seen = Readings(at, np.cumsum(ridden[: len(at)]), np.zeros(len(at)), np.zeros(len(at)))
    asked = sorted(data.draw(st.lists(st.floats(-50, 1050), min_size=3, max_size=3)))
    km = km_at(placed(asked, seen), seen, np.full(3, 5.0))
    assert np.all(np.diff(km) >= -1e-6)
    parts = [gone(*pair, seen, rate=5.0).km[0] for pair in pairwise(asked)]
    whole = gone(asked[0], asked[-1], seen, rate=5.0)
    assert whole.km[0] == pytest.approx(sum(parts), abs=1e-6)
    assert whole.error_km[0] >= 0
