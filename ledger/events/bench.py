"""Payloads about the work at the bench: looking, measuring, fitting, setting, treating."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field, model_validator

from ledger.events.types import (
    Amount,
    Code,
    Count,
    Flag,
    FreeText,
    Frozen,
    Label,
    Position,
    PutRight,
    Ref,
    Verdict,
)


class Inspected(Frozen):
    """Somebody looked at a position (or a whole system) and judged it."""

    position: Position
    verdict: Verdict
    fault: Code | None = None
    cause: Code | None = None
    covers: Annotated[tuple[Position, ...], Field(max_length=100)] = ()
    """Every position a look at a whole system took in."""
    why_not_checked: FreeText | None = None
    note: FreeText | None = None

    @model_validator(mode="after")
    def _says_why(self) -> Inspected:
        if self.verdict == "not checked" and self.why_not_checked is None:
            raise ValueError("'not checked' needs why_not_checked")
        return self


class Step(Frozen):
    """One thing tried on the way to a cause."""

    tried: FreeText
    result: FreeText


class Diagnosed(Frozen):
    """A search for a cause, and why it stopped where it did."""

    position: Position
    symptom: Code
    steps: Annotated[tuple[Step, ...], Field(max_length=50)] = ()
    cause: Code | None = None
    why_stopped: Literal["cause found", "keeper declined", "time spent", "part needed", "other"]
    note: FreeText | None = None


class Measured(Frozen):
    """One reading: an exact value, or the interval a go/no-go mark leaves."""

    position: Position
    quantity: Code
    point: Label | None = None
    """Where on the part: `17T`, `drive side`."""
    part: Ref | None = None
    value: Amount | None = None
    low: Amount | None = None
    high: Amount | None = None
    over_pitches: Annotated[int, Field(strict=True, ge=2, le=200)] | None = None
    """A chain's elongation entered as a length: over this many pitches of 12.7 mm."""
    length_when_new: Amount | None = None
    """The reading's own zero, where it is not the nominal length."""
    gauge: Ref | None = None
    limit: Amount | None = None
    """The maker's figure, where there is one; else filled in from the shop's limits."""
    verdict: Verdict | None = None
    """Filled in from the limit when recorded, unless the mechanic judged otherwise."""
    with_backing_plate: Flag | None = None
    note: FreeText | None = None

    @model_validator(mode="after")
    def _one_reading(self) -> Measured:
        has_interval = self.low is not None or self.high is not None
        if (self.value is not None) == has_interval:
            raise ValueError("needs either value, or low and/or high")
        return self


class MakerLimit(Frozen):
    """The maker's own limit for this part, which overrides every other."""

    quantity: Code
    limit: Amount


class PartFitted(Frozen):
    """A part comes to sit at a position, or is found sitting there."""

    position: Position
    part: Ref | None = None
    """One physical thing; made up when recorded, if not given."""
    make: Label | None = None
    model: Label | None = None
    size: Label | None = None
    origin: Literal["shop", "riders own", "second hand", "warranty", "unknown"] = "shop"
    is_found: Flag = False
    """It was already there: when it was fitted is not known, and never taken for today."""
    replaces: Ref | None = None
    """The part that comes off in the same move."""
    batch: Label | None = None
    serial: Label | None = None
    limits: Annotated[tuple[MakerLimit, ...], Field(max_length=10)] = ()
    puts_right: PutRight | None = None
    note: FreeText | None = None


class PartRemoved(Frozen):
    """The part at a position comes off."""

    position: Position
    part: Ref | None = None
    reason: Literal["worn", "damaged", "rotated", "upgrade", "recall", "moved", "other"] = "other"
    kept: Literal["scrapped", "given back", "stored", "other"] = "other"
    puts_right: PutRight | None = None
    note: FreeText | None = None


class Adjusted(Frozen):
    """A setting: what it was, what it is now, with what tool and thread."""

    position: Position
    quantity: Code | None = None
    """None for an adjustment nobody put a figure on."""
    point: Label | None = None
    before: Amount | None = None
    after: Amount | None = None
    tool: Ref | None = None
    thread: Literal["dry", "greased", "anti-seize", "threadlocked"] | None = None
    maker_low: Amount | None = None
    maker_high: Amount | None = None
    puts_right: PutRight | None = None
    note: FreeText | None = None

    @model_validator(mode="after")
    def _figure_has_quantity(self) -> Adjusted:
        if (self.quantity is None) != (self.after is None):
            raise ValueError("quantity and after go together")
        return self


class Treated(Frozen):
    """Something was cleaned, lubricated, trued, bled and the like."""

    position: Position
    treatment: Code
    count: Count | None = None
    is_preventive: Flag = False
    puts_right: PutRight | None = None
    note: FreeText | None = None


class Noted(Frozen):
    """A standing note, shown whenever that position is opened."""

    position: Position
    text: FreeText
