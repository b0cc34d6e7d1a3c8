"""Random books of jobs: quotes, answers, clocks, bills, come-backs, holds, advice, changing terms.

They are wilder than the rules allow, so that figures have one answer for every book of events.
"""

from __future__ import annotations

import random
from datetime import UTC, date, datetime, timedelta
from typing import Any
from uuid import UUID

from ledger.events import Event, parse_event

SHOP = "quayside"
BIKES = ("7K3M9QXA", "2B4D6F8H", "4T2N8RWE")
BEGAN = datetime(2025, 1, 5, 7, tzinfo=UTC)
TIERS = ("quick_check", "full_service", "overhaul")
TASKS = ("inspection", "brakes", "drivetrain", "gears")
POSITIONS = ("rear_brake.pads", "rear_brake.rotor", "chain", "cassette", "fork")
KINDS = ("quoted", "quoted", "found later", "come-back", "goodwill")
WHO = ("mia", "tom", "ada")
Raw = dict[str, Any]


class Book:
    """Events put together one after another from a source of chance."""

    def __init__(self, chance: random.Random) -> None:
        self.chance = chance
        self.raws: list[Raw] = []

    def event(self, at: datetime, kind: str, bike: str | None, data: Raw, job: str | None = None,
              actor: str = "mia") -> str:  # fmt: skip
        number = len(self.raws) + 1
        name = str(UUID(int=(number << 80) | (0x7 << 76) | (0b10 << 62) | number))
        raw = {"id": name, "seq": number, "kind": kind, "shop": SHOP, "actor": actor,
               "occurred_at": at, "recorded_at": datetime(2027, 1, 1, tzinfo=UTC),
               "data": data}  # fmt: skip
        self.raws.append(raw | ({"bike": bike} if bike else {}) | ({"job": job} if job else {}))
        return name

    def some(self, share: float) -> bool:
        return self.chance.random() < share


def book_events(chance: random.Random, jobs: int = 14) -> list[Event]:
    """Give the events of a shop of a few bikes in seq order."""
    book = Book(chance)
    for _ in range(chance.randrange(5)):
        _terms(book)
    for bike in BIKES:
        kind = chance.choice((None, "city", "road"))
        data = {"bike_kind": kind} if kind else {}
        book.event(BEGAN, "bike_registered", bike, data)
    for number in range(jobs):
        _job(book, number)
    for _ in range(chance.randrange(4)):
        _terms(book)
    if book.some(0.3):
        ends = {"first": {"bike": BIKES[0]}, "second": {"bike": BIKES[1]}}
        book.event(BEGAN, "bike_linked", None, ends)
    for _ in range(chance.randrange(6)):
        target = chance.choice([raw for raw in book.raws if raw["kind"] != "event_struck"])
        book.event(target["occurred_at"], "event_struck", target.get("bike"),
                   {"target": target["id"], "reason": "no"})  # fmt: skip
    return [parse_event(raw) for raw in book.raws]


def _terms(book: Book) -> None:
    chance = book.chance
    told = {
        "labour_rate_minor": chance.randrange(4000, 7000),
        "rounding": chance.choice(("half even", "half up")),
        "fixed_cost_minor": chance.randrange(100_000, 400_000),
        "consumables_minor": chance.randrange(1, 400),
        "sellable_hours": chance.choice(("66", "40.5", "38.25")),
        "paid_hours": chance.choice(("80", "70.5")),
        "wages": [{"mechanic": who, "minor_per_hour": chance.randrange(1500, 4000)}
                  for who in WHO if book.some(0.7)],
        "tiers": [_tier(book, code) for code in TIERS if book.some(0.8)],
    }  # fmt: skip
    data = {name: value for name, value in told.items() if book.some(0.75)}
    day = date(2025, 1, 1) + timedelta(days=chance.randrange(400))
    book.event(BEGAN, "terms_set", None, {"from_on": str(day), **data})


def _tier(book: Book, code: str) -> Raw:
    tasks = [{"task": task, "minutes": book.chance.randrange(60)}
             for task in TASKS if book.some(0.6)]  # fmt: skip
    more = {"tasks": tasks} if tasks and book.some(0.7) else {}
    return {"code": code, "label": code, "minutes": book.chance.randrange(20, 200),
            "price_minor": book.chance.randrange(20_000), **more}  # fmt: skip


def _job(book: Book, number: int) -> None:
    chance, bike, job = book.chance, book.chance.choice(BIKES), f"j{number}"
    at = BEGAN + timedelta(days=chance.randrange(380), hours=chance.randrange(18))
    opened: Raw = {"tier": chance.choice(TIERS)} if book.some(0.7) else {}
    if number and book.some(0.35):
        opened["come_back_of"] = f"j{chance.randrange(number)}"
    if book.some(0.5):
        opened["promised_at"] = (at + timedelta(days=4)).isoformat()
    book.event(at, "job_opened", bike, opened, job)
    quoted: list[Raw] = []
    for place in range(chance.randrange(4)):
        at += timedelta(hours=chance.randrange(4))
        quoted += _quote(book, at, bike, job, place, opened.get("tier"))
    for _ in range(chance.randrange(6)):
        at += timedelta(hours=chance.randrange(9))
        _stretch(book, at, bike, job)
    for _ in range(chance.randrange(3)):
        at += timedelta(hours=chance.randrange(40))
        data = {"waiting_for": chance.choice(("answer", "part", "payment", "other"))}
        kind = chance.choice(("job_held", "job_held", "job_resumed"))
        book.event(at, kind, bike, data if kind == "job_held" else {}, job)
    if book.some(0.5):
        _advice(book, at, bike, job)
    if book.some(0.15) and number:
        answers = f"j{chance.randrange(number)}" if book.some(0.6) else None
        judged = {"is_come_back": answers is not None, **({"answers": answers} if answers else {})}
        book.event(at, "come_back_judged", bike, judged, job)
    if book.some(0.85):
        _close(book, at + timedelta(hours=chance.randrange(60)), bike, job, quoted)


def _line(book: Book, name: str, tier: str | None) -> Raw:
    chance = book.chance
    kind = chance.choice(("labour", "labour", "part", "consumable", "other"))
    code = chance.choice((tier or "brakes", *TASKS)) if kind == "labour" else f"{kind} nine"
    line = {"line": name, "line_type": kind, "code": code, "net_minor": chance.randrange(9000)}
    if kind == "labour":
        line |= {"minutes": chance.randrange(90)} if book.some(0.9) else {}
    elif book.some(0.8):
        line["cost_minor"] = chance.randrange(4000)
    if book.some(0.6):
        line["position"] = chance.choice(POSITIONS)
    if book.some(0.1):
        line["net_minor"] = 0
    return line


def _quote(
    book: Book, at: datetime, bike: str, job: str, place: int, tier: str | None
) -> list[Raw]:
    chance, quote = book.chance, f"{job}.q{place}"
    lines = [_line(book, f"{quote}.{n}", tier) for n in range(chance.randrange(1, 4))]
    data = {"quote": quote, "form": chance.choice(("fixed", "up to")), "currency": "EUR",
            "lines": lines, "is_found_later": book.some(0.3)}  # fmt: skip
    if place and book.some(0.35):
        data["replaces"] = f"{job}.q{chance.randrange(place)}"
    book.event(at, "quote_given", bike, data, job)
    for _ in range(chance.randrange(3)):
        answers = [
            {"line": line["line"], "answer": chance.choice(("yes", "yes", "yes", "no", "later"))}
            for line in lines
            if book.some(0.8)
        ]
        if answers:
            later = at + timedelta(minutes=chance.randrange(90))
            book.event(later, "quote_answered", bike,
                       {"quote": quote, "answers": answers, "how": "phone"}, job)  # fmt: skip
    return lines


def _stretch(book: Book, at: datetime, bike: str, job: str) -> None:
    chance, who = book.chance, book.chance.choice(WHO)
    minutes, kind, task = chance.randrange(120), chance.choice(KINDS), chance.choice(TASKS)
    how = chance.randrange(5)
    if how == 0:
        more = {"task": task} if book.some(0.5) else {}
        book.event(at, "goodwill_given", bike, {"minutes": minutes, **more}, job, who)
    elif how == 1:
        data = {"task": task, "minutes_kind": kind}
        book.event(at, "labour_started", bike, data, job, who)
        end = at + timedelta(minutes=minutes)
        book.event(end, "labour_stopped", bike, {"minutes": minutes}, job, who)
    else:
        data = {"task": task, "minutes": minutes, "minutes_kind": kind}
        book.event(at, "labour_logged", bike, data, job, who)


def _advice(book: Book, at: datetime, bike: str, job: str) -> None:
    chance = book.chance
    data = {"position": chance.choice(POSITIONS), "verdict": "due", "urgency": "soon"}
    if book.some(0.85):
        data |= {"price_minor": chance.randrange(6000), "currency": "EUR"}
    advice = book.event(at, "advised", bike, data, job)
    for _ in range(chance.randrange(3)):
        answer = chance.choice(("yes", "no", "later", "no reply"))
        book.event(at + timedelta(hours=1), "advice_answered", bike,
                   {"advice": advice, "answer": answer, "how": "phone"}, job)  # fmt: skip


def _close(book: Book, at: datetime, bike: str, job: str, quoted: list[Raw]) -> None:
    lines = []
    for line in quoted:
        if book.some(0.7):
            charged = {**line, "line": f"{line['line']}c", "quote_line": line["line"]}
            if book.some(0.15):
                charged |= {"net_minor": 0, "is_goodwill": True}
            lines.append(charged)
    for number in range(book.chance.randrange(2)):
        lines.append(_line(book, f"{job}.x{number}", None))
    data = {"currency": "EUR", "lines": lines} if lines else {}
    book.event(at, "job_closed", bike, data, job)
