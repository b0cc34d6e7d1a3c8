"""Small books in which faults come back: told by hand, of one bike, without wages or distances."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from small_book import amount, empty_book, event, shop_events

from ledger.book import Book

GULL, TERN, CROW, WREN = "7K3M9QXA", "2B4D6F8H", "4T2N8RWE", "9C3V7XKM"
AS_AT = "2025-06-30"
"""The day the books are looked at."""
PADS, CHAIN = "rear_brake.pads", "chain"
Thing = tuple[str, dict[str, Any]]


def found(fault: str, position: str = PADS, cause: str | None = None) -> Thing:
    """Give a look that finds a fault."""
    data = {"position": position, "verdict": "due", "fault": fault}
    return "inspected", data | ({"cause": cause} if cause else {})


def cured(fault: str, position: str = PADS, treatment: str = "cleaned") -> Thing:
    """Give work that puts a fault right."""
    return "treated", {
        "position": position,
        "treatment": treatment,
        "puts_right": {"fault": fault},
    }


def ridden(km: int) -> Thing:
    """Give a distance that was read."""
    return "distance_read", {"odometer": amount(f"{km} km")}


def worked(minutes: int) -> Thing:
    """Give minutes nobody paid for."""
    return "labour_logged", {"task": "brakes", "minutes": minutes, "minutes_kind": "come-back"}


def visit(
    bike: str, day: str, job: str, *things: Thing, actor: str = "ada", **opened: Any
) -> list[dict]:
    """Give a visit: opened at nine, its things from ten on, closed at four."""
    tier = {} if "come_back_of" in opened else {"tier": "full_service"}
    told = [("job_opened", {**tier, **opened}, "09:00")]
    told += [(kind, data, f"10:{place:02}") for place, (kind, data) in enumerate(things)]
    told += [("job_closed", {}, "16:00")]
    drafts = [event(kind, f"{day}T{at}:00+01:00", bike, job=job, **data) for kind, data, at in told]
    return [draft | {"actor": actor} for draft in drafts]


def registered(bike: str) -> dict:
    """Give a tourer registered at the end of 2024."""
    named = {"make": "Varde", "model": "Tourer 28", "riding": "commute"}
    return event("bike_registered", "2024-12-02T09:00:00+01:00", bike, **named)


def terms(**more: Any) -> dict:
    """Give the shop's tiers, and whatever else, from 2024 on."""
    tiers = [{"code": "full_service", "label": "full service"}]
    data = {"from_on": "2024-01-01", "tiers": tiers, **more}
    return event("terms_set", "2024-01-02T08:00:00+01:00", None, **data)


WAGES = [{"mechanic": "ada", "minor_per_hour": 2400}]


def squeals() -> list[dict]:
    """Give two bikes whose squeal came back, after 40 and 10 days, and one whose did only late."""
    return [
        *visit(GULL, "2025-01-10", "g-1", ridden(1000), found("squeal"), cured("squeal")),
        *visit(GULL, "2025-02-19", "g-2", ridden(1400), found("squeal"), cured("squeal"),
               worked(30)),
        *visit(TERN, "2025-02-03", "t-1", found("squeal"), cured("squeal")),
        *visit(TERN, "2025-02-13", "t-2", found("squeal"), cured("squeal"), worked(20)),
        *visit(CROW, "2025-01-07", "c-1", found("squeal"), cured("squeal")),
        *visit(CROW, "2025-06-16", "c-2", found("squeal"), cured("squeal")),
    ]  # fmt: skip


def others() -> list[dict]:
    """Give a noise that came back, a looseness carried over a job, and a rub gone without work."""
    clear = {"position": "rear_brake.caliper", "verdict": "within limit", "fault": "rub"}
    return [
        *visit(WREN, "2025-03-03", "w-1", found("noise", CHAIN), cured("noise", CHAIN),
               found("loose", "headset"), found("rub", "rear_brake.caliper")),
        *visit(WREN, "2025-03-24", "w-2", found("noise", CHAIN), cured("noise", CHAIN),
               worked(10), ("inspected", clear)),
    ]  # fmt: skip


def came_back_book(path: Path, **more: Any) -> Book:
    """Make a book of four bikes: three come-backs, 60 unpaid minutes at 24 an hour."""
    book = empty_book(path)
    book.append([*shop_events(), terms(**({"wages": WAGES} | more))])
    book.append([registered(bike) for bike in (GULL, TERN, CROW, WREN)])
    book.append([*squeals(), *others()])
    return book


def no_wages_book(path: Path) -> Book:
    """Make the same book with nobody's wage told."""
    return came_back_book(path, wages=[])


def one_bike_book(path: Path) -> Book:
    """Make a book of one bike with one fault, open, of no known distance."""
    book = empty_book(path)
    book.append([*shop_events(), terms(), registered(GULL)])
    book.append(visit(GULL, "2025-01-10", "g-1", found("squeal")))
    return book


def many_tags(count: int) -> list[str]:
    """Give so many tags."""
    signs = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
    return [f"7K3M9Q{signs[number // 32]}{signs[number % 32]}" for number in range(count)]


def many_bikes_book(path: Path, count: int = 40) -> Book:
    """Make a book of bikes seen every ten weeks and 400 km: half squeal each time, half are noisy
    every other time, so that all of it comes back.

    The chains of a third of them are lubricated unbilled at their first visit.
    """
    book = empty_book(path)
    mates = event("mechanic_registered", "2023-01-02T08:01:00+01:00", None, mechanic="bo")
    book.append([*shop_events(), mates, terms(wages=WAGES)])
    days = ("2024-01-15", "2024-03-25", "2024-06-03", "2024-08-12", "2024-10-21", "2025-01-13",
            "2025-03-24", "2025-06-02")  # fmt: skip
    drafts: list[dict] = []
    for number, bike in enumerate(many_tags(count)):
        named = {
            "make": "Varde",
            "model": "Tourer 28",
            "riding": ("commute", "touring")[number % 2],
        }
        start = "2024-01-08T09:0{}:00+01:00"
        drafts.append(event("bike_registered", start.format(0), bike, **named))
        pads = {"position": PADS, "make": "Halm", "model": f"P{number % 2 + 1}", "is_found": True}
        drafts.append(event("part_fitted", start.format(1), bike, **pads))
        for turn, day in enumerate(days):
            drafts += visit(bike, day, f"{bike}-{turn}", *_things(number, turn),
                            actor=("ada", "bo")[turn % 2])  # fmt: skip
    book.append(drafts)
    return book


def _things(number: int, turn: int) -> list[Thing]:
    things: list[Thing] = [ridden(400 * (turn + 1) + number)]
    if turn == 0 and number % 3 == 0:
        oil = {"position": CHAIN, "treatment": "lubricated", "is_preventive": True}
        things.append(("treated", oil))
    if number % 2:
        things += [found("squeal"), cured("squeal")]
    elif turn % 2:
        things += [found("noise", CHAIN), cured("noise", CHAIN)]
    return [*things, worked(5 + turn)]
