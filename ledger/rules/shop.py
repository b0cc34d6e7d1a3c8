"""Rules about the shop itself: its mechanics, gauges, terms and links between bikes."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal

from ledger.events import Event, kinds
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, refuses, some, warns
from ledger.state import BikeState
from ledger.vocabulary.units import unit_named

_BY_GAUGE = ("measured", "adjusted")
ByGauge = kinds.Measured | kinds.Adjusted


def _gauge(event: ByGauge) -> tuple[str, str | None]:
    if event.kind == "measured":
        return "data.gauge", event.data.gauge
    return "data.tool", event.data.tool


@refuses("unknown_gauge", "a gauge or torque tool that is not registered", *_BY_GAUGE)
def unknown_gauge(state: BikeState, event: ByGauge, facts: BookFacts) -> Iterator[Finding]:
    """Refuse a reading by a gauge whose error nobody knows."""
    field, gauge = _gauge(event)
    if gauge is not None and gauge not in facts.gauges:
        right = "Register it first (gauge_registered)"
        if facts.gauges:
            right += f"; registered are {some(facts.gauges)}"
        yield Finding(field, f"gauge {gauge} is not registered", right)


@warns("gauge_not_for_that", "a gauge that is not registered for that quantity", *_BY_GAUGE)
def gauge_not_for_that(state: BikeState, event: ByGauge, facts: BookFacts) -> Iterator[Finding]:
    """Warn of a depth read with a pressure gauge."""
    field, gauge = _gauge(event)
    known = facts.gauges.get(gauge or "")
    quantity = event.data.quantity
    if known is not None and quantity is not None and quantity not in known.quantities:
        wrong = f"gauge {gauge} is not registered for {quantity}"
        yield Finding(field, wrong, f"It is for {some(known.quantities)}")


@warns("calibration_overdue", "a gauge whose calibration was due", *_BY_GAUGE)
def calibration_overdue(state: BikeState, event: ByGauge, facts: BookFacts) -> Iterator[Finding]:
    """Warn of a figure by a gauge past its calibration date."""
    field, gauge = _gauge(event)
    known = facts.gauges.get(gauge or "")
    if known is None or known.calibration_due_on is None:
        return
    day = event.occurred_at.astimezone(facts.time_zone).date().isoformat()
    if day > known.calibration_due_on:
        wrong = f"the calibration of gauge {gauge} was due on {known.calibration_due_on}"
        yield Finding(field, wrong, "Have it calibrated, and register its new dates")


@warns("unknown_mechanic", "an actor who is not a registered mechanic, where any is")
def unknown_mechanic(state: BikeState, event: Event, facts: BookFacts) -> Iterator[Finding]:
    """Warn of work by somebody the book does not know."""
    if facts.mechanics and event.actor not in facts.mechanics:
        wrong = f"{event.actor} is not a registered mechanic"
        yield Finding("actor", wrong, f"Registered are {some(facts.mechanics)}")


@refuses("unknown_unit", "a quantity added by the terms in a unit nobody knows", "terms_set")
def unknown_unit(state: BikeState, event: kinds.TermsSet, facts: BookFacts) -> Iterator[Finding]:
    """Refuse a quantity in which nothing could be measured."""
    for index, new in enumerate(event.data.quantities):
        if unit_named(new.unit) is None:
            field = f"data.quantities[{index}].unit"
            yield Finding(
                field, f"{new.unit!r} is not a unit that is known here", "Write mm, bar, N·m, %, …"
            )


@refuses("unit_moves", "a quantity told of anew in another unit", "terms_set")
def unit_moves(state: BikeState, event: kinds.TermsSet, facts: BookFacts) -> Iterator[Finding]:
    """Refuse what would put another unit behind every figure that was recorded."""
    for index, new in enumerate(event.data.quantities):
        first = facts.units.get(new.code, new.unit)
        named = unit_named(new.unit)
        if named is not None and named != unit_named(first):
            wrong = f"{new.code} is kept in {first}, not in {new.unit}"
            right = f"Write {first}, or another code for what is kept in {new.unit}"
            yield Finding(f"data.quantities[{index}].unit", wrong, right)


@refuses(
    "impossible_terms",
    "terms that cannot be: a tax above 1, a lowest above its highest",
    "terms_set",
)
def impossible_terms(
    state: BikeState, event: kinds.TermsSet, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse terms no shop can have."""
    rate = event.data.tax_rate
    if rate is not None and not 0 <= Decimal(rate) <= 1:
        right = "Enter a fraction between 0 and 1, such as '0.21'"
        yield Finding("data.tax_rate", f"{rate} is not a rate of tax", right)
    for field, verb in (("sellable_hours", "sold"), ("paid_hours", "paid")):
        hours = getattr(event.data, field)
        if hours is not None and not 0 <= Decimal(hours) <= 10_000:
            right = "Enter the hours of all mechanics in a week"
            yield Finding(f"data.{field}", f"{hours} hours cannot be {verb} in a week", right)
    for index, new in enumerate(event.data.quantities):
        if Decimal(new.lowest) >= Decimal(new.highest):
            field = f"data.quantities[{index}].lowest"
            yield Finding(field, f"{new.lowest} is not below {new.highest}", "Swap the two")


@refuses(
    "link_of_one", "a link of a bike with itself, or with one that is not registered", "bike_linked"
)
def link_of_one(state: BikeState, event: kinds.BikeLinked, facts: BookFacts) -> Iterator[Finding]:
    """Refuse a link that joins nothing."""
    ends = {"first": event.data.first, "second": event.data.second}
    named = {(end.shop or event.shop, end.bike) for end in ends.values()}
    if len(named) == 1:
        wrong = f"bike {event.data.first.bike} is linked with itself"
        yield Finding("data.second.bike", wrong, "Enter the other tag")
    for name, end in ends.items():
        is_ours = end.shop in (None, event.shop)
        if is_ours and facts.bikes is not None and end.bike not in facts.bikes:
            field = f"data.{name}.bike"
            yield Finding(field, f"no bike {end.bike} is registered", "Check the tag")


RULES = (
    unknown_gauge,
    gauge_not_for_that,
    calibration_overdue,
    unknown_mechanic,
    unknown_unit,
    unit_moves,
    impossible_terms,
    link_of_one,
)
