"""The limit a reading is held against when it is recorded, and what it says of the reading."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from ledger.events import kinds
from ledger.events.types import Amount
from ledger.rules import BookFacts
from ledger.state import BikeState
from ledger.state.apply import figure
from ledger.vocabulary import Limit


def _makers_figure(state: BikeState, event: kinds.Measured) -> Decimal | None:
    """Give the figure the fitted part's maker gives for what was measured."""
    there = state.fitted.get(event.data.position)
    if there is None:
        return None
    limits = [maker for maker in there.event.data.limits if maker.quantity == event.data.quantity]
    return figure(limits[0].limit) if limits else None


def limit_of(state: BikeState, event: kinds.Measured, facts: BookFacts) -> Limit | None:
    """Give the limit for a reading: entered, else the part's maker's, the shop's, the vocabulary's.

    An entered limit is a maker's figure read at the bench; a rule keeps it from being laxer
    than that of the part. A pad measured with its backing plate has no limit but a maker's.
    """
    data, words = event.data, facts.vocabulary
    entered, makers = figure(data.limit), _makers_figure(state, event)
    own = entered if entered is not None else makers
    if own is not None:
        return words.makers_limit(data.position, data.quantity, state.speeds, own)
    if data.with_backing_plate:
        return None
    day = event.occurred_at.astimezone(facts.time_zone).date().isoformat()
    return words.limit_for(data.position, data.quantity, state.speeds, day)


def judged(state: BikeState, event: kinds.Measured, facts: BookFacts) -> dict[str, Any]:
    """Give the reading's limit and verdict, as far as they were not entered.

    `event` has its canonical figures. A verdict somebody entered stands.
    """
    data = event.data
    limit = limit_of(state, event, facts)
    if limit is None:
        return {}
    changes: dict[str, Any] = {}
    if data.limit is None:
        due, unit = f"{limit.due:f}", facts.vocabulary.quantities[data.quantity].unit
        changes["limit"] = Amount(value=due, unit=unit, canonical=due)
    value, low, high = figure(data.value), figure(data.low), figure(data.high)
    if data.verdict is not None:
        return changes
    if value is not None:
        changes["verdict"] = limit.judge(value)
    elif low is not None or high is not None:
        changes["verdict"] = limit.judge_interval(low, high)
    return changes
