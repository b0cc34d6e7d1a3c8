"""Small books whose come-backs can be told by hand: visits that find, put right, and find again."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from ledger.book import Book

GULL, TERN, CROW = "7K3M9QXA", "2B4D6F8H", "4T2N8RWE"
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)
Draft = dict[str, Any]
PADS = "rear_brake.pads"


def book_of(folder: Path, *visits: list[Draft], **settings: Any) -> Book:
    """Give a book in which these things happened, recorded at NOW; its money is euros."""
    book = Book.init(folder / "book", shop="quay", name="Quay Bench", clock=lambda: NOW, **settings)
    # Bills of before anything had to be quoted: figures read those too.
    drafts = [draft for visit in visits for draft in visit]
    book.append(drafts, confirm_clock=True, is_brought_in=True)
    return book


def event(
    at: str, kind: str, bike: str | None, data: dict[str, Any], job: str | None = None,
    actor: str = "mia",
) -> Draft:  # fmt: skip
    """Give one event; `at` is a day, at noon, or a day and a time."""
    moment = f"{at}:00Z" if "T" in at else f"{at}T12:00:00Z"
    of = {name: value for name, value in (("bike", bike), ("job", job)) if value}
    return {"kind": kind, "actor": actor, "occurred_at": moment, "data": data, **of}


def registered(*bikes: str) -> list[Draft]:
    """Give bikes that are there since 2025."""
    return [event("2025-01-01", "bike_registered", bike, {"speeds": 9}) for bike in bikes]


def terms(day: str, **data: Any) -> list[Draft]:
    """Give terms from a day on."""
    return [event("2025-01-01", "terms_set", None, {"from_on": day, **data})]


def wages(day: str, **minor_per_hour: int) -> list[Draft]:
    """Give mechanics' wages from a day on."""
    told = [{"mechanic": who, "minor_per_hour": one} for who, one in minor_per_hour.items()]
    return terms(day, wages=told)


def found(fault: str, position: str = PADS, cause: str | None = None) -> tuple[str, dict[str, Any]]:
    """Give a look that finds a fault."""
    data = {"position": position, "verdict": "due", "fault": fault}
    return "inspected", {**data, "cause": cause} if cause else data


def cured(
    fault: str, position: str = PADS, cause: str | None = None, treatment: str = "cleaned"
) -> tuple[str, dict[str, Any]]:
    """Give work that puts a fault right."""
    right = {"fault": fault, **({"cause": cause} if cause else {})}
    return "treated", {"position": position, "treatment": treatment, "puts_right": right}


def worked(minutes: int, kind: str = "come-back", task: str = "brakes") -> tuple[str, Any]:
    """Give minutes worked."""
    return "labour_logged", {"task": task, "minutes": minutes, "minutes_kind": kind}


def line(number: int, cost: int | None = None, **more: Any) -> dict[str, Any]:
    """Give a line of a bill, of a part given away unless it says otherwise."""
    told = {"line": f"l{number}", "line_type": "part", "code": "pads", "net_minor": 0, **more}
    return told if cost is None else {**told, "cost_minor": cost}


def visit(
    day: str, bike: str, job: str, *things: tuple[str, dict[str, Any]],
    lines: tuple[dict[str, Any], ...] = (), tier: str | None = None, actor: str = "mia",
    is_closed: bool = True, **opened: Any,
) -> list[Draft]:  # fmt: skip
    """Give one visit: opened at nine, its things at ten past and on, closed at four."""
    told = {**({"tier": tier} if tier else {}), **opened}
    drafts = [event(f"{day}T09:00", "job_opened", bike, told, job, actor)]
    for place, (kind, data) in enumerate(things):
        drafts.append(event(f"{day}T10:{place:02}", kind, bike, data, job, actor))
    if is_closed:
        bill = {"currency": "EUR", "lines": list(lines)} if lines else {}
        drafts.append(event(f"{day}T16:00", "job_closed", bike, bill, job, actor))
    return drafts


def squeal_twice(bike: str = GULL, **second: Any) -> list[Draft]:
    """Give a squeal put right on 1 March 2026 and found again 40 days later, with its visits."""
    return [
        *visit("2026-03-01", bike, f"{bike}-1", found("squeal"), cured("squeal")),
        *visit("2026-04-10", bike, f"{bike}-2", found("squeal"), cured("squeal"),
               worked(25), **second),
    ]  # fmt: skip
