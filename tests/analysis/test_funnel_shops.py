"""What the funnel marks in simulated shops: nobody where nobody differs, and who does."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import binom, hypergeom

from ledger.analysis.funnel import funnel_of_times, power_of_funnel
from ledger.analysis.funnel_chances import Cells, chances_of
from ledger.analysis.funnel_marks import attained_by_each, limits, tails_of, thresholds
from tests.long import times

RATE = 0.08
WINDOW = 90.0
SHOPS = times(800, usual=200)


def limits_at(sizes, total, held):
    """Give each unit's limits where so many of all repairs came back."""
    cells = Cells(np.array([sum(sizes)]), np.array([total]), np.array([sizes]))
    tails = [tails_of(each) for each in chances_of(cells)]
    most = thresholds(attained_by_each(tails, held), 0.05)
    return [limits(*each) for each in zip(tails, most, strict=True)]


def chance_marked(sizes, held="shop"):
    """Give how likely a mechanic is marked where all have one rate: summed over all counts."""
    of_all, total = 0.0, sum(sizes)
    for events in range(int(binom.ppf(1e-6, total, RATE)), int(binom.isf(1e-6, total, RATE)) + 1):
        marked = [
            hypergeom.cdf(low - 1, total, events, size) + hypergeom.sf(high, total, events, size)
            for size, (low, high) in zip(sizes, limits_at(sizes, events, held), strict=True)
        ]
        of_all += binom.pmf(events, total, RATE) * np.mean(marked)
    return of_all


def chance_seen(sizes, held="shop", ratio=2.0):
    """Give how likely the first is marked at `ratio` times the rate of the others, exactly."""
    own, rest = binom(sizes[0], ratio * RATE), binom(sum(sizes[1:]), RATE)
    low, high = int(own.ppf(1e-6)), int(own.isf(1e-6))
    counts = np.arange(low, high + 1)
    seen = 0.0
    for events in range(low + int(rest.ppf(1e-6)), high + int(rest.isf(1e-6)) + 1):
        least, most = limits_at(sizes, events, held)[0]
        beyond = counts[counts > most] if ratio > 1 else counts[counts < least]
        seen += float(own.pmf(beyond) @ rest.pmf(events - beyond))
    return seen


def repairs(rng, sizes, *, ratio=1.0, immature=0.0):
    """Give (mechanic, days followed, came back) of a shop; come-backs spread over the window."""
    unit = np.repeat(np.arange(len(sizes)), sizes)
    count = len(unit)
    is_coming = rng.random(count) < RATE * np.where(unit == 0, ratio, 1.0)
    day = np.ceil(rng.random(count) * WINDOW)
    is_short = rng.random(count) < immature
    followed = np.where(is_short, np.ceil(rng.random(count) * WINDOW), WINDOW)
    came_back = is_coming & (day <= followed)
    return unit, np.where(came_back, day, followed), came_back


def mixed_shop(rng, count_units, *, loyal, spread, jobs_a_bike, each=300):
    """Give a shop whose mechanics get different tiers, faults and bikes, and do equally well.

    Come-backs differ by fault and tier, and by bike (gamma, sd `spread`); a bike goes to its own
    mechanic but for a share 1 - `loyal` of its jobs. Columns as funnel_of_times takes them.
    """
    count, count_bikes = count_units * each, int(count_units * each / jobs_a_bike)
    bike = rng.integers(0, count_bikes, count)
    home = rng.integers(0, count_units, count_bikes)
    own = rng.random(count) < loyal
    unit = np.where(own, home[bike], rng.integers(0, count_units, count))
    fault = _drawn(rng, rng.dirichlet(np.full(6, 3.0), count_units)[unit])
    tier = _drawn(rng, rng.dirichlet(np.full(3, 3.0), count_units)[unit])
    base = RATE * np.array([0.2, 0.5, 0.8, 1.0, 1.5, 2.0])[fault] * np.array([0.8, 1, 1.2])[tier]
    frailty = rng.gamma(1 / spread**2, spread**2, count_bikes)[bike] if spread else 1.0
    is_coming = rng.random(count) < np.minimum(base * frailty, 0.95)
    day = np.ceil(rng.random(count) * WINDOW)
    return {
        "unit": unit,
        "time": np.where(is_coming, day, WINDOW),
        "is_event": is_coming,
        "stratum": tier * 6 + fault,
        "cluster": bike,
    }


def _drawn(rng, chances):
    above = rng.random(len(chances))[:, None] > np.cumsum(chances, axis=1)
    return np.minimum(above.sum(axis=1), chances.shape[1] - 1)


@pytest.mark.parametrize("count_units", [2, 3, 5])
def test_at_most_one_in_twenty_mechanics_is_marked_where_nobody_differs(count_units):
    """Exactly: 300 repairs each, no difference; held for each on his own, or for the shop."""
    sizes = [300] * count_units
    assert 0.01 < chance_marked(sizes, "unit") <= 0.05
    shop = chance_marked(sizes)
    assert count_units * shop <= 0.05 or count_units == 2
    assert 0.005 < shop <= 0.05


@pytest.mark.parametrize(("count_units", "power"), [(2, 0.834), (3, 0.862), (5, 0.901)])
def test_a_mechanic_at_twice_the_rate_is_seen_in_four_shops_of_five(count_units, power):
    """Exactly: twice 8 % over 300 repairs each; and power_of_funnel says as much."""
    sizes = [300] * count_units
    seen = chance_seen(sizes)
    assert seen >= 0.8
    assert seen == pytest.approx(power, abs=0.005)
    assert power_of_funnel(300, RATE, others=sizes[1:]) == pytest.approx(seen, abs=0.01)


@pytest.mark.parametrize("sizes", [[60, 200, 200], [300, 100], [300, 150, 150], [40, 30]])
def test_the_power_told_is_the_power_there_is(sizes):
    """Whatever the sizes, and either way of holding the level."""
    for held in ("shop", "unit"):
        told = power_of_funnel(sizes[0], RATE, others=sizes[1:], held=held)
        assert told == pytest.approx(chance_seen(sizes, held), abs=0.015)


def test_power_grows_with_repairs_and_with_the_difference():
    """More repairs of one's own, or of others, or a greater ratio: more is seen."""
    sizes = [power_of_funnel(size, RATE, others=[300]) for size in (50, 100, 200, 400)]
    others = [power_of_funnel(300, RATE, others=[size]) for size in (50, 100, 200, 400)]
    ratios = [power_of_funnel(300, RATE, ratio, others=[300]) for ratio in (1.3, 1.6, 2, 3)]
    for grows in (sizes, others, ratios):
        assert (np.diff(grows) > 0).all()
    assert power_of_funnel(300, RATE, others=[300], inflation=2.0) < 0.6
    assert power_of_funnel(5000, RATE, others=[5000]) == 1.0
    assert power_of_funnel(300, RATE, others=[]) == 0.0


def test_half_the_rate_is_seen_less_readily_than_twice():
    """A ratio below 1 is about the lower limit: 600 repairs at 4 % beside 1,200 at 8 %."""
    told = power_of_funnel(600, RATE, 0.5, others=[600] * 2)
    assert told == pytest.approx(chance_seen([600] * 3, ratio=0.5), abs=0.015)
    assert told < power_of_funnel(600, RATE, 2.0, others=[600] * 2)


def shares(shops):
    """Give the share of mechanics marked, and of shops with anyone marked."""
    marked = [[row.is_marked for row in found.rows] for found in shops]
    return np.mean([np.mean(each) for each in marked]), np.mean([any(each) for each in marked])


def slack(count_shops):
    """Give two standard errors of a share of 0.05 over so many shops."""
    return 2 * np.sqrt(0.05 * 0.95 / count_shops)


def test_repairs_followed_for_unequal_times_mark_nobody_either():
    """Of 100 shops of two to five, a fifth of repairs immature, at most 5 % of mechanics."""
    rng = np.random.default_rng(42)
    shops = [
        funnel_of_times(*repairs(rng, [300] * (2 + turn % 4), immature=0.2)) for turn in range(100)
    ]
    mechanics, any_of_shop = shares(shops)
    assert mechanics <= 0.05
    assert any_of_shop <= 0.05 + slack(100)


def test_followed_for_unequal_times_twice_the_rate_is_seen():
    """Of 160 shops of two to five, the one at twice 8 % is marked in at least four of five."""
    rng = np.random.default_rng(43)
    seen = [
        funnel_of_times(*repairs(rng, [300] * (2 + turn % 4), ratio=2.0)).rows[0].mark
        for turn in range(80)
    ]
    assert np.mean([mark == "more than chance" for mark in seen]) >= 0.8


def test_bikes_that_come_to_one_mechanic_widen_the_limits():
    """Ten jobs a bike, all with one mechanic, bikes very unlike: held apart by bike, not marked.

    Without the bikes somebody is marked in more than a fifth of the shops.
    """
    rng = np.random.default_rng(44)
    wide, narrow = [], []
    for _ in range(50):
        shop = mixed_shop(rng, 4, loyal=1.0, spread=1.5, jobs_a_bike=10)
        wide.append(funnel_of_times(**shop))
        narrow.append(funnel_of_times(**(shop | {"cluster": None})))
    assert shares(narrow)[1] > 0.2
    assert shares(wide)[0] <= 0.05 and shares(wide)[1] <= 0.05 + slack(50)
    assert np.mean([found.inflation for found in wide]) > 1.5


def test_jobs_of_other_mechanics_do_not_widen_the_limits():
    """Bikes alike, or shared out by chance: the inflation stays close to none."""
    rng = np.random.default_rng(45)
    found = [
        funnel_of_times(**mixed_shop(rng, 4, loyal=0.0, spread=0.8, jobs_a_bike=3)).inflation
        for _ in range(20)
    ]
    assert min(found) == 1.0 and np.mean(found) < 1.05


@pytest.mark.slow
@pytest.mark.parametrize("count_units", [2, 5])
def test_size_and_power_over_many_shops(count_units):
    """SHOPS without a difference and as many with one, each mechanic with 300 repairs."""
    rng = np.random.default_rng(46 + count_units)
    sizes = [300] * count_units
    mechanics, any_of_shop = shares([funnel_of_times(*repairs(rng, sizes)) for _ in range(SHOPS)])
    assert mechanics <= 0.05
    assert any_of_shop <= 0.05 + slack(SHOPS)
    seen = [funnel_of_times(*repairs(rng, sizes, ratio=2.0)).rows[0].mark for _ in range(SHOPS)]
    assert np.mean([mark == "more than chance" for mark in seen]) >= 0.8


@pytest.mark.slow
@pytest.mark.parametrize(
    ("count_units", "loyal", "spread", "jobs_a_bike"),
    [(2, 1.0, 1.5, 10), (4, 0.8, 0.8, 3)],
)
def test_size_where_bikes_and_the_mix_of_work_differ(count_units, loyal, spread, jobs_a_bike):
    """SHOPS of mixed work and unlike bikes, held apart by tier, fault and bike."""
    rng = np.random.default_rng(47)
    options = {"loyal": loyal, "spread": spread, "jobs_a_bike": jobs_a_bike}
    shops = [funnel_of_times(**mixed_shop(rng, count_units, **options)) for _ in range(SHOPS)]
    assert shares(shops)[0] <= 0.05 + slack(SHOPS)


def test_sizes_of_others_may_be_an_array():
    """A numpy column of sizes has the power of the same list, and an empty one has none."""
    told = power_of_funnel(300, RATE, others=[300, 300])
    assert power_of_funnel(300, RATE, others=np.array([300, 300])) == told
    assert power_of_funnel(300, RATE, others=np.array([], dtype=int)) == 0.0
