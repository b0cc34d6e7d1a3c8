"""An event as it is recorded: what was left out, or follows from what is known, filled in.

What somebody entered is never changed: only absent fields are filled.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import timedelta
from typing import Any

from ledger.errors import Problem
from ledger.events import Event, kinds
from ledger.events.job import Line
from ledger.money import tax_minor
from ledger.prepare.figures import filled
from ledger.prepare.verdict import judged
from ledger.rules import BookFacts
from ledger.state import BikeState, made_up_part, start

__all__ = ["prepare"]

Changes = dict[str, Any]
_MINUTE = timedelta(minutes=1)


def _lines(
    event: kinds.QuoteGiven | kinds.JobClosed, lines: tuple[Line, ...], facts: BookFacts
) -> Changes:
    rounding = facts.rounding_on(facts.day_of(event.occurred_at))

    def taxed(line: Line) -> Line:
        if line.tax_minor is not None:
            return line
        tax = tax_minor(line.net_minor, line.tax_rate, rounding)
        return line.model_copy(update={"tax_minor": tax})

    return {"lines": tuple(map(taxed, lines))} if lines else {}


def _at_quoted_rates(
    event: kinds.JobClosed, state: BikeState, facts: BookFacts
) -> tuple[Line, ...]:
    """Give what is charged, at the quoted line's rate of tax where none was entered.

    Records brought in whole say themselves what was charged.
    """

    def rated(line: Line) -> Line:
        named = state.charged_line(event.job, line)
        if named is None or "tax_rate" in line.model_fields_set:
            return line
        return line.model_copy(update={"tax_rate": named.tax_rate})

    if facts.is_brought_in:
        return event.data.lines
    return tuple(map(rated, event.data.lines))


def _quote_given(event: kinds.QuoteGiven, state: BikeState, facts: BookFacts) -> Changes:
    return _lines(event, event.data.lines, facts)


def _job_closed(event: kinds.JobClosed, state: BikeState, facts: BookFacts) -> Changes:
    changes = _lines(event, _at_quoted_rates(event, state, facts), facts)
    if not event.data.disturbed and state.disturbed:
        changes["disturbed"] = tuple(sorted(state.disturbed))
    return changes


def _labour_stopped(event: kinds.LabourStopped, state: BikeState, facts: BookFacts) -> Changes:
    started = state.running.get(event.actor)
    if event.data.minutes is not None or started is None or started.job != event.job:
        return {}
    if facts.day_of(started.occurred_at) != facts.day_of(event.occurred_at):
        return {}  # Forgotten over night: a rule asks for the minutes worked.
    return {"minutes": (event.occurred_at - started.occurred_at + _MINUTE / 2) // _MINUTE}


def _part_fitted(event: kinds.PartFitted, state: BikeState, facts: BookFacts) -> Changes:
    return {} if event.data.part else {"part": made_up_part(event.id)}


def _part_removed(event: kinds.PartRemoved, state: BikeState, facts: BookFacts) -> Changes:
    there = state.fitted.get(event.data.position)
    return {} if event.data.part or there is None else {"part": there.part}


def _currency(money: str) -> Callable[[Any, BikeState, BookFacts], Changes]:
    """Fill the book's currency where there is money without one."""

    def fill(event: Any, state: BikeState, facts: BookFacts) -> Changes:
        is_bare = event.data.currency is None and getattr(event.data, money) is not None
        return {"currency": facts.currency} if is_bare else {}

    return fill


_FILL: dict[str, Callable[[Any, BikeState, BookFacts], Changes]] = {
    "quote_given": _quote_given,
    "job_closed": _job_closed,
    "labour_stopped": _labour_stopped,
    "part_fitted": _part_fitted,
    "part_removed": _part_removed,
    "job_opened": _currency("ceiling_minor"),
    "goodwill_given": _currency("value_minor"),
    "advised": _currency("price_minor"),
}


def _with(event: Event, changes: Changes) -> Event:
    if not changes:
        return event
    return event.model_copy(update={"data": event.data.model_copy(update=changes)})


def prepare(event: Event, state: BikeState | None, facts: BookFacts) -> tuple[Event, list[Problem]]:
    """Give the event as it is to be recorded, and what is wrong with its units.

    `state` is the bike's just before the event; None for an event of the book itself.
    """
    before = start(event.shop, event.bike or "") if state is None else state
    changes, problems = filled(event, facts)
    fill = _FILL.get(event.kind)
    prepared = _with(event, {**changes, **(fill(event, before, facts) if fill else {})})
    if prepared.kind == "measured" and prepared.data.quantity in facts.vocabulary.quantities:
        prepared = _with(prepared, judged(before, prepared, facts))
    return prepared, problems
