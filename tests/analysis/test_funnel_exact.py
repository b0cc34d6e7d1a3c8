"""The funnel's chances, tails and limits: against other exact computations, and by hand."""

from __future__ import annotations

import itertools
from math import comb

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import fisher_exact, hypergeom, poisson_binom

from ledger.analysis.funnel import funnel, funnel_of_times
from ledger.analysis.funnel_chances import Cells, chances_of
from ledger.analysis.life_bounds import BadLives, TooFewLives

SHOPS = st.lists(st.tuples(st.integers(0, 9), st.integers(0, 6)), min_size=2, max_size=5)


def cells_of(at_risk, events, of_unit):
    return Cells(np.array(at_risk), np.array(events), np.array(of_unit))


def summed(cells, unit):
    """Add the cells' hypergeometric counts up one by one."""
    chance = np.ones(1)
    for total, events, own in zip(cells.at_risk, cells.events, cells.of_unit[:, unit], strict=True):
        each = hypergeom.pmf(np.arange(events + 1), total, events, own)
        chance = np.convolve(chance, each)
    return chance


def padded(found, length):
    chance = np.zeros(length)
    chance[found.first : found.first + len(found.chance)] = found.chance
    return chance


@given(st.data())
@settings(deadline=None, max_examples=60)
def test_sums_over_strata_are_those_of_adding_up_one_by_one(data):
    """However strata are made up, each count's chance is that of the plain convolution."""
    of_unit = data.draw(
        st.lists(st.lists(st.integers(0, 30), min_size=2, max_size=2), min_size=1, max_size=8)
    )
    at_risk = [sum(row) + data.draw(st.integers(0, 5)) for row in of_unit]
    at_risk = [max(total, 1) for total in at_risk]
    events = [data.draw(st.integers(0, total)) for total in at_risk]
    cells = cells_of(at_risk, events, of_unit)
    for unit, found in enumerate(chances_of(cells)):
        plain = summed(cells, unit)
        assert padded(found, len(plain)) == pytest.approx(plain, abs=1e-12)


def test_one_event_a_cell_is_a_poisson_binomial_count():
    """Events that come one at a time fall by the Poisson-binomial law of scipy."""
    rng = np.random.default_rng(3)
    own, other = rng.integers(1, 60, 400), rng.integers(1, 90, 400)
    cells = cells_of(own + other, np.ones(400, int), np.stack([own, other], axis=1))
    found = chances_of(cells)[0]
    count = found.first + np.arange(len(found.chance))
    law = poisson_binom(own / (own + other))
    assert found.chance == pytest.approx(law.pmf(count), abs=1e-12)
    assert law.cdf(found.first - 1) + law.sf(count[-1]) < 1e-12


def test_a_widened_count_has_the_variance_asked_for():
    """Mean as before, variance twice as large, nothing below no events."""
    cells = cells_of([600], [72], [[300, 300]])
    found = chances_of(cells, 2.0)[0]
    count = found.first + np.arange(len(found.chance))
    mean = found.chance @ count
    assert mean == pytest.approx(36)
    assert found.chance @ (count - mean) ** 2 == pytest.approx(2 * cells.variance[0], rel=1e-6)
    assert found.first >= 0


@given(st.integers(1, 40), st.integers(1, 40), st.data())
@settings(deadline=None, max_examples=60)
def test_two_units_are_judged_as_by_the_blaker_test(first, second, data):
    """With two units p is the chance of a smaller tail no larger than the one seen."""
    one = data.draw(st.integers(0, first))
    other = data.draw(st.integers(0, second))
    total, events = first + second, one + other
    law = hypergeom(total, events, first)
    counts = np.arange(max(0, events - second), min(events, first) + 1)
    nearer = np.minimum(law.cdf(counts), law.sf(counts - 1))
    seen = nearer[counts == one][0]
    p = law.pmf(counts[nearer <= seen * (1 + 1e-9)]).sum()
    rows = funnel([one, other], [first, second]).rows
    assert [row.p for row in rows] == pytest.approx([min(p, 1)] * 2, rel=1e-8)
    assert rows[0].p_shop == pytest.approx(rows[0].p, rel=1e-9)


def test_alike_sizes_give_the_p_value_of_fisher():
    """Where the law is symmetric, Blaker's and Fisher's exact tests are one: 24 and 48 of 300."""
    other = fisher_exact([[24, 276], [48, 252]])
    rows = funnel([24, 48], [300, 300]).rows
    assert rows[0].p == pytest.approx(other.pvalue, rel=1e-9)
    assert [row.mark for row in rows] == ["fewer than chance", "more than chance"]


def test_lady_tasting_tea_by_hand():
    """Eight cups, four of each, all told right: 1 in 70 either way (Fisher 1935, from memory)."""
    rows = funnel([4, 0], [4, 4]).rows
    assert rows[0].p == pytest.approx(2 / 70)
    assert rows[0].is_marked


def test_rabbits_in_five_strata_give_the_exact_mantel_haenszel_p_value():
    """Penicillin at once or late, by dose: S = 16, exact p 0.03994.

    The printed result of mantelhaen.test(Rabbits, exact = TRUE) in the manual of R, whose data
    are Mantel's, J. Am. Stat. Assoc. 58 (1963); both from memory.
    """
    cured = [0, 0, 3, 0, 6, 2, 5, 6, 2, 5]
    size = [6, 5, 6, 6, 6, 6, 6, 6, 2, 5]
    dose = np.repeat(["1/8", "1/4", "1/2", "1", "4"], 2)
    late, at_once = funnel(cured, size, unit=["none", "late"] * 5, stratum=dose).rows
    assert (at_once.unit, at_once.count) == ("none", 16)
    assert at_once.p == pytest.approx(0.03994, abs=5e-6)
    assert late.p == pytest.approx(at_once.p)


def test_nobody_in_the_shop_is_marked_but_by_the_chance_told():
    """Over all ways ten events can fall on three units, any is marked in at most 5 of 100."""
    sizes = [12, 20, 8]
    total, marked = 0, 0
    for split in itertools.product(range(11), repeat=2):
        counts = [*split, 10 - sum(split)]
        if min(counts) < 0 or any(c > n for c, n in zip(counts, sizes, strict=True)):
            continue
        ways = np.prod([comb(n, c) for c, n in zip(counts, sizes, strict=True)])
        total += ways
        marked += ways * any(row.is_marked for row in funnel(counts, sizes).rows)
    assert total == comb(40, 10)
    assert 0.005 < marked / total <= 0.05


@given(SHOPS, st.sampled_from(["shop", "unit"]), st.sampled_from([0.8, 0.95]))
@settings(deadline=None, max_examples=60)
def test_what_is_marked_is_what_has_a_small_p_value(rows, held, level):
    """A count is outside its limits just where the p-value of the rule is 1 - level or less."""
    sizes = [max(size, count) + 1 for size, count in rows]
    found = funnel([count for _, count in rows], sizes, held=held, level=level)
    for row in found.rows:
        p = row.p_shop if held == "shop" else row.p
        assert row.is_marked == (p <= 1 - level)
        assert row.p <= row.p_shop * (1 + 1e-9)


def test_strata_take_the_mix_of_work_out():
    """A mechanic with all the hard jobs has a high rate and no mark."""
    found = funnel(
        [2, 40, 8, 10],
        [40, 200, 160, 50],
        unit=["ada", "ada", "ben", "ben"],
        stratum=["easy", "hard", "easy", "hard"],
    )
    ada, ben = found.rows
    assert ada.rate == pytest.approx(42 / 240)
    assert ada.expected == pytest.approx(10 * 40 / 200 + 50 * 200 / 250)
    assert ada.rate > 1.5 * ben.rate
    assert not ada.is_marked and not ben.is_marked
    assert ada.adjusted_rate == pytest.approx(60 / 450)


def test_repairs_all_followed_alike_are_plain_counts():
    """Where every event is seen at one time, the funnel of times is that of counts."""
    counts, sizes = [9, 2, 5], [60, 50, 55]
    unit = np.repeat(["a", "b", "c"], sizes)
    is_event = np.concatenate([np.arange(n) < c for n, c in zip(sizes, counts, strict=True)])
    by_time = funnel_of_times(unit, np.full(165, 90.0), is_event)
    assert by_time.rows == funnel(counts, sizes, unit=["a", "b", "c"]).rows


def test_expected_events_are_shares_of_those_still_followed():
    """Four repairs, events at 10 (of four, two are a's) and 20 (of two, one is a's)."""
    found = funnel_of_times(["a", "b", "a", "b"], [10, 15, 20, 30], [1, 0, 1, 0])
    assert [row.expected for row in found.rows] == pytest.approx([0.5 + 0.5, 0.5 + 0.5])
    assert [row.count for row in found.rows] == [2, 0]
    assert found.rows[0].p == pytest.approx(2 * 0.25)


def test_immature_repairs_are_not_held_for_good():
    """A mechanic whose repairs were just done is not marked for having no come-backs yet."""
    old = {"time": [90.0] * 400, "unit": ["old"] * 400, "came": [True] * 60 + [False] * 340}
    new = {"time": [1.0] * 400, "unit": ["new"] * 400, "came": [False] * 400}
    unit, time, came = (old[name] + new[name] for name in ("unit", "time", "came"))
    assert not any(row.is_marked for row in funnel_of_times(unit, time, came).rows)
    assert all(row.is_marked for row in funnel([60, 0], [400, 400]).rows)


def test_nothing_to_hold_a_single_unit_against():
    """One mechanic alone has no limits, and it says so."""
    row = funnel([5], [60]).rows[0]
    assert not row.is_marked and row.p == 1 and row.power == 0
    assert "nothing to hold that against" in row.words


def test_too_few_repairs_say_what_they_would_show():
    """Words carry the power: how often a doubled rate would be seen."""
    row = funnel([5, 15, 16], [60, 200, 200]).rows[0]
    assert 0.25 < row.power < 0.35
    assert row.words == (
        "too few to judge: with 60 repairs a doubled rate would be seen in 3 shops of 10"
    )


def test_no_events_at_all_mark_nobody():
    """Nothing came back: limits of 0 and no words of praise."""
    found = funnel([0, 0], [30, 40])
    assert not any(row.is_marked for row in found.rows)
    assert found.pooled_rate == 0


def test_no_events_at_all_in_unequal_times_mark_nobody():
    """Nothing came back of what was followed: no marks, no expected events."""
    found = funnel_of_times(["a", "b"], [3, 90], [0, 0], stratum=["x", None], cluster=[1, 2])
    assert [row.expected for row in found.rows] == [0, 0] and found.inflation == 1.0
    assert not any(row.is_marked for row in found.rows)


@given(st.data())
@settings(deadline=None, max_examples=40)
def test_names_and_order_of_repairs_do_not_matter(data):
    """Shuffled rows, other names in the same order and times on another scale: the same rows."""
    count = data.draw(st.integers(2, 40))
    column = st.lists(st.integers(0, 3), min_size=count, max_size=count)
    unit, time, event, stratum = (np.array(data.draw(column)) for _ in range(4))
    order = np.array(data.draw(st.permutations(range(count))))
    one = funnel_of_times(unit, time, event > 1, stratum=stratum, cluster=time)
    named = np.array(["a", "b", "c", "d"])[unit]
    other = funnel_of_times(
        named[order],
        7.0 * time[order],
        event[order] > 1,
        stratum=stratum[order],
        cluster=time[order],
    )
    assert other.inflation == pytest.approx(one.inflation)
    for row, again in zip(one.rows, other.rows, strict=True):
        assert (row.count, row.size, row.mark) == (again.count, again.size, again.mark)
        assert row.p == pytest.approx(again.p, rel=1e-6)
        assert row.low_count <= row.expected <= row.high_count + 1


def test_bad_rows_are_named():
    """Errors name the row, the field, what is wrong and what would be right."""
    with pytest.raises(BadLives, match="row 1: count: it is more than size"):
        funnel([1, 9], [10, 8])
    with pytest.raises(BadLives, match="row 0: count: it is no count"):
        funnel([1.5, 2], [10, 8])
    with pytest.raises(BadLives, match="row 2: unit: it is not told"):
        funnel_of_times(["a", "b", None], [1, 2, 3], [0, 1, 0])
    with pytest.raises(BadLives, match="row 1: time"):
        funnel_of_times(["a", "b"], [1, -2], [0, 1])
    with pytest.raises(BadLives, match="held"):
        funnel([1, 2], [10, 8], held="street")
    with pytest.raises(TooFewLives):
        funnel([], [])
