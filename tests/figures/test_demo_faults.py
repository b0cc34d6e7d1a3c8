"""Faults that come back in the demo, against the truth behind it: what is found, and what is not.

The demo is one shop's three years. What its size cannot show is asserted as well: that the
figures say so.
"""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
import pyarrow.compute as pc
import pyarrow.parquet as pq
import pytest

import demo_events
from demo_events.parameters import PREVENTION_DAYS, PREVENTION_FACTOR, RETURN_SHARE
from ledger.book import Book
from ledger.cli.demo import build
from ledger.figures.fault_estimates import FaultFunnel
from ledger.figures.fault_funnels import funnel
from ledger.figures.fault_prevention import HORIZON_DAYS, prevention
from ledger.figures.fault_rates import model_rates
from ledger.figures.fault_reading import fault_tables
from ledger.figures.fault_recurrence import recurrence
from ledger.figures.fault_tables import FaultTables
from ledger.figures.fault_trends import trend_of_bikes, trends
from tests.whole_demo import whole_demo

FOLDER = Path(demo_events.__file__).parent
TIERS = ["overhaul", "full_service", "quick_check"]
"""From the one whose repairs truly come back least."""
EARLY = datetime(2025, 1, 1, tzinfo=UTC)
"""The demo's book begins in October 2023."""
pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("demo_faults")]


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder of the demo's book."""
    return whole_demo(tmp_path_factory)


@pytest.fixture(scope="module")
def tables(folder: Path) -> FaultTables:
    """The whole demo's faults."""
    return fault_tables(Book.open(folder))


@pytest.fixture(scope="module")
def doubled(tmp_path_factory: pytest.TempPathFactory) -> FaultTables:
    """The faults of the same shop, had the repairs of one mechanic come back twice as often."""
    folder = tmp_path_factory.mktemp("doubled")
    made = [sys.executable, "-m", "demo_events.generate", "--doubled", "m2", "--out"]
    subprocess.run([*made, str(folder / "events")], check=True, cwd=FOLDER.parent)
    build(folder / "events", folder / "book")
    return fault_tables(Book.open(folder / "book"))


def units(found: FaultFunnel) -> dict[str | None, object]:
    """Give the units of a funnel by their keys."""
    return {unit.key: unit for unit in found.units}


def test_tiers_stand_in_their_true_order(tables: FaultTables) -> None:
    """Fault by fault a quick check's repairs come back most, an overhaul's least, as drawn."""
    assert sorted(TIERS, key=RETURN_SHARE.__getitem__) == TIERS
    found = units(funnel(tables, "tier"))
    assert sorted(TIERS, key=lambda tier: found[tier].adjusted_rate) == TIERS


def test_an_overhaul_shows_fewer_come_backs_a_job(tables: FaultTables) -> None:
    """Job by job the overhaul's difference from the rest is beyond chance."""
    groups = {group.key: group for group in recurrence(tables, "tier").groups}
    assert groups["overhaul"].words == "fewer than the rest"
    assert groups["overhaul"].is_different


def test_the_tier_that_holds_best_is_marked_and_the_usual_one_is_not(tables: FaultTables) -> None:
    """True rates are 0.6 to 1.5 times the mean; a full service's is the mean itself."""
    found = units(funnel(tables, "tier"))
    assert found["overhaul"].mark == "fewer than chance"
    assert found["overhaul"].count_come_back < found["overhaul"].low_count
    assert not found["full_service"].is_marked
    assert found["full_service"].power > 0.9


def test_a_tier_half_as_bad_again_is_not_marked_early_on(folder: Path) -> None:
    """With a third of the repairs, more came back after quick checks, and chance could do that."""
    found = units(funnel(fault_tables(Book.open(folder), as_at=EARLY), "tier"))
    assert found["quick_check"].count_come_back > found["quick_check"].expected
    assert found["quick_check"].p > 0.5
    assert not any(found[tier].is_marked for tier in TIERS)
    assert found["quick_check"].power < 0.7


def test_mechanics_who_do_not_differ_are_not_marked(tables: FaultTables) -> None:
    """All three draw from the same chances."""
    found = funnel(tables, "mechanic", for_owner=True)
    assert [unit.key for unit in found.units] == ["m1", "m2", "m3"]
    assert not any(unit.is_marked for unit in found.units)


def test_the_mechanic_whose_repairs_come_back_twice_as_often_is_marked(
    doubled: FaultTables,
) -> None:
    """With some 900 repairs of theirs there is no doubt."""
    found = units(funnel(doubled, "mechanic", for_owner=True))
    assert found["m2"].mark == "more than chance"
    assert found["m2"].p < 0.001
    assert found["m1"].mark != "more than chance" and found["m3"].mark != "more than chance"


def test_the_pads_whose_repairs_return_more_go_wrong_more(tables: FaultTables) -> None:
    """Brinewell S is above the other pads in faults a year, and first of its sort.

    Repairs that fitted it are some thirty: the share of come-backs alone cannot show 1.8 times.
    """
    rates = model_rates(tables)
    pads = [row for row in rates.by_years if row.sort == "pads"]
    assert pads[0].model == "Brinewell S" and pads[0].is_above
    returned = {row.model: row for row in rates.come_backs if row.sort == "pads"}
    worse = returned["Brinewell S"]
    assert worse.count < 60 and not worse.is_above
    assert worse.ratio.low < 1.8 < worse.ratio.high


def test_prevention_is_too_little_to_judge_in_one_shop(tables: FaultTables) -> None:
    """At every position fewer bikes had it than needed, and the truth is inside the interval.

    The true hazard is halved until the horizon, so that the risk is about half of that without.
    """
    assert PREVENTION_DAYS == HORIZON_DAYS
    found = prevention(tables)
    assert len(found.rows) == 8
    for row in found.rows:
        assert row.verdict == "too few to judge", row.words
        assert row.with_it.count_bikes < row.needed_each
        without = row.without_it.risk.value
        true = without * PREVENTION_FACTOR - without
        assert row.difference.low < true < row.difference.high


def test_a_fleet_without_a_trend_shows_none(tables: FaultTables) -> None:
    """Hazards are constant: no group of bikes is getting worse, by days."""
    found = [one for one in trends(tables) if one.clock == "days"]
    assert [one.key for one in found] == [None, "commute", "courier", "family", "touring"]
    assert {one.judgement for one in found} == {"no trend shown"}


def test_few_bikes_are_said_to_get_worse(tables: FaultTables) -> None:
    """Of the bikes with enough looks to judge at most one in ten is said to have a trend."""
    counted = Counter(tables.episodes["bike"].to_pylist())
    judged = Counter()
    for bike in (bike for bike, count in counted.items() if count >= 6):
        own = [
            each.filter(pc.equal(each["bike"], bike))
            for each in (tables.episodes, tables.bikes, tables.job_facts)
        ]
        judged[trend_of_bikes(*own)[0].judgement] += 1
    told = sum(count for judgement, count in judged.items() if judgement != "too few to judge")
    assert told > 15
    assert judged["getting worse"] + judged["getting better"] <= 0.1 * told


def test_couriers_have_the_most_faults_a_year(tables: FaultTables) -> None:
    """They ride four times as far: more than the rest, families fewer."""
    groups = {group.key: group for group in recurrence(tables, "riding").groups}
    assert groups["courier"].words == "more than the rest"
    assert groups["family"].words == "fewer than the rest"
    means = [group.mean.value for group in recurrence(tables, "riding").groups]
    assert means == sorted(means, reverse=True)


def test_the_truth_counts_as_many_repairs(tables: FaultTables) -> None:
    """Every fault put right in the truth is a repair here; chances are those of its tier."""
    truth = pq.read_table(FOLDER / "truth_repairs.parquet")
    assert abs(len(tables.repairs) - len(truth)) <= 0.02 * len(truth)
    chance = np.array(truth["chance"].to_pylist())
    tier = np.array(truth["tier"].to_pylist(), dtype=object)
    means = {name: chance[tier == name].mean() for name in TIERS}
    assert sorted(TIERS, key=means.__getitem__) == TIERS
