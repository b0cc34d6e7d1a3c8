"""The demo as a shop's book: valid, lawful, and believable at the bench."""

from __future__ import annotations

import json
import re
from collections import Counter, defaultdict
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest

from demo_events.days import COUNT_DAYS, DATES, MIDNIGHTS, available_minutes
from demo_events.generate import commits
from demo_events.names import CURRENCY, SHOP, SHOP_NAME, TIME_ZONE
from demo_events.spool import Plan
from demo_events.visit import HIDDEN_BY
from ledger.book import Book
from ledger.events import event_classes, parse_event
from ledger.vocabulary import standard
from tests.whole_demo import whole_demo

Events = list[dict[str, Any]]
CHAIN_LIMITS = ((11, 0.5), (2, 0.75), (1, 1.0))
"""Common practice: 0.5 % from 11 sprockets on, 0.75 % for 2 to 10, 1 % for one."""


def of_kind(events: Events, *kinds: str) -> Events:
    return [event for event in events if event["kind"] in kinds]


def test_every_event_is_valid(events: Events) -> None:
    """Every event of the demo is one the book's own models accept, as the newest version."""
    for event in events:
        parse_event(dict(event))


def test_every_kind_of_event_but_one_is_there(events: Events) -> None:
    """Pictures there are none: all other kinds appear."""
    missing = {"photo_attached"}
    assert {event["kind"] for event in events} == set(event_classes()) - missing


def test_the_demo_is_as_large_as_it_says(events: Events, truth: dict[str, Any]) -> None:
    """About 60,000 events of 1,600 bikes over three years, 40 % of the bikes seen once."""
    assert len(events) == truth["settings"]["events"]
    assert 54_000 <= len(events) <= 67_000
    jobs = Counter(event["bike"] for event in of_kind(events, "job_opened"))
    second_tags = {e["data"]["second"]["bike"] for e in of_kind(events, "bike_linked")}
    assert second_tags
    assert len(jobs.keys() - second_tags) == 1600
    seen_once = sum(count == 1 for count in jobs.values())
    assert 0.37 <= seen_once / 1600 <= 0.43
    first, last = events[0]["occurred_at"], events[-1]["recorded_at"]
    assert first.startswith("2023-10-01")
    assert last.startswith("2026-09-30")


def test_four_ridings_families_and_fleets(events: Events) -> None:
    """Bikes are ridden in four ways; parents keep children's bikes, fleets keep couriers'."""
    ridings = Counter(e["data"]["riding"] for e in of_kind(events, "bike_registered"))
    assert set(ridings) == {"courier", "commute", "touring", "family"}
    kept: dict[str, set[str]] = defaultdict(set)
    for event in of_kind(events, "rider_changed"):
        if event["data"]["keeper"] != event["data"]["rider"]:
            kept[event["data"]["keeper"]].add(event["data"]["rider"])
    fleets = [keeper for keeper in kept if keeper.startswith("f")]
    parents = [keeper for keeper in kept if keeper.startswith("r")]
    assert len(fleets) == 6
    assert all(len(kept[fleet]) >= 6 for fleet in fleets)
    assert len(parents) > 50


def booked_minutes(counted: Events) -> list[tuple[datetime, str, int]]:
    """Give (when, who, minutes) of all labour, clocked or written down."""
    found = []
    running: dict[tuple[str, str], datetime] = {}
    for event in of_kind(counted, "labour_started", "labour_stopped", "labour_logged"):
        at = datetime.fromisoformat(event["occurred_at"])
        key = (event["actor"], event["job"])
        if event["kind"] == "labour_started":
            running[key] = at
        elif event["kind"] == "labour_stopped":
            minutes = (at - running.pop(key)).total_seconds() / 60
            found.append((at, event["actor"], round(minutes)))
        else:
            found.append((at, event["actor"], event["data"]["minutes"]))
    return found


def test_the_bench_load_is_believable(counted: Events) -> None:
    """Over three years 70 to 88 % of the bench hours are booked, never much over a full week."""
    available: Counter[tuple[int, int]] = Counter()
    for day in range(COUNT_DAYS):
        week = DATES[day].isocalendar()[:2]
        available[week] += sum(available_minutes(bench, day) for bench in range(3))
    booked: Counter[tuple[int, int]] = Counter()
    for at, _, minutes in booked_minutes(counted):
        booked[at.date().isocalendar()[:2]] += minutes
    share = sum(booked.values()) / sum(available.values())
    assert 0.70 <= share <= 0.88
    assert max(available.values()) == 2 * 38 * 60 + 7 * 60
    full = [booked[week] / available[week] for week in available if available[week] > 2000]
    assert max(full) <= 1.1
    assert sum(0.5 <= one <= 1.05 for one in full) / len(full) > 0.8


def test_nobody_stands_at_two_benches_at_once(counted: Events) -> None:
    """The minutes a mechanic books on a day fit into that mechanic's day."""
    by_day: Counter[tuple[date, str]] = Counter()
    for at, actor, minutes in booked_minutes(counted):
        by_day[at.date(), actor] += minutes
    for (moment, actor), minutes in by_day.items():
        day = (moment - DATES[0]).days
        bench = int(actor[1:]) - 1
        assert minutes <= available_minutes(bench, day) + 90, (moment, actor)
        assert available_minutes(bench, day) > 0


def test_spring_brings_more_bikes_than_winter(counted: Events) -> None:
    """More jobs are opened in April and May than in December and January."""
    months = Counter(event["occurred_at"][5:7] for event in of_kind(counted, "job_opened"))
    assert months["04"] + months["05"] > 1.4 * (months["12"] + months["01"])


def test_tiers_differ_and_jobs_run_their_course(counted: Events) -> None:
    """All three tiers are sold, and all but the newest jobs are closed, released and charged."""
    opened = of_kind(counted, "job_opened")
    tiers = Counter(event["data"].get("tier") for event in opened)
    assert set(tiers) == {"quick_check", "full_service", "overhaul", None}
    assert min(tiers.values()) > 100
    closed = {event["job"] for event in of_kind(counted, "job_closed")}
    still_open = [event for event in opened if event["job"] not in closed]
    assert len(still_open) < 60
    assert min(event["occurred_at"] for event in still_open) > "2026-08"


def test_every_name_is_in_the_vocabulary(events: Events) -> None:
    """Positions, quantities, faults, causes, treatments, tasks, ridings and kinds are known."""
    words = standard()
    lists = {
        "position": words.positions, "quantity": words.quantities, "fault": words.faults,
        "symptom": words.faults, "cause": words.causes, "treatment": words.treatments,
        "task": words.tasks, "riding": words.ridings, "bike_kind": words.bike_kinds,
    }  # fmt: skip

    def check(data: Any) -> None:
        for name, value in data.items():
            if name in lists and isinstance(value, str):
                assert value in lists[name], (name, value)
            elif isinstance(value, dict):
                check(value)
            elif isinstance(value, list):
                for item in value:
                    if isinstance(item, dict):
                        check(item)

    for event in events:
        check(event["data"])


def test_what_hides_what_agrees_with_the_vocabulary() -> None:
    """The generator's torque pass knows the same hidden positions as the vocabulary."""
    positions = standard().positions
    for hidden, hiding in HIDDEN_BY.items():
        assert hidden in positions[hiding].hides
        assert positions[hiding].is_torqued


def test_no_two_parts_sit_at_one_position_and_no_part_on_two_bikes(counted: Events) -> None:
    """Fittings and removals, in order of time, never put two things in one place."""
    joined = {e["data"]["second"]["bike"]: e["data"]["first"]["bike"]
              for e in of_kind(counted, "bike_linked")}  # fmt: skip
    there: dict[tuple[str, str], str] = {}
    moves = of_kind(counted, "part_fitted", "part_removed")
    for event in sorted(moves, key=lambda one: (one["occurred_at"], one["seq"])):
        data, bike = event["data"], joined.get(event["bike"], event["bike"])
        place = (bike, data["position"])
        if event["kind"] == "part_removed":
            assert there.pop(place) == data["part"]
            continue
        assert there.pop(place, None) == data.get("replaces")
        there[place] = data["part"]
    assert len(set(there.values())) == len(there)


def test_distances_never_fall_but_with_a_new_computer(counted: Events) -> None:
    """What a bike's computer shows never falls, by the time it was read."""
    last: dict[str, float] = {}
    factors = {"km": 1.0, "mi": 1.609344}
    readings = of_kind(counted, "distance_read")
    for event in sorted(readings, key=lambda one: (one["occurred_at"], one["seq"])):
        odometer = event["data"]["odometer"]
        km = float(odometer["value"]) * factors[odometer["unit"]]
        if not event["data"].get("computer_replaced"):
            assert km >= last.get(event["bike"], 0)
        last[event["bike"]] = km
    replaced = sum(bool(e["data"].get("computer_replaced")) for e in readings)
    assert replaced > 5
    assert {e["data"].get("source", "read") for e in readings} == {"read", "told", "estimated"}


def test_past_a_safety_limit_somebody_is_told_and_answers_before_closing(counted: Events) -> None:
    """Pads read at 0.5 mm or less, and cracked rims, are advised and answered in that job."""
    unsafe: dict[str, set[str]] = defaultdict(set)
    told: dict[str, tuple[str, str]] = {}
    for event in counted:
        data, job = event["data"], event.get("job")
        if event["kind"] == "measured" and data["position"].endswith(".pads"):
            if float(data["value"]["value"]) <= 0.5:
                unsafe[job].add(data["position"])
        elif event["kind"] == "inspected" and data["verdict"] == "unsafe":
            unsafe[job].add(data["position"])
        elif event["kind"] == "advised" and data["verdict"] == "unsafe":
            told[event["id"]] = (job, data["position"])
        elif event["kind"] == "advice_answered" and data["advice"] in told:
            told_job, position = told[data["advice"]]
            assert data["answer"] in ("yes", "no")
            unsafe[told_job].discard(position)
        elif event["kind"] == "job_closed":
            assert not unsafe[job], job
    assert len(told) > 50


def elongation(data: dict[str, Any]) -> float:
    """Give a chain reading in %, or the lowest it can be."""
    if "value" not in data:
        return float(data["low"]["value"]) if "low" in data else 0.0
    value = float(data["value"]["value"])
    if "over_pitches" not in data:
        return value
    nominal = data["over_pitches"] * (0.5 if data["value"]["unit"] == "in" else 12.7)
    return (value / nominal - 1) * 100


def test_no_job_combines_more_than_three_sorts_of_extra_work(counted: Events) -> None:
    """Overlong chain, its consequences, late quote, search, torque or pressure, prevention."""
    sorts: dict[str, set[str]] = defaultdict(set)
    speeds = {e["bike"]: e["data"]["speeds"] for e in of_kind(counted, "bike_registered")}
    for event in counted:
        data, kind, job = event["data"], event["kind"], event.get("job")
        if job is None:
            continue
        if kind == "measured" and data["position"] == "chain":
            due = next(due for least, due in CHAIN_LIMITS if speeds[event["bike"]] >= least)
            if elongation(data) >= due - 1e-6:
                sorts[job].add("overlong")
        elif kind == "part_fitted" and not data.get("is_found"):
            if data["position"] == "cassette" or data["position"].startswith("chainring"):
                sorts[job].add("sprockets")
        elif kind == "quote_given" and data.get("is_found_later"):
            sorts[job].add("late quote")
        elif kind == "diagnosed" and data.get("steps"):
            sorts[job].add("search")
        elif kind == "adjusted" and data.get("quantity") in ("torque", "pressure"):
            sorts[job].add("torque or pressure")
        elif kind == "treated" and data.get("is_preventive"):
            sorts[job].add("prevention")
    extra = [
        found - ({"sprockets"} if "overlong" not in found else set()) for found in sorts.values()
    ]
    assert max(len(found) for found in extra) <= 3
    assert sum({"overlong", "sprockets"} <= found for found in extra) > 30


def test_corrections_strikes_and_restores_are_there(events: Events) -> None:
    """A few events are struck and recorded again, some strikes are mended, some are backdated."""
    strikes = of_kind(events, "event_struck")
    ids = {event["id"] for event in events}
    assert 20 < len(strikes) < 200
    assert all(strike["data"]["target"] in ids for strike in strikes)
    struck = {strike["data"]["target"] for strike in strikes}
    restored = {event["restores"] for event in events if "restores" in event}
    assert len(restored) >= 5
    assert restored <= struck
    late = [e for e in events if e["recorded_at"][:10] != e["occurred_at"][:10]]
    assert len(late) > 200


def test_prices_rise_and_wages_rise_in_the_second_year(events: Events) -> None:
    """A full service is charged at the price that holds on the day it is quoted."""
    terms = of_kind(events, "terms_set")
    assert [one["data"]["from_on"] for one in terms] == ["2023-10-01", "2025-01-01", "2025-04-01"]
    prices: dict[str, set[int]] = defaultdict(set)
    for event in of_kind(events, "quote_given"):
        for line in event["data"]["lines"]:
            if line["code"] == "full_service":
                prices[event["recorded_at"][:4]].add(line["net_minor"])
    assert prices == {"2023": {11600}, "2024": {11600}, "2025": {12300}, "2026": {12300}}


def test_people_are_named_in_the_register_only(events: Events) -> None:
    """No rider's name, nor any fleet's, stands anywhere in an event."""
    import demo_events

    path = Path(demo_events.__file__).parent / "riders.parquet"
    register = pq.read_table(path).to_pylist()
    used = {e["data"][role] for e in of_kind(events, "rider_changed")
            for role in ("rider", "keeper", "payer")}  # fmt: skip
    assert used <= {row["rider"] for row in register}
    assert all(row["contact"].endswith(".invalid") for row in register)
    surnames = {row["name"].split()[-1] for row in register}
    words = set(re.findall(r"[A-Za-zäöü&'-]+", "\n".join(json.dumps(e["data"]) for e in events)))
    assert not surnames & words - {"Post", "Meals", "Parcel", "Runners", "Dispatch", "Errands"}


def test_a_small_demo_passes_the_books_own_door(tmp_path: Path) -> None:
    """Eighty bikes' events go through every rule into a book and are all there afterwards."""
    made = list(commits(Plan(seed=21, count_bikes=80)))
    book = Book.init(
        tmp_path / "book", shop=SHOP, name=SHOP_NAME, currency=CURRENCY, time_zone=TIME_ZONE
    )
    book.import_own(made)
    assert book.head.size == sum(len(commit) for commit in made)


@pytest.mark.slow
def test_the_whole_demo_passes_the_books_own_door(
    tmp_path_factory: pytest.TempPathFactory, rows: Events
) -> None:
    """Every commit of the demo goes through every rule into the book that is built of it."""
    book = Book.open(whole_demo(tmp_path_factory))
    assert book.head.size == len(rows)
    assert book.head.commit == max(row["commit"] for row in rows)


def test_local_midnights_follow_the_clock_changes() -> None:
    """Days start at midnight in the shop's zone, an hour earlier in UTC in summer."""
    winter = datetime.fromtimestamp(MIDNIGHTS[(date(2024, 1, 15) - DATES[0]).days], UTC)
    summer = datetime.fromtimestamp(MIDNIGHTS[(date(2024, 7, 15) - DATES[0]).days], UTC)
    assert winter == datetime(2024, 1, 14, 23, tzinfo=UTC)
    assert summer == datetime(2024, 7, 14, 22, tzinfo=UTC)
    assert timedelta(0) < summer - winter
