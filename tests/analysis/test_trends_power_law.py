"""The power law: most likely figures, intervals, goodness of fit, and what settles no shape."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats
from scipy.optimize import minimize

from ledger.analysis.life_bounds import BadLives, TooFewLives
from ledger.analysis.power_law import CRITICAL_AT_5_PERCENT, critical_distance, power_law
from ledger.analysis.trends import trend


def drawn(random, shape, scale, ends, starts=None):
    """Draw events of units by a power law: (unit of event, age of event)."""
    start = np.zeros(len(ends)) if starts is None else starts
    low, high = start**shape, ends**shape
    unit = np.repeat(np.arange(len(ends)), random.poisson(scale * (high - low)))
    share = random.random(len(unit))
    return unit, (low[unit] + share * (high - low)[unit]) ** (1 / shape)


def test_different_windows_give_the_highest_likelihood():
    """With unlike starts and ends, shape and scale are where a search of two finds the peak."""
    random = np.random.default_rng(20260808)
    starts, ends = np.array([0, 0, 30, 200.0, 5]), np.array([100, 400, 300, 700.0, 90])
    unit, age = drawn(random, 1.6, 0.002, ends, starts)
    law = power_law(age, ends, unit_of_event=unit, start=starts)

    def loss(logs):
        shape, scale = np.exp(logs)
        watched = scale * (ends**shape - starts**shape).sum()
        return watched - np.log(scale * shape * age ** (shape - 1)).sum()

    found = minimize(
        loss, [0.0, -4.0], method="Nelder-Mead", options={"xatol": 1e-9, "fatol": 1e-11}
    )
    assert [law.shape, law.scale] == pytest.approx(np.exp(found.x), rel=1e-5)
    expected = law.scale * (ends**law.shape - starts**law.shape).sum()
    assert expected == pytest.approx(len(age), rel=1e-9)
    assert (law.shape_unbiased, law.mtbf_low, law.cramer_von_mises) == (None, None, None)
    low, high = (-loss(np.log([s, len(age) / (ends**s - starts**s).sum()])) for s in
                 (law.shape_low, law.shape_high))  # fmt: skip
    assert -found.fun - low == pytest.approx(stats.chi2.ppf(0.95, 1) / 2, abs=1e-5)
    assert -found.fun - high == pytest.approx(stats.chi2.ppf(0.95, 1) / 2, abs=1e-5)


def test_nearly_like_windows_are_near_like_ones():
    """The closed form for like windows is the limit of the search for unlike ones."""
    random = np.random.default_rng(20260809)
    unit, age = drawn(random, 0.7, 0.5, np.full(4, 300.0))
    alike = power_law(age, [300] * 4, unit_of_event=unit)
    nearly = power_law(age, [300, 300, 300, 300 + 1e-7], unit_of_event=unit)
    assert nearly.shape == pytest.approx(alike.shape, rel=1e-8)
    assert nearly.scale == pytest.approx(alike.scale, rel=1e-8)


def test_another_measure_changes_the_scale_alone():
    """Hours for days leave the shape, and stretch the mean time between events."""
    days = power_law([3, 10, 50, 80], [100, 60], unit_of_event=[0, 1, 1, 0])
    hours = power_law([72, 240, 1200, 1920], [2400, 1440], unit_of_event=[0, 1, 1, 0])
    assert hours.shape == pytest.approx(days.shape)
    assert hours.mtbf_at_end == pytest.approx(24 * days.mtbf_at_end)
    assert hours.expected(2400) == pytest.approx(days.expected(100))
    assert 24 * hours.intensity(240) == pytest.approx(days.intensity(10))


def test_the_interval_of_the_shape_holds_it_and_the_unbiased_shape_is_unbiased():
    """Of 2,000 bikes of few events 95 % of intervals hold the shape, and the mean is the shape."""
    random = np.random.default_rng(20260810)
    held, shapes = [], []
    while len(held) < 2000:
        _, age = drawn(random, 1.3, 6 / 500**1.3, np.array([500.0]))
        if len(age) >= 3:
            law = power_law(age, 500)
            held.append(law.shape_low <= 1.3 <= law.shape_high)
            shapes.append(law.shape_unbiased)
    assert np.mean(held) == pytest.approx(0.95, abs=0.015)
    assert np.mean(shapes) == pytest.approx(1.3, abs=4 * np.std(shapes) / 2000**0.5)


def test_the_interval_holds_the_shape_of_bikes_whose_rates_differ():
    """Bikes of unlike ends and rates, as a gamma of variance 1, leave the interval at its level."""
    random = np.random.default_rng(20260811)
    held = []
    for _ in range(600):
        ends = random.uniform(100, 900, 30)
        unit, age = drawn(random, 1.3, 0.0006 * random.gamma(1, 1, 30), ends)
        law = power_law(age, ends, unit_of_event=unit)
        held.append(law.shape_low <= 1.3 <= law.shape_high)
    assert np.mean(held) == pytest.approx(0.95, abs=0.03)


@pytest.mark.parametrize("count", [3, 10, 30])
def test_the_critical_distance_is_exceeded_by_one_in_twenty(count):
    """Of true power laws 5 % have a larger Cramér–von Mises statistic."""
    random = np.random.default_rng(20260812 + count)
    laws = [power_law(random.random(count) * 100, 100) for _ in range(4000)]
    share = np.mean([not law.is_plausible for law in laws])
    assert share == pytest.approx(0.05, abs=4 * (0.05 * 0.95 / 4000) ** 0.5)


def test_the_critical_distance_rises_between_the_simulated_ones():
    """Between counts simulated it is drawn straight, and past the last it stays."""
    assert critical_distance(7) > CRITICAL_AT_5_PERCENT[6]
    assert critical_distance(7) < CRITICAL_AT_5_PERCENT[8]
    assert critical_distance(5000) == CRITICAL_AT_5_PERCENT[100]


def test_events_in_two_bunches_follow_no_power_law():
    """A bike whose events all came in two weeks is refused by the goodness of fit."""
    assert not power_law([40, 41, 42, 43, 44, 90, 91, 92, 93, 94, 95, 96], 100).is_plausible


@pytest.mark.parametrize(
    ("times", "end"),
    [([], 100), ([100, 100], 100), ([50], None)],
    ids=["no event", "all at the end", "one, which ended the watching"],
)
def test_events_that_settle_no_shape_are_too_few(times, end):
    """Without an event before the end there is no shape, and the message says so."""
    with pytest.raises(TooFewLives, match="came before their unit's watching ended"):
        power_law(times, end)


def test_units_met_late_may_settle_no_shape():
    """Events that all crowd at late starts have no most likely shape above 0."""
    with pytest.raises(TooFewLives, match="no shape is most likely"):
        power_law([10.1, 10.2], [1000, 1000], unit_of_event=[0, 1], start=[10, 10])


def test_one_event_has_a_most_likely_shape_and_no_unbiased_one():
    """One event of one unit gives a shape and its wide interval, and nothing that needs two."""
    law = power_law([20], 100)
    assert law.shape == pytest.approx(1 / np.log(5))
    assert law.shape_low < 0.1 < 2 < law.shape_high
    assert (law.shape_unbiased, law.cramer_von_mises, law.is_plausible) == (None, None, None)


def test_an_event_at_0_is_refused():
    """The logarithm of 0 has no place in a power law."""
    with pytest.raises(BadLives, match="row 1: time_of_event: a power law has no event at 0"):
        power_law([5, 0], 10)


@pytest.mark.parametrize(
    ("times", "end"),
    [
        ([990, 992, 994, 996, 998], 1000),
        ([999.96], 1000),
        ([9910, 9930, 9950, 9970, 9990], 10000),
        ([0.00998], 0.01),
    ],
)
def test_events_close_to_the_end_have_a_law_without_a_scale(times, end):
    """Where no float holds the events by age 1, the scale is None and all else stands."""
    law = power_law(times, end)
    assert (law.scale, law.scale_unbiased) == (None, None)
    assert law.shape == pytest.approx(len(times) / np.log(end / np.array(times)).sum())
    assert law.intensity_at_end == pytest.approx(len(times) * law.shape / end)
    assert law.expected(end) == pytest.approx(len(times))
    assert law.expected(0.9 * end) == pytest.approx(len(times) * 0.9**law.shape)
    assert law.intensity(end) * law.mtbf_at_end == pytest.approx(1)
    assert law.expected(1e9 * end) == np.inf


def test_a_trend_of_events_close_to_the_end_is_getting_worse():
    """A crowd at the end is judged, and its law told, however steep."""
    found = trend([990, 992, 994, 996, 998], 1000)
    assert found.judgement == "getting worse"
    assert found.power_law is not None
    assert found.power_law.shape > 100


@given(
    st.lists(st.floats(0.01, 0.9999), min_size=2, max_size=8, unique=True),
    st.sampled_from([1e-3, 1.0, 1e5]),
)
def test_the_scale_is_the_mean_by_age_1(shares, end):
    """Where there is a scale, scale * age ** shape is the expected events at any age."""
    law = power_law([share * end for share in shares], end)
    if law.scale is not None and law.shape < 50:
        by_formula = law.scale * (end / 2) ** law.shape
        assert law.expected(end / 2) == pytest.approx(by_formula, rel=1e-9)
    assert law.expected(end) == pytest.approx(len(shares), rel=1e-9)
