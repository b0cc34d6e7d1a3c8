"""What the steps of a walk are gone through for, item by item, with all that stands beside it.

Codes, canonical figures and UTC instants, as in `shapes`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal
from typing import Any, Literal

from ledger.view import Reading, Setting

HiddenState = Literal["off", "on, torqued", "on, not torqued"]


@dataclass(frozen=True, slots=True)
class Uncovered:
    """A position of a system that "the rest" does not cover, and why."""

    position: str
    why: Literal[
        "looked at in this job", "open fault", "unsafe", "past its limit", "not on this bike"
    ]


@dataclass(frozen=True, slots=True)
class Rest:
    """What one press of "rest of this system within limit" records: exactly these positions."""

    system: str
    position: str
    """Where the look is entered: at the system, or where that has a finding of its own, at the
    first position covered."""
    covers: tuple[str, ...]
    """In the vocabulary's order; goes to `inspected.covers` as it is. Empty: nothing to press."""
    uncovered: tuple[Uncovered, ...]
    """Every other position of the system, each with the reason."""


@dataclass(frozen=True, slots=True)
class Look:
    """The last verdict on a position, or on a whole system."""

    position: str
    verdict: str
    fault: str | None
    looked_at: datetime
    actor: str
    event: str
    is_of_this_job: bool
    is_covered: bool = False
    """Told by a look at the rest of its system, not at itself."""


@dataclass(frozen=True, slots=True)
class SystemLook:
    """One system to inspect."""

    system: str
    positions: tuple[str, ...]
    """Every position of it, the system's own first; for entering a finding."""
    last: Look | None
    """The last verdict on the system as a whole."""
    looks: tuple[Look, ...]
    """The last verdict on each position that ever had one."""
    is_done: bool
    """This job has a look at the system as a whole (also by the rest of it)."""
    count_found: int
    """Findings of this job in it: watch, due or unsafe."""
    rest: Rest


@dataclass(frozen=True, slots=True)
class LimitShown:
    """The limit a reading will be held against; canonical."""

    due: Decimal
    watch: Decimal | None
    unsafe: Decimal | None
    direction: Literal["above", "below"]
    """The worn side."""
    unit: str
    source: str
    is_makers: bool


@dataclass(frozen=True, slots=True)
class GaugeShown:
    """A gauge or torque tool to choose."""

    gauge: str
    label: str
    calibration_due_on: str | None
    is_overdue: bool
    is_last_used: bool
    """The last reading or setting here was taken with it."""


@dataclass(frozen=True, slots=True)
class MeasureItem:
    """One thing to measure, with everything that stands beside the entry."""

    position: str
    quantity: str
    point: str | None
    unit: str
    """The unit of the entry: the one last entered here, else the canonical one."""
    canonical_unit: str
    digits: int
    last: Reading | None
    """Also where the part was changed since: then `is_of_an_earlier_part`."""
    is_of_an_earlier_part: bool
    last_entered: Mapping[str, Any] | None
    """The last payload as entered (value or marks, unit, over_pitches, with_backing_plate)."""
    limit: LimitShown | None
    gauges: tuple[GaugeShown, ...]
    has_backing_plate: bool | None
    """For pads: as last entered; None where it does not apply."""
    is_by_marks: bool
    """The last reading was by go/no-go marks: offer the same."""
    done: Reading | None
    """This job's reading, once there is one."""

    @property
    def key(self) -> str:
        """Give what names it as an item: see `Place`."""
        return " ".join(word for word in (self.position, self.quantity, self.point) if word)


@dataclass(frozen=True, slots=True)
class Judged:
    """What the book would store of a reading that was only typed."""

    verdict: str | None
    """None where no limit is known: nobody can say."""
    limit: Decimal | None
    canonical: Decimal | None
    canonical_low: Decimal | None
    canonical_high: Decimal | None
    problems: tuple[str, ...]
    """What would refuse it, in a sentence each."""
    warnings: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class HiddenBy:
    """A position that one has to disturb to reach another."""

    position: str
    state: HiddenState
    """Off: when it is fitted it hides what is under it. On and torqued: its torque is void once
    what is under it is worked on."""


@dataclass(frozen=True, slots=True)
class TorqueItem:
    """Something disturbed and not torqued since; hidden positions come before what hides them."""

    position: str
    disturbed_at: datetime
    disturbed_by: str
    """The event."""
    actor: str
    """Who disturbed it."""
    unit: str
    """Of the entry: the one last entered here, else the canonical one."""
    canonical_unit: str
    last: Setting | None
    """The last torque ever set there, also where it is void by now."""
    last_tool: str | None
    maker_low: Decimal | None
    maker_high: Decimal | None
    """As last entered on this bike at this position, for the part that is on it; canonical."""
    maker_event: str | None
    thread: str | None
    """As last entered here."""
    hidden_by: tuple[HiddenBy, ...]
    tools: tuple[GaugeShown, ...]


@dataclass(frozen=True, slots=True)
class PressureSource:
    """What one part at a wheel says of the highest pressure; canonical bar."""

    position: str
    part: str | None
    """None: nothing is recorded as fitted there."""
    maximum: Decimal | None
    """None: not known."""


@dataclass(frozen=True, slots=True)
class PressureItem:
    """A tyre, fork or shock to set."""

    position: str
    unit: str
    canonical_unit: str
    last: Setting | None
    sources: tuple[PressureSource, ...]
    """For a tyre: tyre, rim and insert; for suspension the part itself."""
    maximum: Decimal | None
    """The lowest known; None where none is."""
    set_by: str | None
    """The position whose part says so."""
    unknown: tuple[str, ...]
    """Fitted or not, the positions whose maximum nobody entered: check the marks on them."""
    tools: tuple[GaugeShown, ...]
    done: Setting | None
    """This job's setting, once there is one."""
