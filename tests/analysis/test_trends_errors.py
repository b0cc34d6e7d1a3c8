"""How often the trend tests see a trend where there is none, and where there is one."""

from __future__ import annotations

import numpy as np
import pytest

from ledger.analysis.histories import Histories
from ledger.analysis.life_bounds import BadLives
from ledger.analysis.trends import (
    laplace,
    laplace_of,
    military_handbook,
    reverse_arrangements,
    trend,
    trend_of,
)


def share_seen(judgements):
    """Give the share that saw a trend, and its standard error were it 5 %."""
    return np.mean([one.startswith("getting") for one in judgements]), (
        0.0475 / len(judgements)
    ) ** 0.5


@pytest.mark.parametrize("count", [5, 8, 12, 13, 40])
def test_one_bike_without_a_trend_is_said_to_have_one_in_one_of_twenty(count):
    """Of evenly spread events 5 % are seen as a trend by the exact tests, however few they are."""
    random = np.random.default_rng(20260813 + count)
    drawn = [random.random(count) * 700 for _ in range(2500)]
    for test in (laplace, military_handbook):
        seen, error = share_seen([test(times, 700).judgement for times in drawn])
        assert seen == pytest.approx(0.05, abs=3.5 * error)
    # Orders of few gaps come in steps, so that the test may see fewer, never more
    seen, error = share_seen([reverse_arrangements(times, 700).judgement for times in drawn])
    assert seen < 0.05 + 3.5 * error


def test_a_bike_watched_to_its_last_fault_is_no_other():
    """With the end set by the last of eight events 5 % are seen as a trend."""
    random = np.random.default_rng(20260814)
    drawn = [random.exponential(90, 8).cumsum() for _ in range(4000)]
    for test in (laplace, military_handbook):
        seen, error = share_seen([test(times).judgement for times in drawn])
        assert seen == pytest.approx(0.05, abs=3.5 * error)


def bikes(random, count, bunch=0.0):
    """Draw bikes of unlike rates and ends without a trend, each event a bunch of 1 + Poisson."""
    end = random.uniform(100, 1000, count)
    unit = np.repeat(np.arange(count), random.poisson(0.003 * random.gamma(1, 1, count) * end))
    age = random.random(len(unit)) * end[unit]
    size = 1 + random.poisson(bunch, len(unit))
    none = np.zeros(count)
    return Histories(unit.repeat(size), age.repeat(size), none, end, none.astype(bool))


@pytest.mark.parametrize("count", [5, 10])
def test_a_few_bikes_of_unlike_rates_keep_the_level(count):
    """Pooled over bikes that differ, 5 % are seen as a trend, since each is its own measure."""
    random = np.random.default_rng(20260815)
    drawn = [of for of in (bikes(random, count) for _ in range(3000)) if len(of.time) >= 5]
    seen, error = share_seen([laplace_of(of).judgement for of in drawn])
    assert seen == pytest.approx(0.05, abs=3.5 * error)


@pytest.mark.parametrize("bunch", [0.0, 1.5])
def test_a_group_whose_events_come_in_bunches_keeps_the_level(bunch):
    """Of sixty bikes 5 % are seen as a trend, with events in bunches too; unrobust far more are."""
    random = np.random.default_rng(20260816)
    drawn = [bikes(random, 60, bunch) for _ in range(2000)]
    seen, error = share_seen([trend_of(of).judgement for of in drawn[:600]])
    assert seen == pytest.approx(0.05, abs=4 * error)
    seen, error = share_seen([laplace_of(of, is_robust=True).judgement for of in drawn])
    assert seen == pytest.approx(0.05, abs=3.5 * error)
    unrobust, _ = share_seen([laplace_of(of).judgement for of in drawn])
    assert (unrobust > 0.2) == (bunch > 0)


@pytest.mark.parametrize("count", [10, 30, 60])
def test_a_doubled_rate_is_noticed_as_often_as_said(count):
    """The chance given to notice a doubling is the share of doublings noticed, to 3 points."""
    random = np.random.default_rng(20260817)
    found = []
    for _ in range(1500):
        is_late = random.random(count) < 2 / 3
        found.append(laplace((random.random(count) + is_late) * 350, 700))
    said = trend(random.random(count) * 700, 700).chance_to_see_doubling
    seen = np.mean([one.judgement == "getting worse" for one in found])
    assert said == pytest.approx(seen, abs=0.03)


@pytest.mark.parametrize("size", [1e307, 1e-300])
def test_times_of_no_size_are_refused(size: float) -> None:
    """Times whose squares overflow or vanish are refused by name, and give no nan in the words."""
    with pytest.raises(BadLives, match="time_of_event: it is no size"):
        trend([size * each for each in (1.0, 2.0, 3.0, 4.0, 5.0, 6.0)], size * 10)
