"""A shop whose minutes and money can be reckoned by hand, put into the book of the folder.

An hour of m1 costs 24.00 and takes 1.20 of consumables; the fixed cost of 3,652.50 a month over
84 sellable hours a week is 10.00 an hour: 3652.50 x 12 / (365.25 / 7 x 84).
"""

from __future__ import annotations

from typing import Any

from worn_bikes import OTHER, Draft, recorded

PERIOD = ("--since", "2026-01-01", "--until", "2026-03-31")
AS_AT = ("--as-at", "2026-04-01")
CURRENCY = "EUR"


def draft(kind: str, at: str, bike: str | None = None, job: str | None = None,
          **data: Any) -> Draft:  # fmt: skip
    of = {name: one for name, one in {"bike": bike, "job": job}.items() if one}
    return {"kind": kind, "actor": "m1", "occurred_at": f"{at}:00Z", "data": data, **of}


def terms() -> Draft:
    tasks = [{"task": "drivetrain", "minutes": 80}, {"task": "brakes", "minutes": 40}]
    tier = {"code": "full_service", "label": "full service", "price_minor": 13000, "minutes": 120,
            "tasks": tasks}  # fmt: skip
    return draft(
        "terms_set", "2025-01-01T10:00", from_on="2025-01-01", labour_rate_minor=6000,
        fixed_cost_minor=365_250, consumables_minor=120, sellable_hours="84", paid_hours="84",
        wages=[{"mechanic": "m1", "minor_per_hour": 2400}], tiers=[tier],
    )  # fmt: skip


def bike(tag: str) -> Draft:
    return draft("bike_registered", "2025-01-02T10:00", tag, speeds=9, bike_kind="cargo")


def line(code: str, net_minor: int, minutes: int | None = None, **more: Any) -> dict[str, Any]:
    found = {"line": "a", "line_type": "labour", "code": code, "net_minor": net_minor, **more}
    return {**found, "minutes": minutes} if minutes else found


def agreed(day: str, tag: str, job: str, quote: str, *lines: dict[str, Any], answer: str = "yes",
           **more: Any) -> list[Draft]:  # fmt: skip
    """Give a quote, and its answer to every line."""
    named = [{**one, "line": f"{quote}.{place}"} for place, one in enumerate(lines)]
    said = [{"line": one["line"], "answer": answer} for one in named]
    return [
        draft("quote_given", f"{day}T09:10", tag, job, quote=quote, form="fixed",
              currency=CURRENCY, lines=named, **more),
        draft("quote_answered", f"{day}T09:20", tag, job, quote=quote, answers=said,
              how="in person"),
    ]  # fmt: skip


def serviced(day: str, tag: str, job: str) -> list[Draft]:
    """Give a full service quoted at 120 minutes and 120.00, in which 150 minutes were worked."""
    own = line("full_service", 12000, 120)
    return [
        draft("job_opened", f"{day}T09:00", tag, job, tier="full_service"),
        *agreed(day, tag, job, f"{job}.q", own),
        draft("labour_logged", f"{day}T12:00", tag, job, task="drivetrain", minutes=110),
        draft("labour_logged", f"{day}T13:00", tag, job, task="brakes", minutes=40),
        draft("job_closed", f"{day}T16:00", tag, job, currency=CURRENCY,
              lines=[{**own, "line": f"{job}.c", "quote_line": f"{job}.q.0"}]),
    ]  # fmt: skip


def found_more(day: str, tag: str, job: str) -> list[Draft]:
    """Give a job of no tier: gears agreed to; pads found later agreed to, bearings not."""
    gears = line("gears", 3000, 30)
    pads = line("Quay pads", 2500, line_type="part", position="rear_brake.pads", cost_minor=1200)
    return [
        draft("job_opened", f"{day}T09:00", tag, job),
        *agreed(day, tag, job, f"{job}.q", gears),
        draft("labour_logged", f"{day}T12:00", tag, job, task="gears", minutes=30),
        *agreed(day, tag, job, f"{job}.r", pads, is_found_later=True),
        *agreed(day, tag, job, f"{job}.s", line("bearings", 5000, 50), answer="no",
                is_found_later=True),
        draft("labour_logged", f"{day}T13:00", tag, job, task="brakes", minutes=15,
              minutes_kind="found later"),
        draft("job_closed", f"{day}T16:00", tag, job, currency=CURRENCY, lines=[
            {**gears, "line": f"{job}.c", "quote_line": f"{job}.q.0"},
            {**pads, "line": f"{job}.d", "quote_line": f"{job}.r.0"},
        ]),
    ]  # fmt: skip


def held(day: str, tag: str, job: str) -> list[Draft]:
    """Give a job that waits for a part."""
    return [
        draft("job_opened", f"{day}T09:00", tag, job, tier="full_service"),
        draft("job_held", f"{day}T10:00", tag, job, waiting_for="part"),
    ]


def a_quarter(tag: str) -> None:
    """Record eight full services, one job where more was found, and one that is held."""
    days = [f"2026-0{month}-{day}" for month in (1, 2) for day in ("05", "12", "19", "26")]
    services = [one for at, day in enumerate(days, 1) for one in serviced(day, tag, f"s{at}")]
    recorded(terms(), bike(tag), bike(OTHER), *services, *found_more("2026-03-02", OTHER, "k1"),
             *held("2026-03-30", OTHER, "h1"))  # fmt: skip
