"""How far one service is: which step an event is of, and where a walk goes on.

The command line and the page both ask here, so that a walk that was interrupted on one goes on
at the same step on the other.
"""

from __future__ import annotations

import secrets
from collections.abc import Iterable, Mapping
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any

from ledger.bench.walk import WALK, WORK
from ledger.events.types import TAG_ALPHABET

if TYPE_CHECKING:
    from ledger.events import Event

GOES_ON = frozenset({"inspect", "measure", "answer", "work", "torque", "pressures"})
"""Steps made of several entries: a walk taken up again begins within them."""
ANYWHERE = frozenset({"noted", "advised", "labour_logged", "goodwill_given"})
"""What is entered as it comes to mind, at whatever step: it takes no walk further."""
_OF_WORK = frozenset(step.kind for step in WORK)
_BY_KIND = {step.kind: step.key for step in reversed(WALK) if step.kind}


def step_of(event: Event) -> str:
    """Give the key of the step an event was recorded in; empty for one that is of no step."""
    if event.kind == "adjusted" and event.data.quantity in ("torque", "pressure"):
        return "torque" if event.data.quantity == "torque" else "pressures"
    return "work" if event.kind in _OF_WORK else _BY_KIND.get(event.kind, "")


def position_of(event: Event) -> str | None:
    """Give the position an event is about; None for one that is about none."""
    found: str | None = getattr(event.data, "position", None)
    return found


def of_job(events: Iterable[Event], job: str | None) -> list[Event]:
    """Give the live events of a job, in the order they were recorded.

    `events` are all stored events of its bike, strikes included.
    """
    listed = list(events)
    struck = {event.data.target for event in listed if event.kind == "event_struck"}
    return [
        event
        for event in listed
        if event.job == job and event.id not in struck and event.kind != "event_struck"
    ]


def reached(events: Iterable[Event]) -> int | None:
    """Give the index in WALK of the furthest step that live events of a job are of."""
    done = {step_of(event) for event in events if event.kind not in ANYWHERE}
    steps = [index for index, step in enumerate(WALK) if step.key in done]
    return max(steps, default=None)


def nested(data: Mapping[str, Any]) -> dict[str, Any]:
    """Give data with dotted names (`puts_right.fault`) put inside one another."""
    found: dict[str, Any] = {}
    for name, value in data.items():
        outer, _, inner = name.partition(".")
        if inner:
            found.setdefault(outer, {})[inner] = value
        else:
            found[name] = value
    return found


def short_code(prefix: str) -> str:
    """Give an id for a job or a quote: the day, and four signs that no other has by chance."""
    signs = "".join(secrets.choice(TAG_ALPHABET) for _ in range(4))
    return f"{prefix}{datetime.now(UTC):%y%m%d}-{signs}"
