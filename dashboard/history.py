"""A bike's stored events turned into the lines of its timeline."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Any

from dashboard.entries import Entry
from dashboard.words import FORGOTTEN, Words
from ledger import queries
from ledger.asking import Asker
from ledger.book import Book


def timeline_entries(
    book: Book, tag: str, words: Words, person: Callable[[str], str], asker: Asker
) -> list[Entry]:
    """Give a bike's events in words, oldest first; a strike stands with what it struck.

    `person` gives the name of a rider by id. What the asker does not see is not among them.
    """
    known = queries.timeline(book, tag, asker=asker)
    strikes = {one.id: one for one in known if one.kind == "event_struck"}
    targets = {one.struck_by for one in known}
    return [
        entry_of(one, strikes.get(one.struck_by or ""), words, person)
        for one in known
        if one.id not in targets
    ]


def said(data: Any) -> Any:
    """Give a payload with text whose key is gone said to be forgotten."""
    if isinstance(data, Mapping):
        return {name: FORGOTTEN if inner is None else said(inner) for name, inner in data.items()}
    return [said(inner) for inner in data] if isinstance(data, list) else data


def entry_of(
    known: queries.TimelineEntry,
    strike: queries.TimelineEntry | None,
    words: Words,
    person: Callable[[str], str],
) -> Entry:
    """Give a stored event as a line of the timeline."""
    data = said(known.data)
    if known.kind == "rider_changed" and known.data.get("rider"):
        data = {**data, "rider": person(known.data["rider"])}
    return Entry(
        event=known.id,
        seq=known.seq,
        kind=known.kind,
        occurred_at=known.occurred_at,
        job=known.job,
        actor=known.actor,
        position=known.position,
        system=known.system,
        verdict=data.get("verdict"),
        line=words.line(known.kind, data),
        remark=words.remark(known.kind, data),
        is_struck=known.is_struck,
        struck_because=_because(strike, words),
        data=data,
    )


def _because(strike: queries.TimelineEntry | None, words: Words) -> str:
    if strike is None:
        return ""
    when = words.formats.day(strike.recorded_at)
    return f"{said(strike.data)['reason']} ({strike.actor}, {when})"
