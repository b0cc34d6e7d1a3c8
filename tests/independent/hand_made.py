"""A small book of what the demo hardly has, entered by hand."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from ledger.book import Book

FIRST, SECOND, THIRD, FOURTH, FIFTH = "7K3M9QXA", "8N4P0RYB", "9Q5R1SZC", "AR6S2T0D", "BS7T3V1E"
NOW = datetime(2026, 1, 1, 12, tzinfo=UTC)


def amount(value: object, unit: str) -> dict[str, str]:
    return {"value": str(value), "unit": unit}


def km(value: object, **more: Any) -> dict[str, Any]:
    return {"odometer": amount(value, "km"), **more}


def set_to(at: str, newton_metres: object = 40, **more: Any) -> dict[str, Any]:
    return {"position": at, "quantity": "torque", "after": amount(newton_metres, "N·m"), **more}


def finding(at: str, code: str, verdict: str = "due", **more: Any) -> dict[str, Any]:
    return {"position": at, "verdict": verdict, "fault": code, **more}


class Bench:
    """A new book, and short entries into it."""

    def __init__(self, folder: Path) -> None:
        self.book = Book.init(
            folder, shop="kelp", currency="EUR", time_zone="Europe/Amsterdam", clock=lambda: NOW
        )

    def enter(self, bike: str | None, on: str, kind: str, data: Any, **more: Any) -> str:
        """Record one event on `on` (a day of 2025 as 03-01, or a whole instant); give its id."""
        at = on if "T" in on else f"2025-{on}T12:00:00Z"
        draft = {"kind": kind, "occurred_at": at, "actor": "mia", "data": data, **more}
        if bike is not None:
            draft["bike"] = bike
        return self.book.append([draft]).events[0].id

    def strike(self, target: str) -> None:
        self.book.strike(target, "Written on the wrong card.", "mia")


def enter_all(bench: Bench) -> None:
    """Enter the whole hand-made book."""
    for tag in (FIRST, SECOND, THIRD, FOURTH, FIFTH):
        bench.enter(tag, "01-02", "bike_registered", {"speeds": 11, "riding": "commute"})
    strikes_and_restores(bench)
    computers(bench)
    found_and_moved_parts(bench)
    torque(bench)
    faults(bench)
    advice_and_jobs(bench)
    joined_tags(bench)


def strikes_and_restores(bench: Bench) -> None:
    """A rider struck and restored, a reading struck for an earlier one, a struck end of a job."""
    bench.enter(FIRST, "01-03", "rider_changed", {"rider": "r1", "keeper": "r2"})
    wrong = bench.enter(FIRST, "01-05", "rider_changed", {"rider": "r3", "riding": "courier"})
    bench.enter(FIRST, "01-07", "rider_changed", {"keeper": "r4"})
    bench.strike(wrong)
    data = {"rider": "r3", "riding": "touring"}
    again = bench.enter(FIRST, "01-06", "rider_changed", data, restores=wrong)
    bench.strike(again)
    bench.enter(FIRST, "01-08", "rider_changed", data, restores=again)
    gap = {"position": "chain", "quantity": "gap", "value": amount(2, "mm")}
    bench.enter(FIRST, "01-09", "measured", gap)
    misread = bench.enter(FIRST, "01-10", "measured", {**gap, "value": amount(7, "mm")})
    bench.strike(misread)
    bench.enter(FIRST, "01-04", "measured", {**gap, "value": amount("0.1", "in"), "point": "left"})
    bench.enter(FIRST, "01-11", "job_opened", {"riding": "sport"}, job="j1")
    ended = bench.enter(FIRST, "01-12", "job_closed", {}, job="j1")
    bench.strike(ended)
    bench.enter(FIRST, "01-13", "job_held", {"waiting_for": "part"}, job="j1")


def computers(bench: Bench) -> None:
    """Computers replaced, one found out later, miles, one entered late, a fall on no computer."""
    bench.enter(SECOND, "01-03", "distance_read", km(500, computer_replaced=True))
    bench.enter(SECOND, "02-01", "distance_read", {"odometer": amount(1000, "mi")})
    bench.enter(SECOND, "02-02", "part_fitted", {"position": "cassette", "part": "cassette-1"})
    bench.enter(SECOND, "03-01", "distance_read", km("12.3", computer_replaced=True))
    bench.enter(SECOND, "03-02", "part_fitted", {"position": "chain", "part": "chain-1"})
    bench.enter(SECOND, "04-01", "distance_read", km(900, source="told"))
    between = bench.enter(SECOND, "03-15", "distance_read", km(40, computer_replaced=True))
    bench.enter(SECOND, "02-15", "distance_read", km(2000))
    bench.strike(between)
    bench.enter(SECOND, "05-01", "distance_read", km(3, computer_replaced=True))
    bench.enter(SECOND, "05-01", "part_fitted", {"position": "saddle", "part": "saddle-1"})
    bench.enter(SECOND, "05-01", "distance_read", km(30))


def found_and_moved_parts(bench: Bench) -> None:
    """Parts found, replaced and rotated; a wheel with a tyre on it; a part that returns."""
    wheel = {"position": "front_wheel", "part": "wheel-1", "make": "Tolva"}
    tyre = {"position": "front_wheel.tyre", "part": "tyre-1", "is_found": True}
    depth = {"position": "front_wheel.tyre", "quantity": "tread_depth", "value": amount(3, "mm")}
    pressure = {"position": "front_wheel.tyre", "quantity": "pressure", "after": amount(58, "psi")}
    bench.enter(THIRD, "02-01", "measured", depth)
    bench.enter(THIRD, "02-02", "part_fitted", tyre)
    bench.enter(THIRD, "02-03", "adjusted", pressure)
    bench.enter(THIRD, "02-04", "distance_read", km(100))
    bench.enter(THIRD, "02-10", "part_fitted", wheel)
    bench.enter(THIRD, "02-11", "measured", {**depth, "point": "crown"})
    bench.enter(THIRD, "02-20", "part_fitted", {**tyre, "part": "tyre-2", "replaces": "tyre-1"})
    bench.enter(THIRD, "02-05", "distance_read", km(150))
    bench.enter(THIRD, "02-25", "part_removed", {"position": "front_wheel", "reason": "moved"})
    bench.enter(FOURTH, "02-26", "part_fitted", wheel)
    bench.enter(FOURTH, "02-26", "measured", {**depth, "point": "crown"})
    bench.enter(FOURTH, "03-05", "part_removed", {"position": "front_wheel", "reason": "moved"})
    bench.enter(THIRD, "03-06", "part_fitted", wheel)
    bench.enter(THIRD, "03-06", "distance_read", km("1234.567"))
    bench.enter(THIRD, "03-07", "part_removed", {"position": "front_wheel.tyre"})
    bench.enter(FOURTH, "03-08", "part_fitted", {**tyre, "part": "tyre-2", "is_found": False})


def torque(bench: Bench) -> None:
    """Torques voided by work at the place, around it, and at what it hides; a shop's own place."""
    mount = {"code": "sidecar.mount", "label": "sidecar mount", "is_torqued": True}
    terms = {"from_on": "2025-04-10", "positions": [{**mount, "hides": ["rear_wheel"]}]}
    for point in ("left", "right"):
        bench.enter(FOURTH, "04-01", "adjusted", set_to("crank", point=point))
    bench.enter(FOURTH, "04-02", "adjusted", set_to("crank", 45, point="left"))
    bench.enter(FOURTH, "04-03", "treated", {"position": "bottom_bracket", "treatment": "greased"})
    found = {"position": "bottom_bracket", "part": "bb-1", "is_found": True}
    bench.enter(FOURTH, "04-04", "part_fitted", found)
    bench.enter(FOURTH, "04-05", "adjusted", {"position": "chainring.outer"})
    bench.enter(FOURTH, "04-06", "adjusted", set_to("chainring.inner", 9))
    bench.enter(FOURTH, "04-07", "adjusted", set_to("crank"))
    bench.enter(FOURTH, "04-08", "adjusted", {"position": "crank"})
    bench.enter(FOURTH, "04-09", "adjusted", set_to("stem", 6))
    height = {"position": "stem", "quantity": "height", "after": amount(980, "mm")}
    bench.enter(FOURTH, "04-10", "adjusted", height)
    bench.enter(FOURTH, "04-11", "adjusted", set_to("stem", 5))
    bench.enter(FOURTH, "04-10", "part_removed", {"position": "bottom_bracket"})
    bench.enter(None, "04-12", "terms_set", terms)
    bench.enter(FOURTH, "04-13", "adjusted", set_to("sidecar.mount", 20))
    bench.enter(FOURTH, "04-14", "adjusted", set_to("rear_wheel", 30))
    bench.enter(FOURTH, "04-15", "adjusted", set_to("sidecar.mount", 21))
    bench.enter(FOURTH, "04-16", "adjusted", set_to("kickstand", 8))


def faults(bench: Bench) -> None:
    """Faults looked at, searched for, put right from elsewhere, and back again."""
    bench.enter(FIFTH, "02-01", "inspected", finding("headset", "play", "watch", cause="age"))
    found = {"position": "headset", "symptom": "play", "why_stopped": "other"}
    bench.enter(FIFTH, "02-02", "diagnosed", found)
    bench.enter(FIFTH, "02-03", "inspected", finding("headset", "play", "unsafe"))
    unseen = finding("headset", "play", "not checked", cause="dry", why_not_checked="Dark.")
    bench.enter(FIFTH, "02-04", "inspected", unseen)
    bench.enter(FIFTH, "02-04", "diagnosed", {**found, "cause": "bearing_worn"})
    cure = {"puts_right": {"fault": "play", "position": "headset"}}
    mended = bench.enter(FIFTH, "02-06", "adjusted", set_to("stem", 6, **cure))
    bench.enter(FIFTH, "02-08", "inspected", finding("headset", "play", "watch"))
    bench.enter(FIFTH, "02-05", "inspected", finding("headset", "play", "within limit"))
    bench.strike(mended)
    bench.enter(FIFTH, "02-09", "inspected", {"position": "headset", "verdict": "within limit"})
    noise = {"symptom": "noise", "position": "drivetrain", "why_stopped": "part needed"}
    bench.enter(FIFTH, "02-10", "diagnosed", noise)
    cure = {"puts_right": {"fault": "noise", "position": "drivetrain", "cause": "worn_sprocket"}}
    bench.enter(
        FIFTH, "02-11", "part_fitted", {"position": "chainring.outer", "part": "c-1", **cure}
    )
    bench.enter(FIFTH, "02-12", "inspected", finding("chainring.outer", "noise"))
    cure = {"puts_right": {"fault": "noise"}}
    bench.enter(FIFTH, "02-13", "part_removed", {"position": "chainring.outer", **cure})
    cleaned = {"position": "chain", "treatment": "cleaned", **cure}
    bench.enter(FIFTH, "02-12", "inspected", finding("chain", "noise", covers=["chainring.outer"]))
    bench.enter(FIFTH, "02-12", "treated", cleaned)


def advice_and_jobs(bench: Bench) -> None:
    """Advice put off, then taken, then struck; jobs held twice, resumed late, and two at once."""
    ask = {"position": "chain", "verdict": "due", "urgency": "soon"}
    first = bench.enter(FIFTH, "03-05", "advised", ask)
    second = bench.enter(FIFTH, "03-01", "advised", {**ask, "position": "cassette"})
    for on, advice, answer in (
        ("03-06", first, "later"), ("03-06", second, "no"), ("03-07", second, "no reply"),
        ("03-09", first, "yes"), ("03-10", second, "yes"), ("03-08", first, "no reply"),
    ):  # fmt: skip
        data = {"advice": advice, "answer": answer, "how": "phone"}
        last = bench.enter(FIFTH, on, "advice_answered", data)
    bench.strike(last)
    bench.enter(FIFTH, "04-01", "job_opened", {"promised_at": "2025-04-09T17:00:00+02:00"}, job="z")
    bench.enter(FIFTH, "04-02", "job_opened", {"riding": "family"}, job="a")
    bench.enter(FIFTH, "04-03", "job_held", {"waiting_for": "answer"}, job="z")
    bench.enter(FIFTH, "04-05", "job_held", {"waiting_for": "part"}, job="z")
    bench.enter(FIFTH, "04-04", "job_resumed", {}, job="z")
    bench.enter(FIFTH, "04-06", "job_resumed", {}, job="z")
    bench.enter(FIFTH, "04-07", "job_closed", {}, job="z")


def joined_tags(bench: Bench) -> None:
    """Three tags become one bike, by links that are dated late, struck, and made again."""
    pair = {"first": {"bike": FIRST}, "second": {"bike": SECOND, "shop": "kelp"}}
    first = bench.enter(None, "06-01", "bike_linked", pair)
    other = {"first": {"bike": FIFTH}, "second": {"bike": SECOND}}
    second = bench.enter(None, "06-02", "bike_linked", other)
    bench.enter(SECOND, "06-03", "distance_read", km(2500))
    bench.strike(first)
    bench.enter(FIRST, "06-04", "rider_changed", {"rider": "r9", "keeper": "r9"})
    bench.enter(None, "12-01", "bike_linked", pair, restores=first)
    bench.strike(second)
    abroad = {"first": {"bike": THIRD}, "second": {"bike": SECOND, "shop": "elsewhere"}}
    bench.enter(None, "06-05", "bike_linked", abroad)
