"""How far parts go on average, and servicing against replacing."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from lifelines import KaplanMeierFitter
from lifelines.utils import restricted_mean_survival_time

from ledger.analysis.life_bounds import BadLives, TooFewLives
from ledger.analysis.life_curves import kaplan_meier
from ledger.analysis.replace_or_service import replace_or_service, restricted_mean, told_km

# acute myelogenous leukaemia, weeks: Miller, Survival Analysis (1981), p. 49 (from memory)
MAINTAINED = ([9, 13, 13, 18, 23, 28, 31, 34, 45, 48, 161], [1, 1, 0, 1, 1, 0, 1, 1, 0, 1, 0])
NOT_MAINTAINED = ([5, 5, 8, 8, 12, 16, 23, 27, 30, 33, 43, 45], [1] * 5 + [0] + [1] * 6)


@pytest.mark.parametrize(
    ("lives", "mean", "error"), [(MAINTAINED, 52.6, 19.83), (NOT_MAINTAINED, 22.7, 4.18)]
)
def test_a_published_restricted_mean(lives, mean, error):
    """R's survfit prints the mean and its standard error of the textbook's two groups."""
    # print(survfit(Surv(time, status) ~ x, aml), print.rmean=TRUE), limit 161 (from memory)
    found = restricted_mean(*lives)
    assert found.km == pytest.approx(mean, abs=0.06)
    assert found.log_error * found.km == pytest.approx(error, abs=0.006)


lives = st.lists(st.tuples(st.integers(1, 50), st.booleans()), min_size=1, max_size=30)


def test_a_restricted_mean_is_that_of_lifelines():
    """Two hundred parts, some cut short: the same area to a horizon."""
    rng = np.random.default_rng(5)
    life, seen = 3000 * rng.weibull(1.5, 200), rng.uniform(1000, 9000, 200)
    km, ended = np.minimum(life, seen), life <= seen
    fitter = KaplanMeierFitter().fit(km, ended)
    for horizon in (500.0, 2500.0, 4000.0):
        want = restricted_mean_survival_time(fitter, t=horizon)
        assert restricted_mean(km, ended, horizon_km=horizon).km == pytest.approx(want)


@given(lives, st.integers(1, 60))
@settings(max_examples=40, deadline=None)
def test_a_restricted_mean_is_the_area_under_the_curve(rows, horizon):
    """Step by step under Kaplan and Meier's curve, to the horizon or the farthest seen."""
    km, ended = zip(*rows, strict=True)
    found = restricted_mean(km, ended, horizon_km=horizon)
    end = min(horizon, max(km))
    curve = kaplan_meier(km, ended)
    steps = np.arange(0, end)  # the curve falls at whole km alone
    assert found.km == pytest.approx(float(curve.at(steps.tolist()).sum()))
    assert found.horizon_km == end
    assert found.low <= found.km <= found.high <= end + 1e-9


def test_lives_all_seen_to_their_end_have_their_plain_mean():
    """Nothing cut short: the average, and its usual standard error."""
    km = [800.0, 1200.0, 3000.0, 2000.0, 500.0, 2500.0]
    found = restricted_mean(km, [True] * 6)
    assert found.km == pytest.approx(np.mean(km))
    assert found.log_error * found.km == pytest.approx(np.std(km) / np.sqrt(6))
    # the last of them went just to the horizon
    assert found.share_beyond == pytest.approx(1 / 6)


def test_intervals_hold_the_true_mean_as_often_as_they_say():
    """600 shops of 60 parts, a third cut short: the 80 % interval holds in 75 to 85 %."""
    rng, held = np.random.default_rng(2), []
    for _ in range(600):
        life = 3000 * rng.weibull(1.5, 60)
        seen = rng.uniform(1000, 9000, 60)
        found = restricted_mean(np.minimum(life, seen), life <= seen, horizon_km=4000)
        held.append(found.low <= TRUE_MEAN <= found.high)
    assert 0.75 <= np.mean(held) <= 0.85


# the area under exp(-(x / 3000) ** 1.5) from 0 to 4,000
TRUE_MEAN = float(np.trapezoid(np.exp(-((np.linspace(0, 4000, 400_001) / 3000) ** 1.5)), dx=0.01))


def test_a_part_that_costs_twice_and_goes_three_times_as_far_is_cheaper():
    """Cost over km, with intervals turned about: far means cheap."""
    found = replace_or_service(
        service_cost_minor=2000,
        service=told_km(1000, 900, 1100),
        replace_cost_minor=4000,
        new=told_km(3000, 2700, 3300),
    )
    assert (found.service.minor_per_km, found.replace.minor_per_km) == (2, pytest.approx(4 / 3))
    assert found.service.low == pytest.approx(2000 / 1100)
    assert found.service.high == pytest.approx(2000 / 900)
    assert found.verdict == "replace"
    assert found.chance_service_cheaper < 0.01


def test_what_cannot_be_told_apart_is_not_called():
    """The same cost a km, unsure both: half and half, no clear difference."""
    found = replace_or_service(
        service_cost_minor=1000,
        service=told_km(1000, 800, 1250),
        replace_cost_minor=3000,
        new=told_km(3000, 2400, 3750),
    )
    assert found.chance_service_cheaper == pytest.approx(0.5, abs=0.03)
    assert found.verdict == "no clear difference"


def test_few_ends_seen_are_too_few_to_judge():
    """Seven serviced parts whose trouble came back: both figures, and no verdict."""
    service = restricted_mean([500] * 7 + [2000] * 30, [1] * 7 + [0] * 30)
    found = replace_or_service(
        service_cost_minor=1,
        service=service,
        replace_cost_minor=100_000,
        new=told_km(3000, 2900, 3100),
    )
    assert found.verdict == "too few to judge"
    assert found.service.minor_per_km < found.replace.minor_per_km


def test_both_assumptions_are_said():
    """How far each goes, from how many, and to which horizon."""
    found = replace_or_service(
        service_cost_minor=2000,
        service=restricted_mean([500] * 10 + [2000] * 30, [1] * 10 + [0] * 30, horizon_km=1500),
        replace_cost_minor=4000,
        new=told_km(3000, 2700, 3300),
    )
    assert found.assumptions[0] == (
        "A serviced part goes 1250 km on average, counted to 1500 km at most "
        "(10 of 40 ended before; 75 % get there)."
    )
    assert found.assumptions[1] == "A new part goes 3000 km, as told."
    assert found.verdict == "replace"


def test_km_are_written_as_whoever_asks_writes_them():
    """A shop's figures are grouped as its people write them."""
    found = replace_or_service(
        service_cost_minor=2000,
        service=restricted_mean([500] * 10 + [2000] * 30, [1] * 10 + [0] * 30, horizon_km=1500),
        replace_cost_minor=4000,
        new=told_km(3000, 2700, 3300),
        written=lambda km: f"{km:,.0f} kilometres",
    )
    assert found.assumptions[:2] == (
        "A serviced part goes 1,250 kilometres on average, counted to 1,500 kilometres at most "
        "(10 of 40 ended before; 75 % get there).",
        "A new part goes 3,000 kilometres, as told.",
    )


def test_servicing_for_nothing_is_always_cheaper():
    """Goodwill costs 0 a km."""
    found = replace_or_service(
        service_cost_minor=0,
        service=told_km(100, 50, 200),
        replace_cost_minor=500,
        new=told_km(3000, 2700, 3300),
    )
    assert (found.service.minor_per_km, found.chance_service_cheaper) == (0, 1)
    assert found.verdict == "service"


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: restricted_mean([], []), "there are none"),
        (lambda: restricted_mean([0], [1]), "km"),
        (lambda: restricted_mean([5], [1], horizon_km=0), "horizon_km"),
        (lambda: told_km(100, 120, 150), "does not lie between"),
        (lambda: _both(-1, 5), "service_cost_minor"),
        (lambda: _both(0, 0), "both cost 0"),
    ],
)
def test_what_is_no_life_or_cost_is_refused(call, message):
    """No lives, lives of 0 km, figures out of order and costs below 0 are named."""
    with pytest.raises((BadLives, TooFewLives), match=message):
        call()


def _both(service, replace):
    km = told_km(100, 90, 110)
    return replace_or_service(
        service_cost_minor=service, service=km, replace_cost_minor=replace, new=km
    )
