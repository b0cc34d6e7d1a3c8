"""Events in short, and what is found in them, for tests of the rules."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from ledger.errors import Problem
from ledger.events import Event, parse_event
from ledger.events.shop import GaugeRegistered
from ledger.prepare import prepare
from ledger.rules import BookFacts, check_timeline
from ledger.state import live, order_key, state_after
from tests.strategies import BIKES, GAUGES, SHOP, WORDS, event_id

BIKE, OTHER = BIKES
FACTS = BookFacts(
    vocabulary=WORDS,
    now=datetime(2026, 1, 1, tzinfo=UTC),
    time_zone=ZoneInfo("Europe/Amsterdam"),
    currency="EUR",
    units={code: word.unit for code, word in WORDS.quantities.items()},
    mechanics=frozenset({"mia", "tom"}),
    gauges=GAUGES
    | {
        "old": GaugeRegistered(
            gauge="old", label="old", quantities=("elongation",), calibration_due_on="2024-12-31"
        )
    },
)


@dataclass(frozen=True)
class E:
    """An event in short: its day, kind and data; what is left out is the same for all."""

    on: str
    kind: str
    data: dict[str, Any] = field(default_factory=dict)
    more: dict[str, Any] = field(default_factory=dict)

    def raw(self, seq: int) -> dict[str, Any]:
        at = datetime.fromisoformat(self.on).replace(tzinfo=UTC) + timedelta(hours=12)
        ids = {"id": event_id(seq), "seq": seq, "shop": SHOP, "bike": BIKE, "actor": "mia"}
        version = 2 if self.kind == "distance_read" else 1
        what = {"kind": self.kind, "schema_version": version, "data": self.data}
        return {**ids, **what, "occurred_at": at, **self.more}


def recorded(events: Sequence[E], facts: BookFacts = FACTS, first: int = 1) -> list[Event]:
    """Events as stored: completed one by one, whatever the rules say of them."""
    done: list[Event] = []
    for seq, event in enumerate(events, first):
        draft = parse_event(event.raw(seq))
        before = [known for known in live(done) if order_key(known) < order_key(draft)]
        state = state_after(before, SHOP, draft.bike or "", WORDS)
        done.append(prepare(draft, state, facts)[0])
    return done


def problems(history: Sequence[E], new: Sequence[E], facts: BookFacts = FACTS) -> list[Problem]:
    """What is found when `new` is one commit on top of `history`."""
    events = recorded([*history, *new], facts)
    new_ids = {event.id for event in events[len(history) :]}
    return check_timeline(events, new_ids, facts)


def found(history: Sequence[E], new: Sequence[E], facts: BookFacts = FACTS) -> set[str]:
    return {problem.rule for problem in problems(history, new, facts)}


def amount(value: object, unit: str) -> dict[str, str]:
    return {"value": str(value), "unit": unit}


def job(*names: str) -> dict[str, Any]:
    return {"job": names[0] if names else "j1"}


def km(value: int, **more: Any) -> dict[str, Any]:
    return {"odometer": amount(value, "km"), **more}


def pads(value: str, **more: Any) -> dict[str, Any]:
    data = {"position": "rear_brake.pads", "quantity": "thickness", "with_backing_plate": False}
    return {**data, "value": amount(value, "mm"), **more}


def part(at: str, name: str, **more: Any) -> dict[str, Any]:
    return {"position": at, "part": name, **more}


def line(name: str, **more: Any) -> dict[str, Any]:
    return {"line": name, "line_type": "labour", "code": "chain", "net_minor": 1000, **more}


def given_away(name: str, **more: Any) -> dict[str, Any]:
    return line(name, net_minor=0, is_goodwill=True, **more)


def taxed(name: str, net_minor: int) -> dict[str, Any]:
    return line(name, net_minor=net_minor, tax_rate="0.21")


def charge(*lines: dict[str, Any], currency: str = "EUR") -> dict[str, Any]:
    return {"currency": currency, "lines": list(lines)}


def quote(*lines: dict[str, Any], currency: str = "EUR") -> dict[str, Any]:
    return {"quote": "q1", "form": "fixed", **charge(*lines, currency=currency)}


def again(*lines: dict[str, Any], **more: Any) -> dict[str, Any]:
    return {**quote(*lines), "quote": "q2", **more}


def half_past() -> dict[str, Any]:
    return {"occurred_at": datetime(2024, 2, 2, 12, 30, tzinfo=UTC)}


def answered(answer: str, line_id: str = "1", name: str = "q1") -> dict[str, Any]:
    return {"quote": name, "answers": [{"line": line_id, "answer": answer}], "how": "phone"}


BORN = E("2024-01-01", "bike_registered", {"speeds": 11})
OPEN = E("2024-02-01", "job_opened", {}, job())
CHAIN = E("2024-02-02", "part_fitted", part("chain", "c1"))
READ = E("2024-02-02", "distance_read", km(1000))
QUOTED = E("2024-02-02", "quote_given", quote(line("1")), job())
REQUOTED = E("2024-02-03", "quote_given", again(line("1"), replaces="q1"), job())
AGREED = [BORN, OPEN, QUOTED, E("2024-02-03", "quote_answered", answered("yes"), job())]
CLOCK = E("2024-02-02", "labour_started", {"task": "chain"}, job())
UNSAFE = E("2024-02-02", "measured", pads("0.4"), job())
WARNED = E(
    "2024-02-03",
    "advised",
    {"position": "rear_brake.pads", "verdict": "unsafe", "urgency": "now"},
    job(),
)
LOOSE = E("2024-02-02", "part_fitted", part("rear_brake.rotor", "r1"))
SQUEAL = E(
    "2024-02-02", "inspected", {"position": "rear_brake", "verdict": "due", "fault": "squeal"}
)
SWOLLEN = E(
    "2024-02-02", "inspected", {"position": "battery", "verdict": "unsafe", "fault": "swollen"}
)
ROTOR = E(
    "2024-02-02",
    "part_fitted",
    part(
        "rear_brake.rotor", "r1", limits=[{"quantity": "thickness", "limit": amount("1.8", "mm")}]
    ),
)


CHAIN_STRUCK = E("2024-02-05", "event_struck", {"target": event_id(2), "reason": "no"})


def at(event: E, **more: Any) -> E:
    """The event again, with some of its envelope changed."""
    return replace(event, more={**event.more, **more})


def answer_to(advice: int, answer: str) -> E:
    data = {"advice": event_id(advice), "answer": answer, "how": "phone"}
    return E("2024-02-04", "advice_answered", data, job())


RIM = E(
    "2024-02-02",
    "part_fitted",
    part("front_wheel.rim", "rim1", limits=[{"quantity": "pressure", "limit": amount("4", "bar")}]),
)


def march(kind: str, data: dict[str, Any] | None = None, **more: Any) -> E:
    return E("2024-03-01", kind, data or {}, more)


def rotor(limit: str) -> E:
    data = {"position": "rear_brake.rotor", "quantity": "thickness", "value": amount("2", "mm")}
    return march("measured", {**data, "limit": amount(limit, "mm")})


def torque(value: object, **more: Any) -> E:
    after = {"quantity": "torque", "after": amount(value, "N·m")}
    return march("adjusted", {"position": "stem", **after, **more})


def pressure(value: object, at: str = "front_wheel.tyre") -> E:
    after = {"quantity": "pressure", "after": amount(value, "bar")}
    return march("adjusted", {"position": at, **after})


MAKERS = {"maker_low": amount(4, "N·m"), "maker_high": amount(6, "N·m")}
FAULT_CURED = {"puts_right": {"fault": "squeal", "position": "rear_brake"}}
TREATED = {"position": "rear_brake.pads", "treatment": "sanded"}
WEAR = {"position": "chain", "quantity": "elongation"}
