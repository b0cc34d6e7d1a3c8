"""A small book of quoted, worked and charged jobs, told by hand, so that every figure is known.

Ten full services of 60 quoted minutes, `60.00`, took 60, 66, 72 … 114 minutes: ratios 1.0 to 1.9.
Three quick checks of 20 minutes, `25.00`, took 20 each: too few to judge. In the first service 30
minutes of brakes were found later, agreed and charged at 30.00; a rider turned down a chain for
20.00 and had one fitted for 50.00 later. One job is open.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from small_book import empty_book, event, shop_events

from ledger.book import Book

TAGS = [f"7K3M9Q0{sign}" for sign in "0123456789"]
AS_AT = "2025-06-30"
"""The day the book is looked at."""
ON_THE_BENCH = "9C3V7XKM"
OPEN_JOB = "open-1"
SERVICE, CHECK = "full_service", "quick_check"
WORKED = [60 + 6 * number for number in range(10)]
ZONE = "+02:00"


def terms() -> dict:
    """Give the shop's terms from 2024 on."""
    tasks = [{"task": "drivetrain", "minutes": 40}, {"task": "brakes", "minutes": 20}]
    service = {"code": SERVICE, "label": "full service", "price_minor": 6000, "minutes": 60,
               "tasks": tasks}  # fmt: skip
    check = {"code": CHECK, "label": "quick check", "price_minor": 2500, "minutes": 20,
             "tasks": [{"task": "inspection", "minutes": 20}]}  # fmt: skip
    data = {
        "from_on": "2024-01-01",
        "tiers": [service, check],
        "labour_rate_minor": 6000,
        "consumables_minor": 0,
        "fixed_cost_minor": 100_000,
        "sellable_hours": "20",
        "paid_hours": "30",
        "wages": [{"mechanic": "ada", "minor_per_hour": 2400}],
    }
    return event("terms_set", "2024-01-02T08:00:00+01:00", None, **data)


def line(name: str, code: str, minutes: int, net: int) -> dict[str, Any]:
    """Give a line of labour."""
    return {"line": name, "line_type": "labour", "code": code, "minutes": minutes, "net_minor": net}


def quoted(job: str, at: str, bike: str, *lines: dict, later: bool = False) -> list[dict]:
    """Give a quote with its lines, all answered yes five minutes after."""
    name = f"{job}-{'late' if later else 'first'}"
    found = {"is_found_later": True} if later else {}
    give = {"quote": name, "form": "fixed", "currency": "EUR", "lines": list(lines), **found}
    answers = [{"line": one["line"], "answer": "yes"} for one in lines]
    yes = {"quote": name, "answers": answers, "how": "in person"}
    return [
        event("quote_given", f"{at}:00{ZONE}", bike, job, **give),
        event("quote_answered", f"{at}:30{ZONE}", bike, job, **yes),
    ]


def charged(lines: list[dict], *more: dict) -> dict[str, Any]:
    """Give what closing charges: each quoted line as it was quoted, and more."""
    own = [one | {"line": f"{one['line']}-c", "quote_line": one["line"]} for one in lines]
    return {"currency": "EUR", "lines": [*own, *more]}


def worked(job: str, at: str, bike: str, task: str, minutes: int, kind: str = "quoted") -> dict:
    """Give minutes entered afterwards."""
    data = {"task": task, "minutes": minutes, "minutes_kind": kind}
    return event("labour_logged", f"{at}:00{ZONE}", bike, job, **data)


def service(number: int) -> list[dict]:
    """Give a full service that took 60 and six times its number of minutes."""
    bike, job, day = TAGS[number], f"service-{number}", f"2025-04-{number + 7:02}"
    first, late = line(f"{job}-a", SERVICE, 60, 6000), line(f"{job}-b", "brakes", 30, 3000)
    lines = [first, late] if number == 0 else [first]
    third = WORKED[number] // 3
    return [
        event("job_opened", f"{day}T09:00:00{ZONE}", bike, job, tier=SERVICE),
        *quoted(job, f"{day}T09:05", bike, first),
        worked(job, f"{day}T11:00", bike, "drivetrain", WORKED[number] - third),
        worked(job, f"{day}T12:00", bike, "brakes", third),
        *(quoted(job, f"{day}T12:10", bike, late, later=True) if number == 0 else ()),
        *((worked(job, f"{day}T13:00", bike, "brakes", 30, "found later"),) if number == 0 else ()),
        event("released", f"{day}T15:50:00{ZONE}", bike, job, is_test_ridden=True),
        event("job_closed", f"{day}T16:00:00{ZONE}", bike, job, **charged(lines)),
    ]


def check(number: int) -> list[dict]:
    """Give a quick check that took what was quoted, on a bike that was seen before."""
    bike, job, day = TAGS[number], f"check-{number}", f"2025-05-{number + 5:02}"
    first = line(f"{job}-a", CHECK, 20, 2500)
    return [
        event("job_opened", f"{day}T09:00:00{ZONE}", bike, job, tier=CHECK),
        *quoted(job, f"{day}T09:05", bike, first),
        worked(job, f"{day}T10:00", bike, "inspection", 20),
        event("released", f"{day}T10:30:00{ZONE}", bike, job, is_test_ridden=True),
        event("job_closed", f"{day}T10:40:00{ZONE}", bike, job, **charged([first])),
    ]


def chain_advice() -> list[dict]:
    """Give a chain advised for 20.00 and turned down, and one fitted for 50.00 in June."""
    bike, job = TAGS[5], "chain-5"
    advised = {"position": "chain", "verdict": "watch", "urgency": "soon", "price_minor": 2000,
               "currency": "EUR"}  # fmt: skip
    chain = {"line": f"{job}-a", "line_type": "part", "code": "K10", "position": "chain",
             "net_minor": 5000, "cost_minor": 2500}  # fmt: skip
    day = "2025-06-10"
    return [
        event("advised", f"2025-04-12T14:00:00{ZONE}", bike, "service-5", **advised),
        event("job_opened", f"{day}T09:00:00{ZONE}", bike, job),
        *quoted(job, f"{day}T09:05", bike, chain),
        event("released", f"{day}T10:30:00{ZONE}", bike, job, is_test_ridden=True),
        event("job_closed", f"{day}T10:40:00{ZONE}", bike, job, **charged([chain])),
    ]


def bikes() -> list[dict]:
    """Give ten city bikes and one on the bench."""
    named = {"make": "Varde", "model": "Tourer 28", "bike_kind": "city"}
    at = "2025-02-03T09:00:00+01:00"
    return [event("bike_registered", at, tag, **named) for tag in [*TAGS, ON_THE_BENCH]]


def open_job(opened: datetime | None = None) -> dict:
    """Give a job that is open, by default since June 2025."""
    at = opened or datetime(2025, 6, 26, 7, tzinfo=UTC)
    return event("job_opened", at.isoformat(), ON_THE_BENCH, OPEN_JOB, tier=SERVICE)


def paid_book(path: Path, *, opened: datetime | None = None) -> Book:
    """Make the book."""
    book = empty_book(path)
    book.append([*shop_events(), terms()])
    book.append(bikes())
    drafts = [draft for number in range(10) for draft in service(number)]
    drafts += [draft for number in range(3) for draft in check(number)]
    drafts += [*chain_advice(), open_job(opened)]
    book.append(sorted(drafts, key=lambda draft: datetime.fromisoformat(draft["occurred_at"])))
    return book


def yesterday() -> datetime:
    """Give an instant of the day before, in the morning."""
    return datetime.now(UTC) - timedelta(days=1)
