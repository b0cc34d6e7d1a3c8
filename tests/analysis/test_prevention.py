"""Bikes with and without a treatment: risks, their difference, minutes, and what may be said."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.funnel_columns import one_stratum
from ledger.analysis.life_bounds import BadLives, TooFewLives
from ledger.analysis.life_curves import interval_curve, kaplan_meier
from ledger.analysis.log_rank import log_rank
from ledger.analysis.prevention import prevention
from ledger.analysis.prevention_bikes import Bikes
from ledger.analysis.prevention_minutes import resampled_medians
from ledger.analysis.prevention_risks import standardised, strata_weights

NEVER = float("inf")
LIVES = st.lists(st.tuples(st.integers(1, 12), st.booleans()), min_size=1, max_size=20)


def shop(count, seed, *, ratio=0.5, share=0.4, mean=900.0, strata=1, gap=(60, 200)):
    """Give bikes looked at every so many days, trouble found at the look after it came."""
    rng = np.random.default_rng(seed)
    arm = rng.random(count) < share
    stratum = rng.integers(0, strata, count)
    came = rng.exponential(mean, count) * np.where(arm, 1 / ratio, 1.0)
    every = rng.integers(*gap, count).astype(float)
    contact = rng.uniform(100, 900, count)
    look = np.ceil(came / every)
    is_found = look * every <= contact
    fine = np.where(is_found, look - 1, np.floor(contact / every)) * every
    found = np.where(is_found, look * every, NEVER)
    return {
        "is_treated": arm,
        "fine_until": fine,
        "found_at": found,
        "last_contact": contact,
        "stratum": stratum,
        "minutes": np.where(rng.random(count) < 0.6, rng.integers(5, 90, count), np.nan),
    }


def known(is_treated, found_at, last_contact):
    """Give bikes of which nothing is known between the landmark and the look that found it."""
    return {
        "is_treated": is_treated,
        "fine_until": [0.0] * len(is_treated),
        "found_at": found_at,
        "last_contact": last_contact,
    }


@given(LIVES, LIVES)
@settings(deadline=None, max_examples=40)
def test_the_curves_are_those_of_kaplan_and_meier(with_it, without):
    """Either arm's curve and band is the one kaplan_meier gives."""
    rows = [(True, *row) for row in with_it] + [(False, *row) for row in without]
    arm, time, is_found = zip(*rows, strict=True)
    found_at = [length if seen else None for length, seen in zip(time, is_found, strict=True)]
    found = prevention(**known(arm, found_at, time), horizon=6, resamples=20)
    for side, lives in ((found.treated, with_it), (found.untreated, without)):
        other = kaplan_meier(*zip(*lives, strict=True))
        for column in ("times", "survival", "lower", "upper", "at_risk"):
            assert getattr(side.curve, column) == pytest.approx(getattr(other, column), abs=1e-9)
        assert side.risk == pytest.approx(1 - other.at([6])[0], abs=1e-9)


def test_risk_between_looks_is_that_of_turnbull():
    """Few looks: by the horizon it is the share that interval_curve has lost."""
    bikes = shop(300, seed=1, gap=(30, 31))
    found = prevention(**bikes, horizon=360, resamples=20)
    for side, is_in in ((found.treated, True), (found.untreated, False)):
        here = bikes["is_treated"] == is_in
        curve = interval_curve(bikes["fine_until"][here], bikes["found_at"][here], resamples=20)
        assert side.risk_between_looks == pytest.approx(1 - curve.at([360])[0], abs=2e-3)


def test_risk_between_looks_is_the_true_risk():
    """Of 8,000 bikes looked at twice a year, trouble is found late but the risk comes out."""
    found = prevention(**shop(8000, seed=2, gap=(120, 240)), horizon=365, resamples=20)
    true = 1 - np.exp(-365 / 1800), 1 - np.exp(-365 / 900)
    looks = found.treated.risk_between_looks, found.untreated.risk_between_looks
    assert looks == pytest.approx(true, abs=0.02)
    assert found.treated.risk < true[0] - 0.03 and found.untreated.risk < true[1] - 0.03


def test_strata_are_held_alike():
    """The treated are mostly of the rough kind: side by side worse, alike in kind better.

    Rough: 30 of 60 treated, 12 of 20 not; gentle: 1 of 20 treated, 6 of 60 not. By hand: rough
    0.5 - 0.6, gentle 0.05 - 0.1, each half of all 160: -0.075.
    """
    groups = [(True, "rough", 60, 30), (False, "rough", 20, 12)]
    groups += [(True, "gentle", 20, 1), (False, "gentle", 60, 6)]
    arm, kind, found_at = [], [], []
    for is_in, name, count, troubled in groups:
        arm += [is_in] * count
        kind += [name] * count
        found_at += [100.0] * troubled + [None] * (count - troubled)
    found = prevention(**known(arm, found_at, [400.0] * 160), stratum=kind, horizon=365)
    assert found.difference.difference == pytest.approx(-0.075)
    assert found.treated.risk - found.untreated.risk == pytest.approx(31 / 80 - 18 / 80)
    assert found.difference.count_bikes == 160
    assert found.difference.low < -0.075 < found.difference.high
    assert found.log_rank.observed < found.log_rank.expected


def test_words_own_up_to_strata_that_turn_the_matter_round():
    """Treated bikes are nearly all rough ones: more trouble all together, less of a kind."""
    groups = [(True, "rough", 600, 240), (False, "rough", 100, 60)]
    groups += [(True, "gentle", 100, 2), (False, "gentle", 600, 48)]
    arm, kind, found_at = [], [], []
    for is_in, name, count, troubled in groups:
        arm += [is_in] * count
        kind += [name] * count
        found_at += [100.0] * troubled + [None] * (count - troubled)
    found = prevention(**known(arm, found_at, [400.0] * 1400), stratum=kind, horizon=365)
    assert found.verdict == "less often"
    assert (
        "242 of 700 against 108 of 700 (all together; of a kind it is the other way)" in found.words
    )


def test_strata_without_both_arms_are_left_out():
    """Bikes of a kind that nobody treated, or that nobody watched so long, compare nothing."""
    bikes = known([True, False, False, True, False], [None] * 5, [400, 400, 400, 90, 400])
    found = prevention(**bikes, stratum=["a", "a", "b", "c", "c"], horizon=365, resamples=20)
    assert found.difference.count_bikes == 2
    late = prevention(**bikes, stratum=["a", "a", "b", "c", "c"], horizon=500, resamples=20)
    assert late.difference is None


def test_the_log_rank_test_is_the_stratified_one():
    """Time to the look that found trouble, or to the last contact, within strata."""
    bikes = shop(400, seed=3, strata=4)
    found = prevention(**bikes, horizon=365, resamples=20)
    is_found = np.isfinite(bikes["found_at"])
    time = np.where(is_found, bikes["found_at"], bikes["last_contact"])
    test = log_rank(time, is_found, bikes["is_treated"], stratum=bikes["stratum"])
    assert found.log_rank == test


def test_a_clear_difference_is_worded_as_association():
    """Half the trouble on a thousand bikes: less often, and not that it was why."""
    found = prevention(**shop(1000, seed=4), horizon=365)
    assert found.verdict == "less often"
    assert found.words.startswith("bikes that had it showed trouble less often: ")
    assert found.words.endswith("this does not say it was why")
    assert found.difference.high < 0


def test_few_bikes_are_too_few_to_judge():
    """Words say how many bikes there are and how many it takes."""
    found = prevention(
        **known([True] * 3 + [False] * 3, [90, None, None] * 2, [400] * 6), horizon=365
    )
    assert found.verdict == "too few to judge"
    # 65.35 events, half of them a side, at one bike in three with trouble
    assert found.needed_a_side == 99
    assert found.words == "too few to judge: 3 bikes a side, about 99 a side are needed"


def test_enough_bikes_alike_show_no_clear_difference():
    """A thousand bikes whose treatment does nothing: about as often, not 'it does not help'."""
    found = prevention(**shop(1000, seed=5, ratio=1.0), horizon=365)
    assert found.verdict == "no clear difference"
    assert "about as often" in found.words


def test_no_trouble_at_all_says_so():
    """Nothing found on either side: no number needed can be told."""
    found = prevention(**known([True, False], [None, None], [400, 400]), horizon=365)
    assert found.verdict == "too few to judge" and found.needed_a_side is None
    assert found.words == "too few to judge: 1 bike a side, and no trouble seen yet"


def test_median_minutes_and_their_difference():
    """Ten, twenty and thirty minutes against forty; bikes without a next job do not count."""
    bikes = known([True] * 4 + [False] * 2, [None] * 6, [400] * 6)
    found = prevention(**bikes, minutes=[10, 20, 30, None, 40, 40], horizon=365)
    taken = found.minutes
    assert (taken.treated, taken.untreated, taken.difference) == (20, 40, -20)
    assert (taken.count_treated, taken.count_untreated) == (3, 2)
    assert -30 <= taken.low < -20 < taken.high <= -10


def test_no_next_job_has_no_median():
    """Without minutes on one side there is no difference."""
    bikes = known([True, False], [None, None], [400, 400])
    taken = prevention(**bikes, minutes=[None, 12], horizon=365).minutes
    assert taken.treated is None and taken.difference is None and taken.untreated == 12


def test_the_same_seed_gives_the_same_interval():
    """Runs agree, and the order of bikes does not matter."""
    bikes = shop(200, seed=6, strata=3)
    one = prevention(**bikes, horizon=365, seed=9)
    turned = {name: column[::-1] for name, column in bikes.items()}
    other = prevention(**turned, horizon=365, seed=9)
    assert one.difference.low == other.difference.low
    assert one.minutes == other.minutes


@pytest.mark.parametrize("troubled", [0, 30])
def test_an_arm_without_exception_is_not_taken_for_sure(troubled):
    """None of thirty treated bikes with trouble, or all of them, beside 40 of 80: a wide interval.

    Resampled as they are, the treated would add nothing to it: 40 of 80 alone give 0.11.
    """
    found_at = [90.0] * troubled + [None] * (30 - troubled) + [90.0] * 40 + [None] * 40
    arm = [True] * 30 + [False] * 80
    apart = prevention(**known(arm, found_at, [400.0] * 110), horizon=365, resamples=2000)
    alone = 1.96 * np.sqrt(0.25 / 80)
    reach = (apart.difference.high - apart.difference.low) / 2
    assert alone * 1.05 < reach < alone * 1.4


def test_medians_of_samples_lie_halfway_where_two_stand_in_the_middle():
    """Two jobs of 10 and 20 minutes: samples of two have medians of 10, 15 and 20."""
    drawn = resampled_medians(np.array([10.0, 20.0]), 400, np.random.default_rng(10))
    values, counts = np.unique(drawn, return_counts=True)
    assert values.tolist() == [10, 15, 20]
    assert counts / 400 == pytest.approx([0.25, 0.5, 0.25], abs=0.08)


def coverage(count, share, seed, count_shops, mean=900.0):
    """Give how often the 95 % interval holds the true difference of risks of being found."""
    horizon, rng, held = 365.0, np.random.default_rng(seed), []
    true = np.exp(-horizon / mean) - np.exp(-horizon / (2 * mean))
    for _ in range(count_shops):
        arm = rng.random(count) < share
        came = rng.exponential(mean, count) * np.where(arm, 2.0, 1.0)
        contact = rng.uniform(200, 900, count)
        is_found = came <= contact
        never = np.where(is_found, came, NEVER)
        time = np.where(is_found, came, contact)
        bikes = Bikes(arm, one_stratum(count), np.zeros(count), never, time)
        weight = strata_weights(bikes, horizon)
        if weight.any():
            seed = int(rng.integers(1e9))
            _, low, high = standardised(
                bikes, weight, horizon, level=0.95, resamples=200, seed=seed
            )
            held.append(low <= true <= high)
    return np.mean(held)


def test_the_interval_holds_the_true_difference():
    """Two hundred bikes: 95 % intervals hold it in 92 to 98 of 100 shops."""
    assert 0.92 <= coverage(200, 0.4, seed=31, count_shops=600) <= 0.98


def test_the_interval_holds_it_where_trouble_is_rare():
    """Forty bikes, one in four treated, trouble in a tenth: at least 93 of 100 all the same."""
    assert coverage(40, 0.25, seed=32, count_shops=600, mean=3600.0) >= 0.93


def test_bad_rows_are_named():
    """Errors name the row, the field and what would be right."""
    right = shop(4, seed=7)
    right["is_treated"] = [True, True, False, False]

    def changed(**columns):
        return prevention(**(right | columns), horizon=365, resamples=20)

    with pytest.raises(BadLives, match="row 2: found_at: it is not after the landmark"):
        changed(found_at=[None, None, 0, None])
    with pytest.raises(BadLives, match="row 1: last_contact: it is before trouble was found"):
        changed(fine_until=[0] * 4, found_at=[None, 95, None, None], last_contact=[90] * 4)
    with pytest.raises(BadLives, match="row 0: fine_until: it is after trouble was found"):
        changed(fine_until=[50, 0, 0, 0], found_at=[40, None, None, None])
    with pytest.raises(BadLives, match="horizon"):
        prevention(**right, horizon=0)
    with pytest.raises(BadLives, match="minutes: it has 1 rows"):
        changed(minutes=[3])
    with pytest.raises(TooFewLives, match="no bike had it"):
        changed(is_treated=[False] * 4)
