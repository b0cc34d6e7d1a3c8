"""What somebody enters, made into events that still lack what only a commit can give."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import uuid_utils
from pydantic import ValidationError

from ledger.errors import Problem
from ledger.events import BOOK_KINDS, Event, parse_event, plain
from ledger.events.envelope import Envelope
from ledger.events.problems import problems_of
from ledger.settings import BookSettings, local_moment

Draft = Mapping[str, Any] | Event
"""An event as plain JSON types, or parsed; id, shop and occurred_at may be left out."""

_LINES_HAVE_CURRENCY = ("quote_given", "job_closed")
"""Kinds that cannot even be read without the currency of their lines."""
_GIVEN_AT_COMMIT = frozenset({"seq", "commit", "recorded_at", "clock_at"})


@dataclass(frozen=True, slots=True)
class Entry:
    """One draft that could be read, and what of it the person gave themselves."""

    index: int
    label: str
    event: Event
    has_id: bool
    has_time: bool


def label_of(index: int, raw: Mapping[str, Any]) -> str:
    """Give how refusals call an entry: `event 3 (measured, bike 7K3M9QXA)`."""
    kind, bike = raw.get("kind"), raw.get("bike")
    known = [str(kind)[:40]] if kind else []
    known += [f"bike {str(bike)[:20]}"] if bike else []
    return f"event {index + 1}" + (f" ({', '.join(known)})" if known else "")


def read_drafts(
    drafts: Sequence[Draft],
    settings: BookSettings,
    now: datetime,
    labels: Sequence[str] | None = None,
) -> tuple[list[Entry], list[Problem]]:
    """Give the entries that could be read, and every problem of those that could not."""
    entries: list[Entry] = []
    problems: list[Problem] = []
    for index, draft in enumerate(drafts):
        raw: Any = draft if not isinstance(draft, Envelope) else plain(draft)
        if not isinstance(raw, Mapping):
            label = labels[index] if labels else label_of(index, {})
            problems.append(Problem(label, "event", "is not an object", "Write an object", "entry"))
            continue
        label = labels[index] if labels else label_of(index, raw)
        try:
            entries.append(_entry(index, label, dict(raw), settings, now))
        except ValidationError as error:
            problems.extend(problems_of(error, label))
        except ValueError as error:
            problems.append(_bad_time(label, str(error)))
    return entries, problems + _problems_of_kind(entries, settings)


def _entry(
    index: int, label: str, raw: dict[str, Any], settings: BookSettings, now: datetime
) -> Entry:
    has_id, has_time = raw.get("id") is not None, raw.get("occurred_at") is not None
    for name in _GIVEN_AT_COMMIT & raw.keys():
        del raw[name]
    if not has_id:
        raw["id"] = str(uuid_utils.uuid7())
    if not has_time:
        raw["occurred_at"] = now
    elif isinstance(raw["occurred_at"], str):
        raw["occurred_at"] = _local(raw["occurred_at"], settings)
    raw.setdefault("shop", settings.shop)
    if raw.get("kind") in _LINES_HAVE_CURRENCY:
        raw["data"] = _in_currency(raw.get("data"), settings)
    return Entry(index, label, parse_event(raw), has_id, has_time)


def _in_currency(data: Any, settings: BookSettings) -> Any:
    """Give a payload with the book's currency beside its lines, where none was entered."""
    if not isinstance(data, Mapping) or not data.get("lines") or data.get("currency") is not None:
        return data
    return {**data, "currency": settings.currency}


def _local(text: str, settings: BookSettings) -> Any:
    """Give an instant; a time without a zone is the shop's own, and a bare date is refused."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError:
        return text
    if len(text.strip()) <= 10:
        raise ValueError(f"{text!r} is a day without a time")
    return moment if moment.tzinfo else local_moment(moment, settings.zone)


def _bad_time(label: str, wrong: str) -> Problem:
    right = "Write a date and time such as 2026-03-01T09:12"
    return Problem(label, "occurred_at", wrong, right, "entry_time")


def _problems_of_kind(entries: Sequence[Entry], settings: BookSettings) -> list[Problem]:
    """Find entries of another shop, of no bike, or of one bike where none belongs."""
    problems = []
    for entry in entries:
        event = entry.event
        if event.shop != settings.shop:
            problems.append(
                Problem(
                    entry.label,
                    "shop",
                    f"is '{event.shop}'",
                    f"This is the book of '{settings.shop}'; record it in that shop's own book",
                    "other_shop",
                )
            )
        of_book = event.kind in BOOK_KINDS
        if of_book and (event.bike is not None or event.job is not None):
            right = f"{event.kind} is of the book itself: leave bike and job out"
            problems.append(Problem(entry.label, "bike", "is given", right, "bike_not_wanted"))
        if not of_book and event.bike is None and event.kind != "event_struck":
            right = f"{event.kind} is about a bike: give its tag"
            problems.append(Problem(entry.label, "bike", "is missing", right, "bike_missing"))
    return problems
