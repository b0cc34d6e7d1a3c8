"""Rules about figures: possible at all, usual, within what the maker says."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from ledger.events import Event, kinds
from ledger.events.types import Amount
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, refuses, warns
from ledger.state import BikeState
from ledger.vocabulary import QuantityWord

Figure = tuple[str, str, Amount | None]
"""Field, quantity, amount."""

_KINDS = ("measured", "adjusted", "distance_read", "part_fitted", "terms_set")


def read_figures(event: Event) -> Iterator[Figure]:
    """Give the figures somebody read or set on the bike."""
    if event.kind == "distance_read":
        yield "data.odometer", "distance", event.data.odometer
    elif event.kind == "measured":
        for name in ("value", "low", "high"):
            yield f"data.{name}", event.data.quantity, getattr(event.data, name)
    elif event.kind == "adjusted" and event.data.quantity is not None:
        for name in ("before", "after"):
            yield f"data.{name}", event.data.quantity, getattr(event.data, name)


def told_figures(event: Event) -> Iterator[Figure]:
    """Give the figures makers and the shop say."""
    if event.kind == "measured":
        yield "data.limit", event.data.quantity, event.data.limit
    elif event.kind == "adjusted" and event.data.quantity is not None:
        yield "data.maker_low", event.data.quantity, event.data.maker_low
        yield "data.maker_high", event.data.quantity, event.data.maker_high
    elif event.kind == "part_fitted":
        for index, maker in enumerate(event.data.limits):
            yield f"data.limits[{index}].limit", maker.quantity, maker.limit
    elif event.kind == "terms_set":
        for index, limit in enumerate(event.data.limits):
            yield f"data.limits[{index}].watch", limit.quantity, limit.watch
            yield f"data.limits[{index}].due", limit.quantity, limit.due


def _canonical(
    figures: Iterator[Figure], facts: BookFacts
) -> Iterator[tuple[str, QuantityWord, Amount, Decimal]]:
    for field, code, amount in figures:
        quantity = facts.vocabulary.quantities.get(code)
        if quantity and amount is not None and amount.canonical is not None:
            yield field, quantity, amount, Decimal(amount.canonical)


@refuses("impossible_figure", "a figure outside what is physically possible", *_KINDS)
def impossible_figure(state: BikeState, event: Event, facts: BookFacts) -> Iterator[Finding]:
    """Refuse a figure no bike can have."""
    for figures in (read_figures(event), told_figures(event)):
        for field, quantity, amount, figure in _canonical(figures, facts):
            if not quantity.lowest <= figure <= quantity.highest:
                wrong = f"{amount.value} {amount.unit} is not possible for {quantity.label}"
                span = f"{quantity.lowest} and {quantity.highest} {quantity.unit}"
                yield Finding(field, wrong, f"Enter a figure between {span}")


@warns("unusual_figure", "a figure outside the usual", "measured", "adjusted", "distance_read")
def unusual_figure(state: BikeState, event: Event, facts: BookFacts) -> Iterator[Finding]:
    """Warn of a figure that is possible but suspicious: a slip of the pen, a wrong unit."""
    for field, quantity, amount, figure in _canonical(read_figures(event), facts):
        low, high = quantity.usual
        is_possible = quantity.lowest <= figure <= quantity.highest
        if is_possible and not low <= figure <= high:
            wrong = f"{amount.value} {amount.unit} is unusual for {quantity.label}"
            right = f"Usual is {low} to {high} {quantity.unit}; check the figure and its unit"
            yield Finding(field, wrong, right)


def _figure(amount: Amount | None) -> Decimal | None:
    return None if amount is None or amount.canonical is None else Decimal(amount.canonical)


@refuses("reversed_bounds", "a lower bound above its upper one", "measured", "adjusted")
def reversed_bounds(
    state: BikeState, event: kinds.Measured | kinds.Adjusted, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse an interval that holds nothing."""
    names = ("low", "high") if event.kind == "measured" else ("maker_low", "maker_high")
    low, high = (_figure(getattr(event.data, name)) for name in names)
    if low is not None and high is not None and low > high:
        wrong = f"the lower bound {low} is above the upper bound {high}"
        yield Finding(f"data.{names[0]}", wrong, "Swap the two, or enter one only")


@warns("outside_makers_range", "a setting outside the maker's own range", "adjusted")
def outside_makers_range(
    state: BikeState, event: kinds.Adjusted, facts: BookFacts
) -> Iterator[Finding]:
    """Warn of a setting, such as a torque, that the maker does not give."""
    data, after = event.data, _figure(event.data.after)
    low, high = _figure(data.maker_low), _figure(data.maker_high)
    if after is None or data.after is None:
        return
    set_to = f"{data.after.value} {data.after.unit}"
    if low is not None and after < low:
        yield Finding("data.after", f"{set_to} is below the maker's lowest", "Set it again")
    if high is not None and after > high:
        yield Finding("data.after", f"{set_to} is above the maker's highest", "Set it again")


@refuses(
    "laxer_than_maker",
    "a limit entered with a reading that allows more wear than the fitted part's maker does",
    "measured",
)
def laxer_than_maker(
    state: BikeState, event: kinds.Measured, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to judge a part by a laxer figure than its maker's."""
    data, entered = event.data, _figure(event.data.limit)
    there = state.fitted.get(data.position)
    if entered is None or there is None:
        return
    for maker in there.event.data.limits:
        figure = _figure(maker.limit)
        if figure is None or maker.quantity != data.quantity:
            continue
        words, place = facts.vocabulary, (data.position, data.quantity)
        limit = words.makers_limit(*place, state.speeds, figure)
        if limit is not None and limit.is_laxer(entered):
            wrong = f"{entered} is laxer than the maker's {figure} for the part fitted"
            yield Finding("data.limit", wrong, "Leave it out: the maker's figure applies")


@warns("backing_plate_unsaid", "a pad's thickness with or without its plate unsaid", "measured")
def backing_plate_unsaid(
    state: BikeState, event: kinds.Measured, facts: BookFacts
) -> Iterator[Finding]:
    """Warn of a pad's thickness that may or may not include its backing plate."""
    data = event.data
    is_pad = data.quantity == "thickness" and data.position.endswith(".pads")
    if is_pad and data.with_backing_plate is None:
        wrong = "not said whether the backing plate was measured too; taken as without it"
        yield Finding("data.with_backing_plate", wrong, "Enter true or false")


RULES = (
    impossible_figure,
    unusual_figure,
    reversed_bounds,
    outside_makers_range,
    laxer_than_maker,
    backing_plate_unsaid,
)
