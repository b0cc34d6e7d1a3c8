"""The lowest maximum of what carries the air at a wheel, and a warning above it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal

from ledger.events import kinds
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, warns
from ledger.state import BikeState
from ledger.state.bike import Fitted

CARRIERS = ("tyre", "rim", "insert")
"""What has a maximum pressure of its own at a wheel."""


def carriers(position: str) -> tuple[str, ...]:
    """Give the positions whose parts bound the pressure at a position.

    At a wheel these are its tyre, rim and insert; anywhere else the part itself.
    """
    wheel, _, part = position.partition(".")
    if wheel not in ("front_wheel", "rear_wheel"):
        return (position,)
    named = tuple(f"{wheel}.{carrier}" for carrier in CARRIERS)
    return named if not part or position in named or part == "tube" else (position,)


def maximum_of(fitted: Mapping[str, Fitted], position: str) -> Decimal | None:
    """Give the highest pressure the part at a position may have, as its maker says; in bar.

    None where none is known.
    """
    there = fitted.get(position)
    limits = there.event.data.limits if there is not None else ()
    known = [
        Decimal(maker.limit.canonical)
        for maker in limits
        if maker.quantity == "pressure" and maker.limit.canonical is not None
    ]
    return min(known, default=None)


def lowest_maximum(fitted: Mapping[str, Fitted], position: str) -> tuple[Decimal, str] | None:
    """Give the lowest known maximum at a position, and whose it is; None where none is known."""
    found = [(maximum_of(fitted, at), at) for at in carriers(position)]
    return min(((most, at) for most, at in found if most is not None), default=None)


@warns(
    "above_lowest_maximum",
    "a pressure set above the lowest maximum known of tyre, rim and insert",
    "adjusted",
)
def above_lowest_maximum(
    state: BikeState, event: kinds.Adjusted, facts: BookFacts
) -> Iterator[Finding]:
    """Warn of more air than the weakest of what carries it may have."""
    data = event.data
    if data.quantity != "pressure" or data.after is None or data.after.canonical is None:
        return
    lowest = lowest_maximum(state.fitted, data.position)
    if lowest is None or Decimal(data.after.canonical) <= lowest[0]:
        return
    word = facts.vocabulary.positions.get(lowest[1])
    wrong = (
        f"{data.after.value} {data.after.unit} is above the lowest maximum known here, "
        f"{lowest[0].normalize():f} bar of the {word.label if word else lowest[1]}"
    )
    right = "Let air out: the lowest maximum of tyre, rim and insert decides, as their makers say"
    yield Finding("data.after", wrong, right)


RULES = (above_lowest_maximum,)
