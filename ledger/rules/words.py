"""Rules about words: every position, quantity and code is one the book knows."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from ledger.events import Event, kinds
from ledger.events.types import PutRight
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, refuses, some
from ledger.state import BikeState

Used = tuple[str, str, str | None]
"""Which list of the vocabulary, the word, and in which field."""

_CALLED = {
    "positions": "position",
    "quantities": "quantity",
    "faults": "fault",
    "causes": "cause",
    "treatments": "treatment",
    "ridings": "kind of riding",
    "bike_kinds": "kind of bike",
    "tasks": "task",
}


def _each(list_name: str, words: Iterable[str], field: str) -> Iterator[Used]:
    for index, word in enumerate(words):
        yield list_name, field.format(index), word


def _put_right(cured: PutRight | None) -> Iterator[Used]:
    if cured is not None:
        yield "faults", "data.puts_right.fault", cured.fault
        yield "causes", "data.puts_right.cause", cured.cause
        yield "positions", "data.puts_right.position", cured.position


def _work(data: Any) -> Iterator[Used]:
    yield "positions", "data.position", data.position
    yield from _put_right(data.puts_right)


def _position(data: Any) -> Iterator[Used]:
    yield "positions", "data.position", data.position


def _lines(data: Any) -> Iterator[Used]:
    for index, line in enumerate(data.lines):
        yield "positions", f"data.lines[{index}].position", line.position


def _task(data: Any) -> Iterator[Used]:
    yield "tasks", "data.task", data.task


def _riding(data: Any) -> Iterator[Used]:
    yield "ridings", "data.riding", data.riding


def _registered(data: Any) -> Iterator[Used]:
    yield "bike_kinds", "data.bike_kind", data.bike_kind
    yield from _riding(data)


def _inspected(data: Any) -> Iterator[Used]:
    yield from _position(data)
    yield "faults", "data.fault", data.fault
    yield "causes", "data.cause", data.cause
    yield from _each("positions", data.covers, "data.covers[{}]")


def _diagnosed(data: Any) -> Iterator[Used]:
    yield from _position(data)
    yield "faults", "data.symptom", data.symptom
    yield "causes", "data.cause", data.cause


def _measured(data: Any) -> Iterator[Used]:
    yield from _position(data)
    yield "quantities", "data.quantity", data.quantity


def _part_fitted(data: Any) -> Iterator[Used]:
    yield from _work(data)
    yield from _each(
        "quantities", (limit.quantity for limit in data.limits), "data.limits[{}].quantity"
    )


def _adjusted(data: Any) -> Iterator[Used]:
    yield from _work(data)
    yield "quantities", "data.quantity", data.quantity


def _treated(data: Any) -> Iterator[Used]:
    yield from _work(data)
    yield "treatments", "data.treatment", data.treatment


def _released(data: Any) -> Iterator[Used]:
    yield from _each("positions", data.rechecked, "data.rechecked[{}]")
    warned = (warning.position for warning in data.warnings)
    yield from _each("positions", warned, "data.warnings[{}].position")


def _closed(data: Any) -> Iterator[Used]:
    yield from _lines(data)
    yield from _each("positions", data.disturbed, "data.disturbed[{}]")


def _goodwill(data: Any) -> Iterator[Used]:
    yield from _task(data)
    yield from _position(data)


def _gauge(data: Any) -> Iterator[Used]:
    yield from _each("quantities", data.quantities, "data.quantities[{}]")


def _terms(data: Any) -> Iterator[Used]:
    for index, limit in enumerate(data.limits):
        yield "positions", f"data.limits[{index}].position", limit.position
        yield "quantities", f"data.limits[{index}].quantity", limit.quantity
    for index, position in enumerate(data.positions):
        yield from _each("positions", position.hides, f"data.positions[{index}].hides[{{}}]")
    yield from _each("faults", (new.fault for new in data.windows), "data.windows[{}].fault")
    for index, tier in enumerate(data.tiers):
        field = f"data.tiers[{index}].tasks[{{}}].task"
        yield from _each("tasks", (share.task for share in tier.tasks), field)


_USED: dict[str, Callable[[Any], Iterator[Used]]] = {
    "bike_registered": _registered,
    "rider_changed": _riding,
    "job_opened": _riding,
    "photo_attached": _position,
    "quote_given": _lines,
    "job_closed": _closed,
    "labour_started": _task,
    "labour_logged": _task,
    "goodwill_given": _goodwill,
    "advised": _position,
    "released": _released,
    "inspected": _inspected,
    "diagnosed": _diagnosed,
    "measured": _measured,
    "part_fitted": _part_fitted,
    "part_removed": _work,
    "adjusted": _adjusted,
    "treated": _treated,
    "noted": _position,
    "gauge_registered": _gauge,
    "terms_set": _terms,
}


@refuses(
    "unknown_word",
    "a position, quantity, fault, cause, treatment, task, kind of riding or kind of bike that "
    "the vocabulary does not have",
    *_USED,
)
def unknown_word(state: BikeState, event: Event, facts: BookFacts) -> Iterator[Finding]:
    """Refuse a word nobody knows, with the nearest ones that are known."""
    vocabulary = facts.vocabulary
    for list_name, field, word in _USED[event.kind](event.data):
        if word is None or word in getattr(vocabulary, list_name):
            continue
        called = _CALLED[list_name]
        near = vocabulary.nearest(list_name, word)
        right = f"Did you mean {' or '.join(near)}?" if near else f"The terms can add a {called}"
        yield Finding(field, f"{word!r} is not a known {called}", right)


@refuses("unknown_tier", "a tier the shop's terms do not have", "job_opened")
def unknown_tier(state: BikeState, event: kinds.JobOpened, facts: BookFacts) -> Iterator[Finding]:
    """Refuse a tier the shop does not sell, with those it does."""
    tiers, tier = facts.vocabulary.tiers, event.data.tier
    if tier is None or tier in tiers:
        return
    right = "Record the shop's tiers first (terms_set, tiers)"
    if tiers:
        right = f"The shop's tiers are {some(tiers)}"
    yield Finding("data.tier", f"{tier!r} is not a tier of this shop", right)


RULES = (unknown_word, unknown_tier)
