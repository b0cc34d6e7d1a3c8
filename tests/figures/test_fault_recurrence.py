"""How often faults come by group: small shops by hand, and shops drawn at random."""

from __future__ import annotations

import numpy as np
import pytest
from fault_given import given

from ledger.figures.fault_recurrence import AT_DAYS, recurrence


def bike(name, start=0, end=400, riding="commute"):
    """Give a bike watched from one day to another."""
    return {"bike": name, "riding": riding, "first_closed_at": start, "observed_until": end}


def found(name, day, **more):
    """Give a fault found on a bike."""
    return {"bike": name, "found_at": day, **more}


def many(count, **more):
    """Give so many alike bikes, named by number."""
    return [bike(f"b{number}", **more) for number in range(count)]


def by_label(report):
    """Give the groups of a report by their labels."""
    return {group.label: group for group in report.groups}


def test_a_bike_is_watched_from_its_first_closing_and_faults_by_then_are_no_events():
    """Of 20 bikes five have a fault a year on; those found in the first job do not count."""
    first = [found(f"b{number}", 10) for number in range(20)]
    later = [found(f"b{number}", 110) for number in range(5)]
    tables = given(many(20, start=10, end=410), first + later)
    (group,) = recurrence(tables, "riding").groups
    assert (group.count_units, group.count_events) == (20, 5)
    assert group.mean.value == pytest.approx(5 / 20)
    assert [(point.days, point.count_at_risk) for point in group.curve] == [(100.0, 20)]


def test_bikes_without_a_closed_job_or_a_later_event_are_not_watched():
    """They are no units, and what is found on them is no event."""
    bikes = [*many(12), bike("open", start=None), bike("once", start=400)]
    episodes = [found(f"b{number}", 50) for number in range(6)]
    episodes += [found("open", 60), found("once", 400)]
    (group,) = recurrence(given(bikes, episodes), "riding").groups
    assert (group.count_units, group.count_events) == (12, 6)


def test_every_bike_is_in_every_system():
    """Each system has the faults of its own, and none is held against the others."""
    episodes = [found(f"b{number}", 50, system="steering") for number in range(6)]
    episodes += [found(f"b{number}", 70) for number in range(9)]
    groups = by_label(recurrence(given(many(30), episodes), "system"))
    assert {name: group.count_events for name, group in groups.items()} == {
        "drivetrain": 9, "steering": 6,
    }  # fmt: skip
    assert all(group.count_units == 30 for group in groups.values())
    assert groups["steering"].mean.value == pytest.approx(6 / 30)
    assert all(group.difference is None for group in groups.values())


def test_a_part_has_the_faults_found_at_its_position_while_it_sat_there():
    """Found before it was fitted, elsewhere, or after it was replaced, a fault is not its own."""
    spells, episodes = [], []
    for number in range(12):
        name = f"b{number}"
        part = {"bike": name, "position": "chain", "make": "Quay", "started_at": 20}
        spells.append({**part, "model": "Quay 9", "ended_at": 380, "is_ended": True})
        spells.append({**part, "model": "Tarn 9", "started_at": 380, "ended_at": 790})
        episodes += [found(name, 10), found(name, 50, position="headset"), found(name, 400)]
    episodes += [found(f"b{number}", 380) for number in range(6)]
    tables = given(many(12, end=790), episodes, spells=spells)
    groups = by_label(recurrence(tables, "model"))
    assert groups["Quay 9, chain"].count_events == 6
    assert groups["Quay Tarn 9, chain"].count_events == 12


def test_models_are_held_against_others_of_their_sort_only():
    """Chains beside chains: the only model of pads has no rest."""
    spells = [
        {"bike": f"b{number}", "position": position, "model": model, "started_at": 0,
         "ended_at": 400}
        for number in range(12)
        for position, model in (("chain", "Quay 9"), ("rear_brake.pads", "Tarn S"))
    ]  # fmt: skip
    spells += [
        {"bike": f"c{number}", "position": "chain", "model": "Loch 9", "started_at": 0,
         "ended_at": 400} for number in range(12)
    ]  # fmt: skip
    bikes = many(12) + [bike(f"c{number}") for number in range(12)]
    episodes = [found(f"b{number}", 50) for number in range(9)]
    episodes += [found(f"c{number}", 50) for number in range(5)]
    episodes += [found(f"b{number}", 60, position="rear_brake.pads") for number in range(7)]
    groups = by_label(recurrence(given(bikes, episodes, spells=spells), "model"))
    assert groups["Quay 9, chain"].difference.value == pytest.approx(9 / 12 - 5 / 12)
    assert groups["Tarn S, pads"].difference is None
    assert groups["Tarn S, pads"].words == "no rest to hold it against"


def test_a_tier_has_the_come_backs_of_its_jobs_from_their_closing():
    """Found again outside the window, or after work of no job, is not counted."""
    jobs = [
        {"bike": f"b{number}", "job": f"j{number}", "tier": "overhaul", "closed_at": 5}
        for number in range(20)
    ]
    repairs = [
        {"bike": f"b{number}", "job": f"j{number}", "put_right_at": 4, "again_at": 34,
         "observed_until": 400} for number in range(8)
    ]  # fmt: skip
    repairs.append({**repairs[0], "again_at": 300})
    repairs.append({**repairs[0], "job": None})
    (group,) = recurrence(given(many(20), jobs=jobs, repairs=repairs), "tier").groups
    assert group.count_events == 8
    assert group.curve[0].days == 34 - 5
    assert group.mean.value == pytest.approx(8 / 20)


def test_too_few_units_or_events_are_said_to_be():
    """Nine bikes, or four events, give no curve and no figures."""
    few = recurrence(given(many(9), [found(f"b{n}", 50) for n in range(9)]), "riding").groups[0]
    assert few.curve == () and few.mean is None and few.words.startswith("too few to judge")
    rare = recurrence(given(many(50), [found(f"b{n}", 50) for n in range(4)]), "riding").groups[0]
    assert not rare.is_enough
    assert rare.words == "too few to judge: 4 events on 50 bikes, and 5 on 10 are needed"


def test_a_group_nobody_of_which_was_followed_for_a_year_has_no_mean():
    """Its curve is there, and it says that too few were followed for long."""
    episodes = [found(f"b{number}", 50) for number in range(9)]
    (group,) = recurrence(given(many(20, end=200), episodes), "riding").groups
    assert group.is_enough and group.mean is None
    assert group.words == f"too few to judge: too few were followed for {AT_DAYS} days"


def test_what_was_never_recorded_is_a_group_of_its_own():
    """Bikes of unknown riding have the key None, and stand beside the others."""
    bikes = many(12) + [bike(f"c{n}", riding=None) for n in range(12)]
    episodes = [found(f"b{n}", 50) for n in range(6)] + [found(f"c{n}", 50) for n in range(12)]
    groups = by_label(recurrence(given(bikes, episodes), "riding"))
    assert groups["not recorded"].key is None
    assert groups["not recorded"].difference.value == pytest.approx(0.5)
    assert groups["not recorded"].words == "more than the rest"
    assert groups["commute"].words == "fewer than the rest"


@pytest.mark.parametrize("by", ["system", "riding", "tier", "model"])
def test_an_empty_book_has_no_groups(by):
    """Nothing to group is no error."""
    assert recurrence(given(), by).groups == ()


def test_groups_that_are_alike_are_told_apart_no_more_often_than_said():
    """Of 200 shops of 120 bikes whose ridings do not differ, some 5 % show a difference (seed 3).

    Bikes differ among themselves (gamma, shape 1), so that Poisson intervals would be too narrow.
    """
    rng = np.random.default_rng(3)
    shown = 0
    for _ in range(200):
        rate = rng.gamma(1.0, 1.2, 120)
        bikes = [
            bike(f"b{n}", end=float(rng.uniform(366, 900)), riding="abc"[n % 3]) for n in range(120)
        ]
        episodes = [
            found(f"b{n}", float(day))
            for n in range(120)
            for day in rng.uniform(1, 366, rng.poisson(rate[n]))
        ]
        groups = recurrence(given(bikes, episodes), "riding").groups
        shown += sum(group.is_different for group in groups)
    assert 0.02 < shown / 600 < 0.09
