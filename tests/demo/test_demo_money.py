"""What the demo's shop asks, agrees, charges and clocks: nothing on silence, and all of it true."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from demo_events.names import TIME_ZONE
from demo_events.parameters import TIER_PLAN

Events = list[dict[str, Any]]
ZONE = ZoneInfo(TIME_ZONE)


def of_kind(events: Events, *kinds: str) -> Events:
    return [event for event in events if event["kind"] in kinds]


def day_of(event: dict[str, Any]) -> str:
    return datetime.fromisoformat(event["occurred_at"]).astimezone(ZONE).date().isoformat()


def quotes_by_job(counted: Events) -> dict[str, dict[str, dict[str, Any]]]:
    found: dict[str, dict[str, dict[str, Any]]] = defaultdict(dict)
    for event in of_kind(counted, "quote_given"):
        found[event["job"]][event["data"]["quote"]] = event["data"]
    return found


def agreed_lines(counted: Events) -> dict[tuple[str, str], int]:
    """Give the price of every line of a standing quote whose last answer is yes, by job."""
    answers = {
        (event["job"], event["data"]["quote"], one["line"]): one["answer"]
        for event in of_kind(counted, "quote_answered")
        for one in event["data"]["answers"]
    }
    agreed = {}
    for job, quotes in quotes_by_job(counted).items():
        replaced = {data.get("replaces") for data in quotes.values()}
        for name, data in quotes.items():
            for line in data["lines"]:
                if name not in replaced and answers.get((job, name, line["line"])) == "yes":
                    agreed[job, line["line"]] = line["net_minor"]
    return agreed


def test_every_charged_line_was_agreed_and_at_that_price_at_most(counted: Events) -> None:
    """Each line charged names one agreed line, once; all else is goodwill at nil."""
    agreed, count = agreed_lines(counted), 0
    for event in of_kind(counted, "job_closed"):
        lines = event["data"].get("lines", [])
        paid = [line for line in lines if not line.get("is_goodwill")]
        assert all(line["net_minor"] == 0 for line in lines if line.get("is_goodwill"))
        assert len({line["quote_line"] for line in paid}) == len(paid)
        for line in paid:
            assert line["net_minor"] <= agreed[event["job"], line["quote_line"]]
        count += len(paid)
    assert count > 8000


def test_some_quotes_replace_one_that_was_too_dear(counted: Events) -> None:
    """The newer version is never dearer, and nobody answers the older one."""
    answered = {event["data"]["quote"] for event in of_kind(counted, "quote_answered")}
    pairs = [
        (quotes[data["replaces"]], data)
        for quotes in quotes_by_job(counted).values()
        for data in quotes.values()
        if "replaces" in data
    ]
    assert 40 <= len(pairs) <= 90
    for older, newer in pairs:
        sums = [sum(line["net_minor"] for line in data["lines"]) for data in (newer, older)]
        assert sums[0] <= sums[1]
        assert older["quote"] not in answered


def test_clocks_are_paused_at_midday_and_go_on_the_same_day(counted: Events) -> None:
    """After a pause the same mechanic's next clock goes on with the same task of the same job."""
    clocks = defaultdict(list)
    for event in of_kind(counted, "labour_started", "labour_stopped"):
        clocks[event["actor"]].append(event)
    count = 0
    for events in clocks.values():
        events.sort(key=lambda event: event["occurred_at"])
        for start, stop, again in zip(events, events[1:], events[2:], strict=False):
            if not stop["data"].get("is_paused"):
                continue
            count += 1
            same = ("job", "data")
            assert [start[name] for name in same] == [again[name] for name in same]
            assert day_of(start) == day_of(stop) == day_of(again)
            span = datetime.fromisoformat(again["occurred_at"]) - datetime.fromisoformat(
                stop["occurred_at"]
            )
            assert timedelta(minutes=29) < span < timedelta(minutes=32)
    assert count > 80


def test_a_tiers_tasks_make_up_its_minutes(events: Events) -> None:
    """The terms say what each tier's minutes are for, before and after the rise in prices."""
    told = [
        tier for event in of_kind(events, "terms_set") for tier in event["data"].get("tiers", [])
    ]
    assert len(told) == 6
    for tier in told:
        tasks = [(share["task"], share["minutes"]) for share in tier["tasks"]]
        assert tuple(tasks) == TIER_PLAN[tier["code"]]
        assert sum(minutes for _, minutes in tasks) == tier["minutes"]


def test_somebody_judges_a_few_come_backs_and_says_the_truth(
    counted: Events, true_repairs: list[dict[str, Any]]
) -> None:
    """What is judged a come-back truly came back from that job; what is judged none did not."""
    opened = {event["job"]: event for event in of_kind(counted, "job_opened")}
    returning = {row["job"] for row in true_repairs if row["returns_after_days"] is not None}
    judged = of_kind(counted, "come_back_judged")
    for event in judged:
        if event["data"]["is_come_back"]:
            assert event["data"]["answers"] in returning
        else:
            assert "come_back_of" not in opened[event["job"]]["data"]
    yes = sum(event["data"]["is_come_back"] for event in judged)
    assert yes >= 5
    assert len(judged) - yes >= 2


def test_on_the_last_day_some_open_jobs_are_promised_for_it(counted: Events) -> None:
    """What is promised today and not begun is what today's bench has to take."""
    closed = {event["job"] for event in of_kind(counted, "job_closed")}
    promised = [
        event["data"]["promised_at"]
        for event in of_kind(counted, "job_opened")
        if event["job"] not in closed
    ]
    assert sum(moment.startswith("2026-09-30") for moment in promised) >= 2
