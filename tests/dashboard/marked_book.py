"""A book whose owner-only figures are told apart at sight: wages, costs, worth, others' minutes.

That of `paid_book`, and a wage of 43.21, costs of 987.65, goodwill worth 567.89, fixed cost of
76,543.21, a colleague's 443 and 449 minutes, one of them on a job that came back, and a clock of
theirs that runs.
"""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

from paid_book import OPEN_JOB, TAGS, ZONE, charged, line, paid_book, quoted, terms
from small_book import event

from ledger import clocks
from ledger.asking import OWNER, Asker
from ledger.book import Book

BO = "bo"
"""The colleague."""
MARKS = ("43.21", "4321", "987.65", "98765", "567.89", "56789", "76,543.21", "7654321", "77.77",
         "443", "449", "7:23", "7:29")  # fmt: skip
"""How they would be shown."""
QUOTED = {"€60.00", "€25.00", "€30.00", "€20.00", "€50.00", "€90.00", "€0.00", "€4.50"}
"""What was named to a keeper, or is the posted rate."""
FAULT = {"position": "rear_brake.pads", "fault": "squeal"}
LATER = "2025-06"


def marked_terms() -> dict:
    """Give terms with marked wages and cost, from the same day on."""
    made = terms()
    made["data"] |= {
        "fixed_cost_minor": 7_654_321,
        "consumables_minor": 7_777,
        "wages": [{"mechanic": name, "minor_per_hour": 4321} for name in ("ada", BO)],
    }
    return made | {"occurred_at": "2024-01-03T08:00:00+01:00"}


def by_bo(draft: dict) -> dict:
    """Give an event as the colleague's."""
    return draft | {"actor": BO}


def job(name: str, day: str, minutes: int, kind: str, **opened: Any) -> list[dict]:
    """Give a job the colleague worked on, with a part that cost a marked sum."""
    bike, first = TAGS[0], line(f"{name}-a", "brakes", 20, 2000)
    part = {"line": f"{name}-p", "line_type": "part", "code": "K10", "position": "rear_brake.pads",
            "net_minor": 0, "cost_minor": 98_765, "is_goodwill": True}  # fmt: skip
    worked = {"task": "brakes", "minutes": minutes, "minutes_kind": kind}
    right = {"position": "rear_brake.pads", "treatment": "cleaned", "puts_right": FAULT}
    worth = {"task": "brakes", "minutes": minutes, "value_minor": 56_789, "currency": "EUR"}
    at = f"{LATER}-{day}T"
    events = [
        event("job_opened", f"{at}09:00:00{ZONE}", bike, name, tier="full_service", **opened),
        *quoted(name, f"{at}09:05", bike, first),
        event("inspected", f"{at}09:10:00{ZONE}", bike, name, verdict="watch", **FAULT),
        event("treated", f"{at}09:20:00{ZONE}", bike, name, **right),
        event("labour_logged", f"{at}10:00:00{ZONE}", bike, name, **worked),
        event("goodwill_given", f"{at}10:05:00{ZONE}", bike, name, **worth),
        event("released", f"{at}15:50:00{ZONE}", bike, name, is_test_ridden=True),
        event("job_closed", f"{at}16:00:00{ZONE}", bike, name, **charged([first], part)),
    ]
    return [by_bo(one) for one in events]


def marked_book(path: Path) -> Book:
    """Make the book."""
    book = paid_book(path)
    registered = event("mechanic_registered", "2024-01-03T08:00:00+01:00", None, mechanic=BO,
                       name="Bo")  # fmt: skip
    book.append([registered, marked_terms()], confirm_clock=True)
    book.append(job("squeal-1", "02", 443, "quoted"), confirm_clock=True)
    book.append(job("squeal-2", "20", 449, "come-back", come_back_of="squeal-1"))
    started = clocks.start_draft((), BO, "9C3V7XKM", OPEN_JOB, "brakes",
                                 at=datetime.now(UTC) - timedelta(minutes=1))  # fmt: skip
    book.append([started], confirm_clock=True)
    return book


AS_ROLE = {"owner": OWNER, "mechanic": Asker("mechanic", "ada"), "desk": Asker("desk")}
