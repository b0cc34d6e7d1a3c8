"""The ratio of two hazards and its interval, against another package, by hand and by simulation."""

import numpy as np
import pandas as pd
import pytest
from lifelines import CoxPHFitter
from scipy.stats import chi2

from ledger.analysis.hazard_ratio import hazard_ratio
from ledger.analysis.life_bounds import BadLives, TooFewLives
from ledger.analysis.log_rank import log_rank


def lives(seed, count=400, ratio=0.5, strata=3):
    """Give times, events, arms and strata of two arms, hazards differing by stratum."""
    rng = np.random.default_rng(seed)
    arm, stratum = rng.random(count) < 0.3, rng.integers(0, strata, count)
    hazard = (1 + stratum) / 900 * np.where(arm, ratio, 1.0)
    time, end = rng.exponential(1 / hazard), rng.uniform(100, 700, count)
    return np.minimum(time, end), time <= end, arm, stratum


@pytest.mark.parametrize("seed", range(5))
def test_it_is_what_a_stratified_fit_of_another_package_gives(seed):
    """lifelines' Cox fit within strata: the same ratio, and nearly the ends of its normal law."""
    time, is_event, arm, stratum = lives(seed)
    found = hazard_ratio(time, is_event, arm, stratum=stratum)
    rows = pd.DataFrame({"t": time, "e": is_event, "arm": arm.astype(float), "s": stratum})
    exact = {"precision": 1e-13, "r_precision": 1e-15}
    fit = CoxPHFitter().fit(rows, "t", "e", strata=["s"], fit_options=exact)
    assert np.log(found.value) == pytest.approx(fit.params_["arm"], abs=1e-6)
    assert found.low < found.value < found.high
    assert np.log([found.low, found.high]) == pytest.approx(
        fit.confidence_intervals_.loc["arm"].to_numpy(), abs=0.05
    )


def partial(time, is_event, arm, log_ratio):
    """Give the logarithm of Cox's likelihood, one event after the other (no two at one time)."""
    weight = np.exp(log_ratio * arm)
    return sum(
        log_ratio * arm[each] - np.log(weight[time >= time[each]].sum())
        for each in np.flatnonzero(is_event)
    )


def test_its_ends_are_where_the_likelihood_has_fallen_by_half_of_chi_squared():
    """Written out event by event, the likelihood at both ends is that far below its greatest."""
    time, is_event, arm, _ = lives(9, count=60, strata=1)
    found = hazard_ratio(time, is_event, arm, level=0.9)
    top, low, high = (
        partial(time, is_event, arm, np.log(each)) for each in (found.value, found.low, found.high)
    )
    assert top - low == pytest.approx(chi2.ppf(0.9, 1) / 2)
    assert top - high == pytest.approx(chi2.ppf(0.9, 1) / 2)


def test_an_arm_without_events_has_an_upper_end_alone():
    """Events in the other arm only, at 3 and 4 of 2 + 2 at risk: 0, up to where chance ends.

    The likelihood is (2 / (2 + 2 r)) (1 / (1 + 2 r)) by hand; greatest, 1, at no hazard at all.
    """
    found = hazard_ratio([3, 4, 9, 9], [1, 1, 0, 0], [0, 0, 1, 1])
    assert (found.value, found.low) == (0, 0)
    fallen = -np.log(2 / (2 + 2 * found.high)) - np.log(1 / (1 + 2 * found.high))
    assert fallen == pytest.approx(chi2.ppf(0.95, 1) / 2)
    mirrored = hazard_ratio([3, 4, 9, 9], [1, 1, 0, 0], [1, 1, 0, 0])
    assert (mirrored.value, mirrored.high) == (np.inf, np.inf)
    assert mirrored.low == pytest.approx(1 / found.high)


def test_ninety_five_intervals_of_a_hundred_hold_the_true_ratio():
    """Of 400 simulated pairs of arms whose hazards are as 1 to 2, 92 to 98 % hold a half."""
    held = []
    for seed in range(400):
        time, is_event, arm, stratum = lives(1000 + seed, count=150)
        found = hazard_ratio(time, is_event, arm, stratum=stratum)
        held.append(found.low <= 0.5 <= found.high)
    assert 0.92 < np.mean(held) < 0.98


def test_it_leaves_out_1_where_the_log_rank_test_is_clear():
    """Both look at the same likelihood: far from chance, the interval is on one side of 1."""
    time, is_event, arm, stratum = lives(3, count=2000)
    assert log_rank(time, is_event, arm, stratum=stratum).p < 0.001
    assert hazard_ratio(time, is_event, arm, stratum=stratum).high < 1


def test_what_is_never_at_risk_together_tells_nothing():
    """Each stratum has one arm: no ratio. No rows, or no level, are refused."""
    assert hazard_ratio([1, 2], [1, 1], [0, 1], stratum=["a", "b"]) is None
    with pytest.raises(TooFewLives):
        hazard_ratio([], [], [])
    with pytest.raises(BadLives, match="level"):
        hazard_ratio([1, 2], [1, 1], [0, 1], level=1.0)
