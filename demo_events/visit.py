"""One visit of one bike, from booking in to closing, as a coroutine the scheduler drives.

It yields `("bench", minutes)` and is sent a `Slot`, or `("wait", instant)` and is sent None.
"""

from __future__ import annotations

from collections.abc import Generator
from typing import TYPE_CHECKING, Any, NamedTuple

from demo_events.bikes import Bike
from demo_events.faults import FaultMode
from demo_events.parameters import LABOUR_DRIFT, LABOUR_SPREAD, OLD_BIKE_DRIFT

if TYPE_CHECKING:
    from demo_events.workshop import Workshop


class Slot(NamedTuple):
    """A stretch at the bench: who, from when to when, and the minutes without the break."""

    mechanic: str
    start: int
    end: int
    minutes: int
    has_break: bool


Steps = Generator[tuple[str, int], Any, Any]

HIDDEN_BY = {
    "cassette": "rear_wheel",
    "rear_brake.rotor": "rear_wheel",
    "front_brake.rotor": "front_wheel",
    "bottom_bracket": "crank",
    "headset": "stem",
}
"""Work at the first voids the torque of the second: the vocabulary's `hides`, as far as used."""

MOST_COMBINED = 3
"""Of: overlong, consequences, late quote, search, torque, preventive; in any one job."""


class Visit:
    """What one job knows while it is under way; other modules do the steps."""

    __slots__ = (
        "actor", "bike", "clock", "combined", "come_back_of", "drafts", "faults", "forms",
        "job", "lines", "mode", "plan", "recorded", "returned", "seems_returned", "shop", "slip",
        "tier", "torque", "treated_minutes", "unsafe", "wanted", "warnings", "wheels",
    )  # fmt: skip

    def __init__(
        self, shop: Workshop, bike: Bike, tier: str | None, mode: FaultMode | None,
        come_back_of: str | None,
    ) -> None:  # fmt: skip
        self.shop = shop
        self.bike = bike
        self.tier = tier
        self.mode = mode
        """The fault the rider came in for."""
        self.come_back_of = come_back_of
        self.job = shop.new_job()
        self.actor = shop.mechanics[0]
        self.drafts: list[dict[str, Any]] = []
        self.clock = 0
        self.recorded = 0
        self.combined = {"torque"}
        self.faults: list[FaultMode] = []
        self.returned: str | None = None
        """The job whose repair came back, where the rider came in for something else."""
        self.seems_returned = False
        """Whether a fault arose anew, past its window, where the same was put right before."""
        self.wanted: list[str] = []
        """Positions whose part is due."""
        self.wheels: set[str] = set()
        """Wheels whose tyre came off."""
        self.unsafe: list[str] = []
        self.plan: list[tuple[str, int, str, Any]] = []
        """(task, quoted minutes, kind of minutes, what to do) still to be done."""
        self.lines: list[dict[str, Any]] = []
        self.forms: dict[str, str] = {}
        """Line -> whether its price was fixed or up to."""
        self.torque: set[str] = set()
        self.warnings: list[tuple[str, str]] = []
        self.slip: tuple[str, dict[str, Any], int] | None = None
        self.treated_minutes = 0

    def may(self, item: str) -> bool:
        """Take up one more sort of work, unless this job already combines enough of them."""
        if item not in self.combined and len(self.combined) >= MOST_COMBINED:
            return False
        self.combined.add(item)
        return True

    def take(self, slot: Slot) -> None:
        """Let a mechanic's stretch at the bench begin."""
        self.actor = slot.mechanic
        self.clock = max(self.clock, slot.start)

    def add(self, kind: str, data: dict[str, Any], at: int | None = None, now: int = 0) -> str:
        """Write one event of this bike and job; gives its id. Time moves on a little."""
        if at is None:
            self.clock += 5 + int(self.shop.rng.random() * 50)
            at = self.clock
        draft = self.shop.desk.draft(
            kind, at, self.actor, data, bike=self.bike.tag, job=self.job, now=now
        )
        self.drafts.append(draft)
        identity: str = draft["id"]
        return identity

    def add_extra(self, kind: str, data: dict[str, Any], at: int = 0) -> None:
        """Write one event without drawing anything that other events are drawn from."""
        draft = self.shop.extra.draft(
            kind, at or self.clock, self.actor, data, bike=self.bike.tag, job=self.job
        )
        self.drafts.append(draft)

    def save(self, at: int = 0) -> None:
        """Commit what was written, a little after it happened and after the last commit."""
        if not self.drafts:
            return
        instant = max(self.clock, at) + 15 + int(self.shop.rng.random() * 120)
        self.recorded = max(instant, self.recorded + 1)
        self.shop.desk.save(self.recorded, self.drafts)
        self.drafts = []

    def actual(self, quoted: int) -> int:
        """Give the minutes a piece of work truly takes against those quoted for it."""
        drift = LABOUR_DRIFT.get(self.tier or "", 0.0)
        drift += OLD_BIKE_DRIFT if self.bike.is_old else 0.0
        factor = self.shop.rng.lognormvariate(drift, LABOUR_SPREAD)
        return min(200, max(3, round(quoted * factor)))

    def disturb(self, position: str, is_torqued: bool = True) -> None:
        """Remember what has to be torqued before the bike goes out."""
        if is_torqued:
            self.torque.add(position)
        if position in HIDDEN_BY:
            self.torque.add(HIDDEN_BY[position])

    def put_right(self, event: str, mode: FaultMode, model: str = "") -> None:
        """Let fate decide whether a fault that was put right will come back."""
        self.shop.fate(self, event, mode, model)
