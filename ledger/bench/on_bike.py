"""Which positions exist on a bike: seen on it before, or standing on every bike of its kind."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

from ledger.bench.walked import position_of

if TYPE_CHECKING:
    from ledger.events import Event
    from ledger.state import BikeState
    from ledger.vocabulary import Vocabulary

EVERY_BIKE: tuple[str, ...] = (
    *("crank", "bottom_bracket", "frame", "headset", "handlebar", "fork"),
    *("saddle", "seatpost", "grips", "pedals"),
    *("front_wheel", "front_wheel.tyre", "front_wheel.rim", "front_wheel.hub"),
    *("rear_wheel", "rear_wheel.tyre", "rear_wheel.rim", "rear_wheel.hub"),
)
"""What no bike is without, whatever its kind."""
WITH_CHAIN = ("chain", "chainring")
"""Unless a belt is known on the bike."""
OF_MOST_KINDS = (
    *("front_brake.pads", "front_brake.lever", "front_brake.hose"),
    *("rear_brake.pads", "rear_brake.lever", "rear_brake.hose"),
    *("stem", "stem.faceplate", "front_wheel.spokes", "rear_wheel.spokes"),
)
"""Not of a child's bike, which may have one brake: what is not on a bike must not be said to be
within its limit."""
OF_MOTOR = ("battery", "motor", "display", "wiring")
OF_DERAILLEUR = ("rear_derailleur", "rear_shifter", "shift_cables", "cassette")
OF_KIND: dict[str, tuple[str, ...]] = {
    "e_bike": OF_MOTOR,
    "e_cargo": OF_MOTOR,
    "road": OF_DERAILLEUR,
    "gravel": OF_DERAILLEUR,
}
"""What else stands on a kind of bike. Lights, racks and guards come and go: once seen, they are
known."""
_SHOWS = frozenset({"part_fitted", "measured", "adjusted", "treated", "diagnosed"})


def positions_on(counted: Iterable[Event], state: BikeState, words: Vocabulary) -> frozenset[str]:
    """Give the positions, of those the book knows, that exist on a bike.

    `counted` are its live events in order. What was fitted, measured, set, treated or looked at
    exists, unless what was said of it last is that a part came off, or that it was not checked.
    """
    is_there: dict[str, bool] = {}
    kind, has_motor = "", False
    for event in counted:
        if event.kind == "bike_registered":
            kind, has_motor = event.data.bike_kind or kind, has_motor or event.data.is_e_bike
        elif event.kind == "inspected":
            is_there[event.data.position] = event.data.verdict != "not checked"
        elif event.kind == "part_removed":
            is_there[event.data.position] = False
        elif event.kind in _SHOWS and (position := position_of(event)) is not None:
            is_there[position] = True
    seen = {position for position, shows in is_there.items() if shows}
    standing = _standing(kind, has_motor, "belt" in seen) - is_there.keys()
    return frozenset((seen | standing | state.fitted.keys()) & words.positions.keys())


def _standing(kind: str, has_motor: bool, has_belt: bool) -> set[str]:
    return {
        *EVERY_BIKE,
        *(() if has_belt else WITH_CHAIN),
        *(() if kind == "child" else OF_MOST_KINDS),
        *OF_KIND.get(kind, ()),
        *(OF_MOTOR if has_motor else ()),
    }
