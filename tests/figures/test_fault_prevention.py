"""Does prevention pay: landmarks, sides and trouble by hand, and shops drawn at random."""

from __future__ import annotations

import numpy as np
import pytest
from fault_given import given

from ledger.figures.fault_landmarks import Bench
from ledger.figures.fault_prevention import HORIZON_DAYS, prevention


def bike(name, last=600, **more):
    """Give a bike whose last event is on a day."""
    told = {"bike_kind": "city", "speeds": 8, "riding": "commute", "first_closed_at": 10}
    return {"bike": name, "observed_until": last, **told, **more}


def job(name, closed=10, minutes=60, tier="overhaul"):
    """Give a job by the day it was closed."""
    told = {"closed_at": closed, "tier": tier, "minutes_quoted": minutes}
    return {"bike": name, "job": f"{name}-{closed}", **told}


def done(name, closed=10, position="chain"):
    """Give preventive work in the job closed on a day."""
    return {"bike": name, "job": f"{name}-{closed}", "position": position}


def found(name, day, ended=None, position="chain"):
    """Give a fault found, put right or cleared on a day or open still."""
    return {"bike": name, "position": position, "found_at": day, "ended_at": ended}


def sides(tables, position="chain"):
    """Give of each bike whether it had the work, its landmark, and the days until trouble."""
    bench = Bench(tables)
    place = bench.positions.index(position)
    of = bench.landmarks(place)
    names = [tables.bikes["bike"][row].as_py() for row in of.bike.tolist()]
    jobs = [tables.job_facts["job"][row].as_py() for row in of.job.tolist()]
    until = [None if np.isinf(one) else one for one in of.found.tolist()]
    return dict(zip(names, zip(of.is_treated.tolist(), jobs, until, strict=True), strict=True))


def test_a_bike_is_watched_from_its_first_job_with_nothing_open_there():
    """b's chain was noisy when its first job was closed: it is watched from the second."""
    tables = given(
        [bike("a"), bike("b")],
        [found("a", 5, ended=9), found("b", 5, ended=90), found("b", 150, ended=160)],
        [job("a"), job("b"), job("b", 100)],
        work=[done("a"), done("b", 100)],
    )
    assert sides(tables) == {"a": (True, "a-10", None), "b": (True, "b-100", 50.0)}


def test_a_bike_counts_once_and_later_work_changes_no_side():
    """Treated at its second visit, a bike stays on the side without."""
    tables = given(
        [bike("a"), bike("b")], [],
        [job("a"), job("b"), job("b", 200)],
        work=[done("a"), done("b", 200)],
    )  # fmt: skip
    assert sides(tables) == {"a": (True, "a-10", None), "b": (False, "b-10", None)}
    found_at = prevention(tables)
    assert found_at.rows[0].with_it.count_bikes == 1
    assert found_at.count_not_compared == 1


def test_billed_work_is_no_prevention():
    """A paid line at the position in the job's bill; given away, or elsewhere, it is none."""
    line = {"line_id": "l", "line_type": "labour", "code": "lube", "position": "chain"}
    bills = [
        {"bike": "a", "job": "a-10", "lines": [{**line, "net": 900}]},
        {"bike": "b", "job": "b-10", "lines": [{**line, "net": 900, "position": "stem"}]},
        {"bike": "c", "job": "c-10", "lines": [{**line, "net": 900, "is_goodwill": True}]},
        {"bike": "d", "job": "d-10", "lines": [{**line, "net": 0}]},
    ]
    tables = given(
        [bike(name) for name in "abcd"], [], [job(name) for name in "abcd"],
        work=[done(name) for name in "abcd"], bills=bills,
    )  # fmt: skip
    assert {name: told[0] for name, told in sides(tables).items()} == {
        "a": False, "b": True, "c": True, "d": True,
    }  # fmt: skip


def test_bikes_never_seen_again_say_nothing():
    """Their last event is the closing itself."""
    tables = given([bike("a"), bike("b", last=10)], [], [job("a"), job("b")], work=[done("a")])
    assert sides(tables) == {"a": (True, "a-10", None)}


def test_sorts_of_bike_that_never_had_it_there_are_not_compared():
    """Work on gear cables is not held against bikes without gears; a trouble shows they have it."""
    tables = given(
        [bike("a"), bike("b"), bike("single", speeds=1), bike("cargo", bike_kind="cargo")],
        [found("cargo", 90, position="shift_cables")],
        [job("a"), job("b"), job("single"), job("cargo")],
        work=[done("a", position="shift_cables")],
    )
    assert set(sides(tables, "shift_cables")) == {"a", "b", "cargo"}


def test_trouble_lies_between_the_last_look_without_it_and_the_find():
    """A look before the landmark, on another bike or elsewhere, says nothing."""
    looks = [
        {"bike": "a", "position": "chain", "occurred_at": 5},
        {"bike": "a", "position": "chain", "occurred_at": 60},
        {"bike": "a", "position": "stem", "occurred_at": 90},
        {"bike": "a", "position": "chain", "occurred_at": 150},
    ]
    tables = given(
        [bike("a"), bike("b"), bike("c")], [found("a", 110), found("b", 110)],
        [job("a"), job("b"), job("c")], work=[done("a")], looks=looks,
    )  # fmt: skip
    of = Bench(tables).landmarks(0)
    assert of.fine_until.tolist() == [50.0, 0.0, 590.0]
    assert of.found.tolist() == [100.0, 100.0, np.inf]
    assert of.last.tolist() == [590.0] * 3


def test_minutes_are_those_of_the_next_job_in_which_something_was_put_right_there():
    """Not of a job before, and not of one that worked elsewhere."""
    repairs = [
        {"bike": "a", "job": "a-10", "put_right_at": 9, "observed_until": 600},
        {"bike": "a", "job": "a-50", "put_right_at": 50, "observed_until": 600, "position": "stem"},
        {"bike": "a", "job": "a-90", "put_right_at": 90, "observed_until": 600},
        {"bike": "a", "job": "a-200", "put_right_at": 200, "observed_until": 600},
    ]
    jobs = [job("a"), job("a", 50, 30), job("a", 90, 45), job("a", 200, 99), job("b")]
    tables = given([bike("a"), bike("b")], [], jobs, repairs, work=[done("a")])
    minutes = Bench(tables).landmarks(0).minutes
    assert minutes[0] == 45 and np.isnan(minutes[1])


def test_all_on_one_side_is_too_few_to_judge():
    """A shop that greases every seatpost has none to compare with."""
    tables = given([bike("a"), bike("b")], [found("a", 60)], [job("a"), job("b")],
                   work=[done("a"), done("b")])  # fmt: skip
    (row,) = prevention(tables).rows
    assert (row.with_it.count_bikes, row.with_it.count_trouble) == (2, 1)
    assert row.difference is None and not row.is_enough
    assert row.words == "too few to judge: all bikes had it"


def test_no_preventive_work_gives_no_rows():
    """Nor does an empty book."""
    assert prevention(given()).rows == ()
    assert prevention(given([bike("a")], [], [job("a")])).words == (
        "no unbilled preventive work on record"
    )


def test_no_trouble_by_the_horizon_is_no_certainty():
    """Of 30 followed so far the upper limit is the exact binomial one: 1 - 0.025 ** (1 / 30)."""
    names = [f"b{n}" for n in range(60)]
    tables = given(
        [bike(name) for name in names],
        [found(name, 100) for name in names[40:]],
        [job(name) for name in names],
        work=[done(name) for name in names[:30]],
    )
    (row,) = prevention(tables).rows
    assert (row.with_it.risk.value, row.with_it.risk.low) == (0, 0)
    assert row.with_it.risk.high == pytest.approx(1 - 0.025 ** (1 / 30))
    assert row.without_it.risk.value == pytest.approx(20 / 30)
    assert row.difference.value == pytest.approx(-20 / 30)


def shop(rng, count, hazard, ratio=0.5, share=0.3):
    """Give a shop of bikes of which some had the work, which divides trouble for 240 days.

    Overhauls are treated more often and go wrong less, as the tier's own work has it.
    """
    tiers = np.where(rng.random(count) < 0.4, "overhaul", "quick")
    treated = rng.random(count) < np.where(tiers == "overhaul", 2 * share, share / 2)
    rate = np.where(tiers == "overhaul", hazard / 2, hazard)
    protected = np.where(treated, ratio, 1.0)
    drawn = rng.exponential(1.0, count) / rate
    trouble = np.where(drawn < 240 * protected, drawn / protected, drawn + 240 * (1 - protected))
    last = rng.uniform(200, 900, count)
    names = [f"b{n:05}" for n in range(count)]
    seen = np.ceil(trouble / 30) * 30
    return given(
        [bike(name, 10 + float(end)) for name, end in zip(names, last, strict=True)],
        [found(name, 10 + float(day)) for name, day, end in zip(names, seen, last, strict=True)
         if day <= end],
        [job(name, tier=str(tier)) for name, tier in zip(names, tiers, strict=True)],
        work=[done(name) for name, is_in in zip(names, treated, strict=True) if is_in],
    )  # fmt: skip


def test_work_that_halves_the_hazard_shows_within_its_interval():
    """4,000 bikes, hazards of one in three years (seed 1): the true difference is inside.

    True risks by 240 days: 1 - exp(-hazard t), the hazard halved with the work, weighed by tier.
    """
    hazard = 1 / 1095
    (row,) = prevention(shop(np.random.default_rng(1), 4000, hazard)).rows
    risks = [
        [1 - np.exp(-own * factor * HORIZON_DAYS) for own in (hazard, hazard / 2)]
        for factor in (0.5, 1.0)
    ]
    true = np.array([0.6, 0.4]) @ (np.array(risks[0]) - np.array(risks[1]))
    assert row.difference.low < true < row.difference.high < 0
    assert row.difference.low < row.difference_80.low < row.difference_80.high < row.difference.high
    assert row.verdict == "less often" and row.p < 0.01
    assert row.hazard_ratio.low < 0.5 < row.hazard_ratio.high < 1
    assert row.hazard_ratio.value == pytest.approx(0.5, abs=0.15)
    assert row.words.endswith("this does not say it was why")


def test_a_tier_that_goes_wrong_less_does_not_make_the_work_look_good():
    """Work without effect, done mostly in overhauls: no difference, where crude shares have one."""
    tables = shop(np.random.default_rng(2), 6000, 1 / 700, ratio=1.0)
    (row,) = prevention(tables).rows
    crude = row.with_it.risk.value - row.without_it.risk.value
    assert crude < -0.03
    assert row.difference.low < 0 < row.difference.high
    assert row.verdict == "no clear difference"


@pytest.mark.slow
def test_work_without_effect_is_seldom_said_to_go_with_less():
    """Of 200 shops in which it does nothing, some 5 % show a difference (seed 3)."""
    rng = np.random.default_rng(3)
    rows = [prevention(shop(rng, 400, 1 / 700, ratio=1.0)).rows[0] for _ in range(200)]
    shown = sum(row.verdict in ("less often", "more often") for row in rows)
    missed = sum(not row.difference.low <= 0 <= row.difference.high for row in rows)
    assert shown <= 10 + 2 * np.sqrt(200 * 0.05 * 0.95)
    assert missed <= 10 + 2 * np.sqrt(200 * 0.05 * 0.95)
