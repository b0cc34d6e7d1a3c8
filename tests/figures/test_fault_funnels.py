"""Whose repairs hold: tiers and mechanics of small shops, and of shops drawn at random."""

from __future__ import annotations

import numpy as np
import pytest
from fault_given import REPAIRS, given, table

from ledger.analysis.funnel import power_of_funnel
from ledger.figures.fault_funnels import FOR_OWNER, funnel


def repaired(number, again=None, until=400, **more):
    """Give a repair of a bike of its own on day 0, found again on a day or not."""
    return {"bike": f"b{number}", "put_right_at": 0, "again_at": again, "observed_until": until,
            "tier": "overhaul", **more}  # fmt: skip


def of(repairs):
    """Give tables of these repairs and their bikes."""
    tags = sorted({row["bike"] for row in repairs})
    bikes = [{"bike": tag, "first_closed_at": 0, "observed_until": 400} for tag in tags]
    return given(bikes, repairs=repairs)


def by_key(found):
    """Give the units of a funnel by their keys."""
    return {unit.key: unit for unit in found.units}


def test_mechanics_are_shown_to_the_owner_only():
    """Unless it is asked for the owner there is not one name in it."""
    tables = of([repaired(n, 30 if n < 3 else None, actor="ada") for n in range(20)])
    found = funnel(tables, "mechanic")
    assert (found.units, found.guide, found.words) == ((), (), FOR_OWNER)
    assert [unit.key for unit in funnel(tables, "mechanic", for_owner=True).units] == ["ada"]


def test_counts_are_those_of_the_repairs():
    """Repairs and come-backs, with those last seen too early: nobody came in for them."""
    repairs = [repaired(n, 30 if n < 6 else None, actor="ada") for n in range(60)]
    repairs += [repaired(n, until=20, actor="ben") for n in range(60, 100)]
    units = by_key(funnel(of(repairs), "mechanic", for_owner=True))
    ada, ben = units["ada"], units["ben"]
    assert (ada.count_repairs, ada.count_come_back, ada.count_immature) == (60, 6, 0)
    assert (ben.count_repairs, ben.count_come_back, ben.count_immature) == (40, 0, 40)
    assert ada.expected == pytest.approx(6 * 60 / 100)
    assert ben.expected == pytest.approx(6 * 40 / 100) and not ben.is_marked
    assert ben.words.startswith("too few to judge")


def test_nobody_is_judged_by_the_mix_of_work():
    """Ada does the quick checks, of which a third comes back whoever does them: no mark."""
    repairs = []
    for who, quick, thorough in (("ada", 90, 10), ("ben", 30, 170)):
        for tier, count, share in (("quick", quick, 1 / 3), ("overhaul", thorough, 0.02)):
            start = len(repairs)
            repairs += [
                repaired(start + n, 30 if n < share * count else None, actor=who, tier=tier)
                for n in range(count)
            ]
    units = by_key(funnel(of(repairs), "mechanic", for_owner=True))
    assert units["ada"].rate > 4 * units["ben"].rate
    assert not units["ada"].is_marked and not units["ben"].is_marked
    assert units["ada"].expected == pytest.approx(units["ada"].count_come_back, abs=1.5)


def test_tiers_are_compared_fault_by_fault():
    """A tier with the faults that come back anyhow is not marked for them."""
    repairs = []
    for tier, creaks, flats in (("quick", 80, 20), ("overhaul", 20, 80)):
        for fault, count, share in (("creak", creaks, 0.4), ("puncture", flats, 0.05)):
            start = len(repairs)
            repairs += [
                repaired(start + n, 30 if n < share * count else None, tier=tier, fault=fault)
                for n in range(count)
            ]
    units = by_key(funnel(of(repairs), "tier"))
    assert units["quick"].rate > 2 * units["overhaul"].rate
    assert units["quick"].mark is None and units["overhaul"].mark is None


def test_a_tier_whose_repairs_truly_come_back_is_marked():
    """40 of 100 against 4 of 100 of the same fault; what has no tier is a unit of its own."""
    repairs = [repaired(n, 30 if n < 40 else None, tier="quick") for n in range(100)]
    repairs += [repaired(n, 30 if n < 104 else None, tier="overhaul") for n in range(100, 200)]
    repairs += [repaired(n, tier=None) for n in range(200, 210)]
    units = by_key(funnel(of(repairs), "tier"))
    assert units["quick"].mark == "more than chance"
    assert units["overhaul"].mark == "fewer than chance"
    assert units[None].count_repairs == 10


def test_the_guide_is_about_as_wide_as_the_units_own_limits():
    """Three mechanics of 200 repairs each: where they stand the curve is their bracket."""
    repairs = [
        repaired(n, 30 if n % 10 == 0 else None, actor=("ada", "ben", "cem")[n % 3])
        for n in range(600)
    ]
    found = funnel(of(repairs), "mechanic", for_owner=True)
    ada = found.units[0]
    low = np.interp(ada.size, *zip(*((p.size, p.low_rate) for p in found.guide), strict=True))
    high = np.interp(ada.size, *zip(*((p.size, p.high_rate) for p in found.guide), strict=True))
    assert low == pytest.approx(ada.low_rate, abs=1.5 / 200)
    assert high == pytest.approx(ada.high_rate, abs=1.5 / 200)
    assert found.pooled_rate == pytest.approx(0.1)


def test_units_all_too_few_to_judge_are_not_said_to_be_alike():
    """One repair of each tier tells of no difference, nor of none."""
    found = funnel(of([repaired(0, 30, tier="quick"), repaired(1, tier="overhaul")]), "tier")
    assert len(found.units) == 2 and found.words == "too few to judge"


def test_no_repairs_give_an_empty_funnel():
    """Nothing put right is no error."""
    found = funnel(given(), "tier")
    assert found.units == () and found.words == "no repairs to judge"


def test_a_shop_without_come_backs_marks_nobody():
    """Then there is no curve to draw either."""
    found = funnel(of([repaired(n, actor="ab"[n % 2]) for n in range(60)]), "tier")
    assert found.guide == () and found.pooled_rate == 0
    assert not any(unit.is_marked for unit in found.units)


def shop_of(rng, rates, count=300):
    """Give a shop of mechanics with so many repairs each, over two tiers and systems."""
    number, size = np.arange(count * len(rates)), count * len(rates)
    who = np.repeat(list("abcde")[: len(rates)], count)
    chance = np.repeat(rates, count)
    is_back = rng.random(size) < chance
    after = rng.exponential(28, size) % 87 + 1
    rows = [
        repaired(n, float(after[n]) if is_back[n] else None, actor=str(who[n]),
                 tier=("quick", "overhaul")[n % 2], system=("drivetrain", "steering")[n % 3 // 2])
        for n in number.tolist()
    ]  # fmt: skip
    return of(rows)


def first_marks(rng, count, rates):
    """Give the marks of the units of so many shops."""
    for _ in range(count):
        found = funnel(shop_of(rng, rates), "mechanic", for_owner=True)
        yield [unit.mark for unit in found.units]


@pytest.mark.slow
def test_mechanics_who_do_not_differ_are_seldom_marked():
    """Of 150 shops of three alike mechanics at most 5 % mark any, within chance (seed 6)."""
    shops = [any(marks) for marks in first_marks(np.random.default_rng(6), 150, [0.08] * 3)]
    assert sum(shops) <= 150 * 0.05 + 2 * np.sqrt(150 * 0.05 * 0.95)


@pytest.mark.slow
def test_a_mechanic_at_twice_the_rate_is_marked_in_most_shops():
    """At 16 % beside two at 8 %, 300 repairs each: marked in at least 80 of 100 shops (seed 7).

    That is about the power told beforehand.
    """
    marks = list(first_marks(np.random.default_rng(7), 100, [0.16, 0.08, 0.08]))
    seen = sum(first == "more than chance" for first, *_ in marks)
    assert seen >= 80
    assert power_of_funnel(300, 0.08, others=[300, 300]) == pytest.approx(seen / 100, abs=0.1)


def test_the_table_given_is_that_of_a_book():
    """What these tests feed in has the schema that a book gives."""
    assert of([repaired(0)]).repairs.schema == REPAIRS
    assert table(REPAIRS, []).schema == REPAIRS
