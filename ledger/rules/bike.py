"""Rules about the bike: registered, in time, its distance, and which parts are where."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Set
from datetime import timedelta
from decimal import Decimal

from ledger.events import BOOK_KINDS, Event, event_classes, kinds
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, refuses, warns, when
from ledger.state import BikeState, in_order, made_up_part, order_key

MOST_KM_A_DAY = 1000
_OF_A_BIKE = tuple(sorted(event_classes().keys() - BOOK_KINDS - {"event_struck"}))
_AFTER_REGISTERING = tuple(kind for kind in _OF_A_BIKE if kind != "bike_registered")


@refuses("bike_missing", "an event of a bike that names none", *_OF_A_BIKE)
def bike_missing(state: BikeState, event: Event, facts: BookFacts) -> Iterator[Finding]:
    """Refuse what happened to a bike without saying which."""
    if event.bike is None:
        yield Finding("bike", f"{event.kind} names no bike", "Enter the bike's tag")


@refuses("unknown_bike", "a bike that is not registered", *_AFTER_REGISTERING)
def unknown_bike(state: BikeState, event: Event, facts: BookFacts) -> Iterator[Finding]:
    """Refuse an event of a bike the book does not know."""
    is_known = event.bike in state.registered or (facts.bikes and event.bike in facts.bikes)
    if event.bike is not None and not is_known:
        right = "Check the tag, or register the bike first (bike_registered)"
        yield Finding("bike", f"no bike {event.bike} is registered then", right)


@refuses("before_registration", "an event before its bike was registered", *_AFTER_REGISTERING)
def before_registration(state: BikeState, event: Event, facts: BookFacts) -> Iterator[Finding]:
    """Refuse an event that comes before its bike was registered."""
    is_later = facts.bikes is not None and event.bike in facts.bikes
    if event.bike is not None and event.bike not in state.registered and is_later:
        wrong = f"bike {event.bike} was registered only after {when(event, facts)}"
        yield Finding("occurred_at", wrong, "Enter a later time, or register the bike earlier")


@refuses("registered_twice", "a bike registered again", "bike_registered")
def registered_twice(
    state: BikeState, event: kinds.BikeRegistered, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to register a tag that is registered."""
    if event.bike in state.registered:
        right = "Use another tag, or record what happened to this bike"
        yield Finding("bike", f"bike {event.bike} is registered already", right)


@refuses("in_future", "an event in the future")
def in_future(state: BikeState, event: Event, facts: BookFacts) -> Iterator[Finding]:
    """Refuse an event that has not happened yet."""
    if event.occurred_at > facts.now:
        wrong = f"{when(event, facts)} is in the future"
        now = facts.now.astimezone(facts.time_zone)
        yield Finding("occurred_at", wrong, f"Enter a time up to now, {now:%Y-%m-%d %H:%M}")


def _shown_km(event: kinds.DistanceRead) -> Decimal | None:
    shown = event.data.odometer.canonical
    return None if shown is None else Decimal(shown)


@refuses(
    "distance_falls", "a distance lower than an earlier one of the same computer", "distance_read"
)
def distance_falls(
    state: BikeState, event: kinds.DistanceRead, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse a computer that runs backwards."""
    shown, highest = _shown_km(event), state.shown_highest_km
    if shown is not None and shown < highest and not event.data.computer_replaced:
        right = "Check the figure; if the computer was replaced, say so (computer_replaced)"
        yield Finding("data.odometer", f"{shown} km is less than {highest} km read before", right)


@warns(
    "distance_jump", f"more than {MOST_KM_A_DAY:,} km a day since the last reading", "distance_read"
)
def distance_jump(
    state: BikeState, event: kinds.DistanceRead, facts: BookFacts
) -> Iterator[Finding]:
    """Warn of a distance that nobody rides in that time."""
    shown = _shown_km(event)
    if shown is None or state.distance_km is None or state.distance_at is None:
        return
    before = state.shown_highest_km if event.data.computer_replaced else Decimal(0)
    ridden = state.earlier_computers_km + before + shown - state.distance_km
    days = max(1, -((state.distance_at - event.occurred_at) // timedelta(days=1)))
    if ridden > MOST_KM_A_DAY * days:
        wrong = f"{ridden} km more in {days} day{'' if days == 1 else 's'}"
        yield Finding("data.odometer", wrong, "Check the figure and its unit")


@refuses(
    "position_occupied",
    "a part fitted where one is fitted, unless it `replaces` that one",
    "part_fitted",
)
def position_occupied(
    state: BikeState, event: kinds.PartFitted, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse a second part at a position."""
    at, there = event.data.position, state.fitted.get(event.data.position)
    if there is not None and event.data.replaces is None:
        right = f"Remove it first, or say replaces: {there.part}"
        yield Finding("data.position", f"part {there.part} is fitted at {at} then", right)


@refuses(
    "nothing_fitted",
    "a part removed or replaced where none is fitted",
    "part_removed",
    "part_fitted",
)
def nothing_fitted(
    state: BikeState, event: kinds.PartRemoved | kinds.PartFitted, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to take off what is not there."""
    at = event.data.position
    if at in state.fitted or (event.kind == "part_fitted" and event.data.replaces is None):
        return
    field = "data.position" if event.kind == "part_removed" else "data.replaces"
    right = "Record the part that was there first (part_fitted, is_found), or leave this out"
    yield Finding(field, f"no part is known at {at} then", right)


@refuses(
    "wrong_part",
    "a part removed or replaced that is not the one fitted there",
    "part_removed",
    "part_fitted",
)
def wrong_part(
    state: BikeState, event: kinds.PartRemoved | kinds.PartFitted, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to take off another part than the one that is there."""
    name = "part" if event.kind == "part_removed" else "replaces"
    named: str | None = getattr(event.data, name)
    there = state.fitted.get(event.data.position)
    if there is not None and named is not None and named != there.part:
        wrong = f"part {named} is not at {event.data.position} then"
        yield Finding(f"data.{name}", wrong, f"Part {there.part} is fitted there")


Work = kinds.PartFitted | kinds.PartRemoved | kinds.Adjusted | kinds.Treated
Move = kinds.PartFitted | kinds.PartRemoved


def clash(
    moves: Iterable[Event], part: str, own: Set[str] = frozenset()
) -> Iterator[tuple[Move, Move]]:
    """Give each fitting of a part that was still fitted elsewhere, with where that was.

    A removal that names no part takes off what is at its position. `own`: tags of one bike.
    """
    where: Move | None = None
    for move in in_order(moves):
        if move.kind == "part_removed":
            is_there = where is not None and where.data.position == move.data.position
            is_off, is_on = move.data.part == part or (move.data.part is None and is_there), False
        elif move.kind == "part_fitted":
            is_off = move.data.replaces == part
            is_on = (move.data.part or made_up_part(move.id)) == part
        else:
            continue
        if (
            is_off
            and where is not None
            and (where.bike == move.bike or own >= {where.bike, move.bike})
        ):
            where = None
        if is_on:
            if where is not None:
                yield where, move
            where = move


@refuses(
    "part_elsewhere",
    "a part fitted while it is fitted somewhere else, on any bike",
    "part_fitted",
)
def part_elsewhere(
    state: BikeState, event: kinds.PartFitted, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse one physical thing in two places at once."""
    part = event.data.part or made_up_part(event.id)
    own = {*state.registered, *([event.bike] if event.bike else [])}
    moves: list[Event] = [there.event for there in state.fitted.values() if there.part == part]
    since = order_key(event)
    moves += [
        move
        for move in facts.part_events.get(part, ())
        if move.bike not in own or order_key(move) > since
    ]
    for before, after in clash([*moves, event], part, own):
        is_later_elsewhere = before.id == event.id and after.bike not in own
        if after.id == event.id or is_later_elsewhere:
            other = before if after.id == event.id else after
            at = f"{other.data.position} of bike {other.bike} ({when(other, facts)})"
            right = "Remove it there first, or give this part its own id"
            yield Finding("data.part", f"part {part} is fitted at {at}", right)


@warns("reading_of_other_part", "a reading of a part that is not the one fitted there", "measured")
def reading_of_other_part(
    state: BikeState, event: kinds.Measured, facts: BookFacts
) -> Iterator[Finding]:
    """Warn of a reading that names a part which is not on the bike at that position."""
    part, there = event.data.part, state.fitted.get(event.data.position)
    if part is not None and (there is None or there.part != part):
        fitted = f"part {there.part} is" if there else "no part is known to be"
        wrong = f"part {part} was measured while {fitted} at {event.data.position}"
        yield Finding("data.part", wrong, "Check which part was measured")


@warns(
    "fault_not_open",
    "work that puts right a fault which is not open",
    "part_fitted",
    "part_removed",
    "adjusted",
    "treated",
)
def fault_not_open(state: BikeState, event: Work, facts: BookFacts) -> Iterator[Finding]:
    """Warn of a cure for what nobody found."""
    cured = event.data.puts_right
    if cured is None:
        return
    at = cured.position or event.data.position
    if (at, cured.fault) not in state.faults:
        found = ", ".join(f"{fault} at {place}" for place, fault in sorted(state.faults))
        right = f"Open are: {found}" if found else "Record what was found first (inspected)"
        yield Finding("data.puts_right", f"no {cured.fault} is open at {at} then", right)


_DAMAGED = frozenset({"swollen", "cracked", "leak", "broken", "bent", "corroded", "contaminated"})


@warns("battery_work", "work on a battery found damaged", "adjusted", "treated")
def battery_work(
    state: BikeState, event: kinds.Adjusted | kinds.Treated, facts: BookFacts
) -> Iterator[Finding]:
    """Warn that a damaged battery is not for this bench."""
    found = {fault for place, fault in state.faults if place == "battery"} & _DAMAGED
    if event.data.position == "battery" and found:
        wrong = f"the battery was found {', '.join(sorted(found))}"
        yield Finding("data.position", wrong, "Leave it to a workshop qualified for batteries")


RULES = (
    bike_missing,
    unknown_bike,
    before_registration,
    registered_twice,
    in_future,
    distance_falls,
    distance_jump,
    position_occupied,
    nothing_fitted,
    wrong_part,
    part_elsewhere,
    reading_of_other_part,
    fault_not_open,
    battery_work,
)
