"""How far each part had gone at each reading, by a plain walk over a book's events.

Shares no code with the relations or the arrays: lists, loops and floats only.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

from ledger.events import Event
from ledger.state import live, order_key

WORN = {"elongation", "roller_span", "tooth_wear", "thickness", "tread_depth", "wall_thickness"}
NEW = {"shop", "warranty", "riders own"}
SOURCES = ("read", "between", "beyond", "unknown")
DAY = timedelta(days=1)
Key = tuple[datetime, int]


@dataclass
class Spell:
    bike: str
    start: Key
    is_found: bool
    is_new: bool
    end: Key | None = None


@dataclass
class Bike:
    """A bike's distance readings: (key, km over all computers)."""

    readings: list[tuple[Key, float]] = field(default_factory=list)
    earlier: Decimal = Decimal(0)
    highest: Decimal = Decimal(0)

    def read(self, event: Event) -> None:
        shown = Decimal(event.data.odometer.canonical)
        if event.data.computer_replaced:
            self.earlier, self.highest = self.earlier + self.highest, Decimal(0)
        self.highest = max(self.highest, shown)
        self.readings.append((order_key(event), float(self.earlier + shown)))

    def km(self, key: Key, km_per_day: float) -> tuple[float | None, str]:
        """Give the bike's distance at an instant, and how that is known."""
        before = [one for one in self.readings if one[0] <= key]
        after = [one for one in self.readings if one[0] >= key]
        since = key[0] - before[-1][0][0] if before else None
        until = after[0][0][0] - key[0] if after else None
        if since is not None and since <= DAY and (until is None or since <= until):
            return before[-1][1], "read"
        if until is not None and until <= DAY:
            return after[0][1], "read"
        if since is not None and until is not None:
            share = since / (since + until)
            return before[-1][1] + share * (after[0][1] - before[-1][1]), "between"
        if since is not None:
            return before[-1][1] + km_per_day * (since / DAY), "beyond"
        if until is not None:
            return after[0][1] - km_per_day * (until / DAY), "beyond"
        return None, "unknown"


@dataclass(frozen=True)
class Walked:
    part: str
    km: float | None
    source: str
    days: float
    is_from_new: bool


class Walk:
    """The readings of one book as at an instant, known to a seq."""

    def __init__(self, events: Sequence[Event], as_at: datetime, known_seq: int) -> None:
        self.events = sorted(live(events, as_at, known_seq), key=order_key)
        self.bikes: dict[str, Bike] = defaultdict(Bike)
        for event in self.events:
            if event.kind == "distance_read":
                self.bikes[event.bike].read(event)

    def readings(self, km_per_day: Callable[[str], float]) -> dict[str, Walked]:
        """Give every reading of what wears, by its event."""
        spells: dict[str, list[Spell]] = defaultdict(list)
        sitting: dict[tuple[str, str], Spell] = {}
        found: dict[tuple[str, str], list[Spell]] = defaultdict(list)
        moves: list[Event] = []
        made: dict[tuple[Any, ...], str] = {}
        done = {}
        for event in self.events:
            key = order_key(event)
            if event.kind in ("part_fitted", "part_removed"):
                place = (event.bike, event.data.position)
                ended = found.pop(place, [])
                if place in sitting:
                    ended.append(sitting.pop(place))
                for spell in ended:
                    spell.end = key
                if event.kind == "part_fitted":
                    is_new = event.data.origin in NEW and not event.data.is_found
                    spell = Spell(event.bike, key, event.data.is_found, is_new)
                    sitting[place] = spell
                    spells[event.data.part].append(spell)
                moves.append(event)
            elif event.kind == "measured" and event.data.quantity in WORN:
                last = _last_move(moves, event)
                part = event.data.part
                if part is None and last is not None and last.kind == "part_fitted":
                    part = last.data.part
                if part is None or part not in spells:
                    group = (event.bike, event.data.position, last and last.id, event.data.part)
                    if group not in made:
                        made[group] = part or f"part-{event.id}"
                        spell = Spell(event.bike, key, True, False)
                        spells[made[group]].append(spell)
                        found[event.bike, event.data.position].append(spell)
                    part = made[group]
                done[event.id] = self._sum(part, spells[part], event, km_per_day)
        return done

    def _sum(
        self, part: str, spells: list[Spell], event: Event, km_per_day: Callable[[str], float]
    ) -> Walked:
        now, total, days, worst = order_key(event), 0.0, 0.0, 0
        is_known = True
        for spell in spells:
            rate, bike = km_per_day(spell.bike), self.bikes[spell.bike]
            end = spell.end or now
            first, last = bike.km(spell.start, rate), bike.km(end, rate)
            is_here = spell.end is not None or spell.bike == event.bike
            days += (end[0] - spell.start[0]) / DAY
            worst = max(worst, SOURCES.index(first[1]), SOURCES.index(last[1]))
            if first[0] is None or last[0] is None or not is_here:
                is_known = False
            else:
                total += max(last[0] - first[0], 0.0)
        is_from_new = spells[0].is_new and not any(s.is_found for s in spells) and is_known
        if not is_known:
            return Walked(part, None, "unknown", days, False)
        return Walked(part, total, SOURCES[worst], days, is_from_new)


def _last_move(moves: Iterable[Event], event: Event) -> Event | None:
    """Give the last move at a reading's position, or above it where it was no finding."""
    last = None
    for move in moves:
        at = move.data.position
        is_above = event.data.position.startswith(f"{at}.")
        is_finding = move.kind == "part_fitted" and move.data.is_found
        if move.bike == event.bike and (at == event.data.position or (is_above and not is_finding)):
            last = move
    return last
