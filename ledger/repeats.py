"""Telling an entry made twice from an id used for two different things."""

from __future__ import annotations

from typing import Any

from ledger.errors import Problem
from ledger.events import Event, plain

FILLED = frozenset(
    {
        "canonical",
        "currency",
        "disturbed",
        "limit",
        "minutes",
        "part",
        "schema_version",
        "tax_minor",
        "tax_rate",
        "verdict",
    }
)
"""Fields the ledger completes itself, so that an entry may lack them."""

_OF_THE_COMMIT = frozenset({"seq", "recorded_at", "clock_at"})


def as_entered(event: Event) -> dict[str, Any]:
    """Give an entry as plain JSON types, without the rates of tax that nobody entered."""
    told = plain(event)
    if event.kind in ("quote_given", "job_closed"):
        for line, written in zip(event.data.lines, told["data"].get("lines", ()), strict=True):
            if "tax_rate" not in line.model_fields_set:
                del written["tax_rate"]
    return told


def difference(entered: dict[str, Any], stored: dict[str, Any], *, has_time: bool) -> str | None:
    """Give the field in which an entry differs from the stored event of its id, if any.

    Both are plain JSON types with free text in the clear; text whose key is gone (None) is
    taken as the same. Without `has_time` the entry's own time was never entered.
    """
    left_out = _OF_THE_COMMIT if has_time else _OF_THE_COMMIT | {"occurred_at"}
    return _differs(
        {name: value for name, value in entered.items() if name not in left_out},
        {name: value for name, value in stored.items() if name not in left_out},
        "",
    )


def clash(label: str, field: str, seq: int) -> Problem:
    """Give the problem of an id that stands for something else already."""
    return Problem(
        label,
        field,
        f"differs from what was recorded under the same id (seq {seq})",
        "Give a new id to a new fact, or strike the recorded one and record again",
        "id_taken",
    )


def _differs(entered: Any, stored: Any, at: str) -> str | None:
    if isinstance(entered, dict) and isinstance(stored, dict):
        return _fields_differ(entered, stored, at)
    if isinstance(entered, list) and isinstance(stored, list) and len(entered) == len(stored):
        pairs = enumerate(zip(entered, stored, strict=True))
        found = (_differs(one, other, f"{at}[{index}]") for index, (one, other) in pairs)
        return next((path for path in found if path), None)
    return None if entered == stored else at or "event"


def _fields_differ(entered: dict[str, Any], stored: dict[str, Any], at: str) -> str | None:
    for name in [*entered, *(name for name in stored if name not in entered)]:
        path = f"{at}.{name}" if at else name
        if name not in entered:
            if name in FILLED:
                continue
            return path
        if name not in stored:
            return path
        if stored[name] is None:
            continue
        found = _differs(entered[name], stored[name], path)
        if found:
            return found
    return None
