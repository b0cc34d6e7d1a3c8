"""Where a figure may decide whether somebody gets hurt, and what is said there."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ledger.vocabulary import Vocabulary

CAUTION = (
    "Brakes, steering, wheels, pressures, frame, suspension and battery: the maker's instructions "
    "and local rules decide, and a qualified mechanic checks before the bike is ridden."
)
SAFETY_SYSTEMS = frozenset(
    {"front_brake", "rear_brake", "front_wheel", "rear_wheel", "steering", "suspension", "frame"}
)
SAFETY_POSITIONS = frozenset({"battery", "motor", "wiring", "electrical"})
PLAIN_TASKS = frozenset(
    {"booking_in", "inspection", "fault_finding", "cleaning", "chain", "drivetrain", "gears"}
)
"""Work that touches none of these. What a shop's own tasks touch is not known, so they may."""


def task_needs_caution(task: str) -> bool:
    """Say whether work at a task may decide whether somebody gets hurt."""
    return task not in PLAIN_TASKS


def needs_caution(vocabulary: Vocabulary, position: str, quantity: str | None = None) -> bool:
    """Say whether a figure here may decide whether somebody gets hurt."""
    word = vocabulary.positions.get(position)
    system = word.system if word else position.split(".")[0]
    return (
        system in SAFETY_SYSTEMS
        or position.split(".")[0] in SAFETY_POSITIONS
        or quantity == "pressure"
    )
