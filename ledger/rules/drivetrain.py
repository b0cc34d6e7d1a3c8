"""The rule about what runs together: a new chain skips on sprockets that an old one has worn."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.events import Event, kinds
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, warns
from ledger.state import BikeState, made_up_part, order_key
from ledger.view import Reading

_PAST = ("due", "unsafe")
_RIGHT = (
    "Quote the sprockets too, and say before the bike is collected that a chain which skips gives "
    "no drive; a qualified mechanic decides"
)


def _is_sprocket(position: str) -> bool:
    return position in ("cassette", "freewheel") or position.split(".")[0] == "chainring"


def _are_replaced(position: str, state: BikeState, facts: BookFacts, since: Event) -> bool:
    """Say whether the same commit goes on to fit other sprockets there."""
    tags = state.registered.keys() | {since.bike}
    return any(
        event.kind == "part_fitted"
        and not event.data.is_found
        and event.data.position == position
        and event.bike in tags
        and order_key(event) > order_key(since)
        for event in facts.commit_events
    )


def _is_new(fitting: kinds.PartFitted, facts: BookFacts) -> bool:
    """Say whether a fitted chain is new: not found there, not second hand, on no bike before."""
    data = fitting.data
    part = data.part or made_up_part(fitting.id)
    was_on_before = any(
        move.kind == "part_fitted"
        and move.data.part == part
        and order_key(move) < order_key(fitting)
        for move in facts.part_events.get(part, ())
    )
    return not data.is_found and data.origin != "second hand" and not was_on_before


def _worn(state: BikeState) -> Iterator[Reading]:
    """Give the last reading of each sprocket that is past its limit and still on the bike."""
    for (position, quantity, _), reading in sorted(
        state.readings.items(), key=lambda item: (item[0][0], item[0][2] or "")
    ):
        if _is_sprocket(position) and quantity == "tooth_wear" and reading.verdict in _PAST:
            yield reading


def _after_fitting(
    state: BikeState, event: kinds.PartFitted, facts: BookFacts
) -> Iterator[Finding]:
    if event.data.position != "chain" or not _is_new(event, facts):
        return
    for reading in _worn(state):
        if not _are_replaced(reading.position, state, facts, event):
            point = f" ({reading.point})" if reading.point else ""
            wrong = f"a new chain on {reading.position}{point} past its limit will skip under load"
            yield Finding("data.position", wrong, _RIGHT)


def _after_reading(state: BikeState, event: kinds.Measured, facts: BookFacts) -> Iterator[Finding]:
    data, chain = event.data, state.fitted.get("chain")
    is_worn = data.quantity == "tooth_wear" and data.verdict in _PAST
    if not is_worn or not _is_sprocket(data.position) or chain is None or event.job is None:
        return
    there = state.fitted.get(data.position)
    is_of_old = data.part is not None and there is not None and data.part != there.part
    if chain.event.job != event.job or not _is_new(chain.event, facts) or is_of_old:
        return
    if not _are_replaced(data.position, state, facts, event):
        wrong = f"the new chain fitted in this job will skip under load on {data.position}"
        yield Finding("data.position", f"{wrong}, which is past its limit", _RIGHT)


@warns(
    "new_chain_on_worn_sprockets",
    "a new chain where cassette or chainring is past its limit and stays on",
    "part_fitted",
    "measured",
)
def new_chain_on_worn_sprockets(
    state: BikeState, event: kinds.PartFitted | kinds.Measured, facts: BookFacts
) -> Iterator[Finding]:
    """Warn of a new chain on teeth an old one has worn, whichever was recorded first."""
    if event.kind == "part_fitted":
        yield from _after_fitting(state, event, facts)
    else:
        yield from _after_reading(state, event, facts)


RULES = (new_chain_on_worn_sprockets,)
