"""Payloads of the book itself: terms, mechanics, gauges, and strikes."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from ledger.events.types import (
    LEFT_OUT_IF_EMPTY,
    Amount,
    Code,
    Count,
    Currency,
    Day,
    DecimalText,
    EventId,
    Flag,
    FreeText,
    Frozen,
    Label,
    MinorUnits,
    Position,
    Ref,
    WorkMinutes,
)


class TierTask(Frozen):
    """A task a tier is made of, with its share of the tier's minutes."""

    task: Code
    minutes: WorkMinutes


class Tier(Frozen):
    """A level of service the shop sells; named again, it is told anew as a whole."""

    code: Code
    label: Label
    price_minor: MinorUnits | None = None
    minutes: WorkMinutes | None = None
    tasks: Annotated[tuple[TierTask, ...], LEFT_OUT_IF_EMPTY] = ()
    """What its minutes are for; none told: its minutes stand under the tier's own code."""


class Task(Frozen):
    """A piece of work minutes are booked on."""

    code: Code
    label: Label
    minutes: WorkMinutes | None = None


class Wage(Frozen):
    """What an hour of one mechanic costs the shop."""

    mechanic: Ref
    minor_per_hour: MinorUnits


class ShopLimit(Frozen):
    """The shop's own limit for a quantity at a position."""

    position: Position
    quantity: Code
    direction: Literal["above", "below"]
    """The side of the figure that is past the limit."""
    watch: Amount | None = None
    due: Amount
    is_safety: Flag = False
    source: Label


class Window(Frozen):
    """How long after it was put right a fault found again counts as come back."""

    fault: Code
    days: Count
    distance_km: Count


class NewPosition(Frozen):
    """A position the shop adds to the vocabulary."""

    code: Position
    label: Label
    is_torqued: Flag = False
    hides: tuple[Position, ...] = ()


class NewQuantity(Frozen):
    """A quantity the shop adds to the vocabulary."""

    code: Code
    label: Label
    unit: Label
    digits: Annotated[int, Field(strict=True, ge=0, le=6)]
    lowest: DecimalText
    highest: DecimalText


class NewCode(Frozen):
    """A fault, cause, treatment, riding or kind of bike the shop adds to the vocabulary."""

    code: Code
    label: Label


class TermsSet(Frozen):
    """What holds in the shop from a day on; what is left out stays as it was."""

    from_on: Day
    currency: Currency | None = None
    labour_rate_minor: MinorUnits | None = None
    """Charged an hour, before tax."""
    tax_rate: DecimalText | None = None
    rounding: Literal["half even", "half up"] | None = None
    fixed_cost_minor: MinorUnits | None = None
    """A month."""
    consumables_minor: MinorUnits | None = None
    """A bench hour."""
    sellable_hours: DecimalText | None = None
    """Bench hours a week that can be sold."""
    paid_hours: DecimalText | None = None
    """Hours a week that wages are paid for; not told: the sellable hours."""
    tiers: tuple[Tier, ...] = ()
    tasks: tuple[Task, ...] = ()
    wages: tuple[Wage, ...] = ()
    limits: tuple[ShopLimit, ...] = ()
    windows: tuple[Window, ...] = ()
    positions: tuple[NewPosition, ...] = ()
    quantities: tuple[NewQuantity, ...] = ()
    faults: tuple[NewCode, ...] = ()
    causes: tuple[NewCode, ...] = ()
    treatments: tuple[NewCode, ...] = ()
    ridings: tuple[NewCode, ...] = ()
    bike_kinds: tuple[NewCode, ...] = ()
    region: Code | None = None
    """Where the shop is, as the owner of several groups them."""


class MechanicRegistered(Frozen):
    """Somebody who may record."""

    mechanic: Ref
    role: Literal["owner", "mechanic", "desk"] = "mechanic"
    name: FreeText | None = None
    is_active: Flag = True


class GaugeRegistered(Frozen):
    """A gauge or torque tool, with what is known of its error."""

    gauge: Ref
    label: Label
    quantities: Annotated[tuple[Code, ...], Field(min_length=1, max_length=20)]
    resolution: Amount | None = None
    error: Amount | None = None
    """One standard deviation of a single reading."""
    calibrated_on: Day | None = None
    calibration_due_on: Day | None = None
    is_active: Flag = True


class EventStruck(Frozen):
    """An earlier event is void; it stays readable."""

    target: EventId
    reason: FreeText
