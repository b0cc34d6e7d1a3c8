"""The truth kept beside the demo can be recovered from what the events show."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from random import Random
from statistics import mean, stdev
from typing import Any

import pytest

from demo_events import parameters
from demo_events.catalogue import PARTS
from demo_events.exposure import RIDDEN, WEATHERED
from demo_events.fortune import next_stop
from demo_events.generate import commits
from demo_events.intake import shown_km
from demo_events.parameters import GAUGES, TIER_PLAN, WEAR
from demo_events.population import REAR_LIGHTER, Register, make_bikes
from demo_events.spool import Plan
from demo_events.truth import Truth

Rows = list[dict[str, Any]]
WEAR_FACTORS = {model.model: model.wear_factor for models in PARTS.values() for model in models}


def ratio_of_counts(first: tuple[int, int], second: tuple[int, int]) -> float:
    """Give how many standard errors two shares (hits, tries) lie apart."""
    hits, tries = first[0] + second[0], first[1] + second[1]
    share = hits / tries
    error = math.sqrt(share * (1 - share) * (1 / first[1] + 1 / second[1]))
    return abs(first[0] / first[1] - second[0] / second[1]) / error


def test_a_part_wears_at_its_true_rate(true_readings: Rows) -> None:
    """Between two readings of a chain its true wear over weathered distance is its rate."""
    by_part: dict[tuple[str, float], Rows] = defaultdict(list)
    for row in true_readings:
        if row["quantity"] == "elongation":
            by_part[row["part"], row["rate"]].append(row)
    checked = 0
    for (_, rate), rows in by_part.items():
        first, last = rows[0], rows[-1]
        km = last["weather_km"] - first["weather_km"]
        if km < 50 or last["true_value"] >= WEAR["chain"].worst:
            continue
        slope = (last["true_value"] - first["true_value"]) / km * 1000
        assert slope == pytest.approx(rate, rel=1e-3)
        checked += 1
    assert checked > 300


@pytest.mark.parametrize("riding", parameters.RIDINGS)
@pytest.mark.parametrize("law", ["chain", "pads", "tyre"])
def test_the_mean_rate_of_a_riding_is_the_parameter(
    true_readings: Rows, true_parts: Rows, riding: str, law: str
) -> None:
    """Bike by bike, the geometric mean rate is within 10 % of the median given for the riding."""
    models = {
        row["part"]: row["model"] for row in true_parts if not row["batch"].endswith("2025-04")
    }
    by_rider: dict[str, list[float]] = defaultdict(list)
    for row in true_readings:
        is_of_law = row["quantity"] == WEAR[law].quantity and row["position"].endswith(law)
        if row["riding"] != riding or not is_of_law or row["part"] not in models:
            continue
        factor = WEAR_FACTORS[models[row["part"]]] * REAR_LIGHTER.get(row["position"], 1.0)
        by_rider[row["bike"]].append(math.log(row["rate"] / factor))
    found = math.exp(mean(mean(logs) for logs in by_rider.values()))
    assert found == pytest.approx(WEAR[law].rates[riding], rel=0.1)


@pytest.mark.parametrize("code", ["G-dial", "G-pad", "G-depth"])
def test_a_gauge_errs_as_the_truth_says(counted: Rows, true_readings: Rows, code: str) -> None:
    """What a gauge shows less the truth has the bias and the spread kept for that gauge."""
    true = {row["event"]: row["true_value"] for row in true_readings if row["gauge"] == code}
    errors = [
        float(event["data"]["value"]["value"]) - true[event["id"]]
        for event in counted
        if event["id"] in true and true[event["id"]] > 0.6 * (code != "G-dial")
    ]
    gauge = GAUGES[code]
    spread = math.hypot(gauge.error, gauge.resolution / math.sqrt(12))
    assert len(errors) > 200
    assert mean(errors) == pytest.approx(gauge.bias, abs=4 * spread / math.sqrt(len(errors)))
    assert stdev(errors) == pytest.approx(spread, rel=0.12)


def test_go_no_go_intervals_hold_the_truth(counted: Rows, true_readings: Rows) -> None:
    """A go/no-go reading's interval holds the true figure but for the gauge's own error."""
    true = {row["event"]: row["true_value"] for row in true_readings if row["gauge"] == "G-go"}
    slack = 4 * GAUGES["G-go"].error
    seen = Counter()
    for event in counted:
        if event["id"] not in true:
            continue
        low = float(event["data"].get("low", {}).get("value", "-inf"))
        high = float(event["data"].get("high", {}).get("value", "inf"))
        assert low - slack <= true[event["id"]] <= high + slack
        seen[low, high] += 1
    assert len(seen) == 3


@pytest.mark.parametrize("riding", parameters.RIDINGS)
def test_late_riders_bring_more_chains_past_their_limit(true_readings: Rows, riding: str) -> None:
    """Of each riding's chains seen, late riders' are past the limit more often by a tenth."""
    shares = {}
    for is_late in (True, False):
        chains = [
            row["true_value"] > row["due"]
            for row in true_readings
            if row["position"] == "chain"
            and row["riding"] == riding
            and row["is_late_rider"] == is_late
        ]
        assert len(chains) > 50
        shares[is_late] = mean(chains)
    assert shares[True] > shares[False] + 0.1
    assert 0.02 < shares[False] < 0.7


def test_repairs_return_as_often_as_their_chance_says(true_repairs: Rows) -> None:
    """By tier, the share of repairs that return lies within 3 standard errors of the chance."""
    for tier in ("quick_check", "full_service", "overhaul"):
        rows = [row for row in true_repairs if row["tier"] == tier]
        expected = sum(row["chance"] for row in rows)
        error = math.sqrt(sum(row["chance"] * (1 - row["chance"]) for row in rows))
        returned = sum(row["returns_after_days"] is not None for row in rows)
        assert abs(returned - expected) < 3 * error
        assert len(rows) > 150


def returned_by(rows: Rows) -> dict[str, tuple[int, int]]:
    """Give (returned, repairs) for each mechanic."""
    found: dict[str, tuple[int, int]] = {}
    for row in rows:
        hits, tries = found.get(row["mechanic"], (0, 0))
        found[row["mechanic"]] = (hits + (row["returns_after_days"] is not None), tries + 1)
    return found


def test_mechanics_do_not_differ_in_the_demo(true_repairs: Rows) -> None:
    """The demo's full-timers' repairs return alike, within 3 standard errors."""
    found = returned_by(true_repairs)
    assert ratio_of_counts(found["m1"], found["m2"]) < 3
    by_mechanic = defaultdict(set)
    for row in true_repairs:
        by_mechanic[row["tier"], row["model"]].add(round(row["chance"], 6))
    assert all(len(chances) == 1 for chances in by_mechanic.values())


def test_one_mechanic_can_be_made_twice_as_prone() -> None:
    """With m2 doubled, m2's repairs return about twice as often as m1's."""
    truth = Truth()
    for _ in commits(Plan(seed=5, count_bikes=1600, doubled="m2"), truth):
        pass
    names = ("event", "bike", "job", "tier", "mechanic", "position", "fault", "cause", "model",
             "chance", "returns_after_days")  # fmt: skip
    rows = [dict(zip(names, row, strict=True)) for row in truth.rows["truth_repairs"]]
    found = returned_by(rows)
    ratio = (found["m2"][0] / found["m2"][1]) / (found["m1"][0] / found["m1"][1])
    assert 1.5 < ratio < 2.6
    assert ratio_of_counts(found["m1"], found["m2"]) > 3


def test_labour_drifts_from_the_quote_as_the_truth_says(counted: Rows) -> None:
    """The last check of each tier takes its quoted minutes times the true drift and spread."""
    tiers = {e["job"]: e["data"].get("tier") for e in counted if e["kind"] == "job_opened"}
    logs: dict[str, list[float]] = defaultdict(list)
    for event in counted:
        if event["kind"] != "labour_logged" or event["data"]["task"] != "inspection":
            continue
        tier = tiers[event["job"]]
        if tier is not None:
            quoted = TIER_PLAN[tier][0][1]
            logs[tier].append(math.log(event["data"]["minutes"] / quoted))
    for tier, found in logs.items():
        drift = parameters.LABOUR_DRIFT[tier] + 0.9 * parameters.OLD_BIKE_DRIFT
        assert mean(found) == pytest.approx(drift, abs=0.05)
        assert stdev(found) == pytest.approx(parameters.LABOUR_SPREAD, rel=0.12)
    assert set(logs) == set(TIER_PLAN)


def test_prevention_truly_halves_what_it_protects() -> None:
    """With the rear wheel protected, its wheel-truing stops come half as often in that time."""
    counts = []
    for until in (0, 240):
        rng = Random(99)
        bikes = make_bikes(rng, Register(rng, 0), 400, seed=1)
        hits = 0
        for bike in bikes:
            bike.prevented = {"rear_wheel": until}
            for _ in range(240):
                stop = next_stop(rng, bike, 0, 240)
                hits += stop is not None and stop[1].position == "rear_wheel"
        counts.append(hits)
    assert counts[0] > 300
    assert counts[1] / counts[0] == pytest.approx(parameters.PREVENTION_FACTOR, rel=0.25)


def test_a_bike_rides_what_its_season_and_rider_give() -> None:
    """A week's distance is the rider's weekly distance times the month's share."""
    rng = Random(4)
    bike = make_bikes(rng, Register(rng, 0), 60, seed=1)[-1]
    rider = bike.rider
    bike.advance(300)
    before, shown = bike.km, shown_km(bike)
    bike.advance(307)
    key = (rider.riding, rider.lays_up)
    share = (RIDDEN[key][307] - RIDDEN[key][300]) / 7
    assert bike.km - before == pytest.approx(rider.weekly_km * share)
    assert shown_km(bike) >= shown


def test_winter_wears_more_and_a_lay_up_wears_nothing() -> None:
    """A January kilometre wears 1.55 times a fair one; a laid-up bike gathers none at all."""
    first, last = 95, 120  # January 2024
    ridden = RIDDEN["commute", False][last] - RIDDEN["commute", False][first]
    weathered = WEATHERED["commute", False][last] - WEATHERED["commute", False][first]
    assert weathered / ridden == pytest.approx(1.55)
    assert RIDDEN["touring", True][last] == RIDDEN["touring", True][first]


def test_a_chain_past_its_limit_takes_its_cassette_along() -> None:
    """Behind a chain at twice its limit a cassette wears faster than behind a new one."""
    rng = Random(8)
    bikes = [b for b in make_bikes(rng, Register(rng, 0), 200, seed=1) if "cassette" in b.parts]
    bike = bikes[0]
    worn = {}
    for share in (0.0, 2.0):
        bike.parts["chain"].wear = bike.chain_due() * share
        bike.parts["cassette"].wear, bike.day = 0.0, 200
        bike.advance(230)
        worn[share] = bike.parts["cassette"].wear
    assert worn[2.0] > 3.5 * worn[0.0] > 0
