"""What a rule is: a named pure function from (state, event, facts) to what is wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, NamedTuple

from ledger.errors import Problem, Severity
from ledger.events import Event
from ledger.rules.facts import BookFacts
from ledger.state import BikeState


class Finding(NamedTuple):
    """One thing wrong with one field, and what would be right."""

    field: str
    wrong: str
    right: str


Check = Callable[[BikeState, Any, BookFacts], Iterable[Finding]]
"""The state is the bike's just before the event."""


@dataclass(frozen=True, slots=True)
class Rule:
    """One rule; an empty tuple of kinds is for every kind."""

    name: str
    what: str
    severity: Severity
    kinds: tuple[str, ...]
    check: Check
    is_of_entry: bool = False
    """It is for what is entered now, not for records of another time brought in whole."""


def refuses(
    name: str, what: str, *kinds: str, is_of_entry: bool = False
) -> Callable[[Check], Rule]:
    """Make a rule whose findings keep the whole commit out of the book."""
    return lambda check: Rule(name, what, "refused", kinds, check, is_of_entry)


def warns(name: str, what: str, *kinds: str) -> Callable[[Check], Rule]:
    """Make a rule whose findings are told, while the event is recorded."""
    return lambda check: Rule(name, what, "warning", kinds, check)


def when(event: Event, facts: BookFacts) -> str:
    """Give when an event occurred, in the book's time zone, for people."""
    return f"{event.occurred_at.astimezone(facts.time_zone):%Y-%m-%d %H:%M}"


def name_event(event: Event, facts: BookFacts) -> str:
    """Give the name of an event that people know it by: its place in the entry, or what it is."""
    if event.id in facts.labels:
        return facts.labels[event.id]
    of = f" (bike {event.bike})" if event.bike else ""
    return f"recorded {event.kind} of {when(event, facts)}{of}"


def problem(
    event: Event, facts: BookFacts, finding: Finding, rule: str, severity: Severity = "refused"
) -> Problem:
    """Give a finding as the problem of an event."""
    return Problem(name_event(event, facts), *finding, rule, severity)


def some(known: Iterable[str], most: int = 5) -> str:
    """Give a few known names for a message."""
    names = sorted(known)
    more = ", …" if len(names) > most else ""
    return ", ".join(names[:most]) + more
