"""Fleets: lists of distances written up days later, and tyres that change places."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from demo_events.bikes import Bike
from demo_events.days import COUNT_DAYS, MIDNIGHTS, WEEKDAYS
from demo_events.intake import make_known, shown_km
from demo_events.visit import Visit

if TYPE_CHECKING:
    from demo_events.workshop import Workshop

EVERY_DAYS = 56


def lists_of_fleets(shop: Workshop) -> None:
    """On every eighth Friday the fleets write down what each bike's computer shows."""
    if WEEKDAYS[shop.day] != 4 or shop.day // 7 % (EVERY_DAYS // 7) or shop.day + 5 > COUNT_DAYS:
        return
    at = MIDNIGHTS[shop.day] + 17 * 3600 + 1800
    lists: dict[int, list[tuple[Bike, int]]] = {}
    for bike in shop.bikes:
        if bike.fleet is None or not bike.visits or bike.in_shop or not bike.has_computer:
            continue
        bike.advance(shop.day)
        lists.setdefault(bike.fleet, []).append((bike, shown_km(bike)))
    shop.fleet_lists = [(at, rows) for rows in lists.values()]


def save_lists(shop: Workshop) -> None:
    """Record the lists on the next open day: backdated to when they were written."""
    now = MIDNIGHTS[shop.day] + 8 * 3600 + 1800
    for at, rows in shop.fleet_lists:
        now += 300 + int(shop.rng.random() * 300)
        drafts = []
        for bike, shown in rows:
            odometer = {"value": str(shown), "unit": bike.unit}
            data = {"odometer": odometer, "source": "told"}
            actor = shop.mechanics[0]
            draft = shop.desk.draft("distance_read", at, actor, data, bike=bike.tag, now=now)
            drafts.append(draft)
        shop.desk.save(now, drafts)
    shop.fleet_lists = []


def swap_tyres(shop: Workshop, visit: Visit) -> None:
    """Now and then tyres change places, on one bike or between two of a fleet."""
    draw = shop.rng.random()
    bike = visit.bike
    if visit.tier is None or any(at.endswith("tyre") for at in visit.wanted):
        return
    if bike.fleet is not None and draw < 0.03:
        other = _other_of_fleet(shop, bike)
        if other is not None:
            _swap(visit, (bike, "rear_wheel.tyre"), (other, "rear_wheel.tyre"), "moved")
    elif draw > 0.99 and visit.tier == "overhaul":
        _swap(visit, (bike, "front_wheel.tyre"), (bike, "rear_wheel.tyre"), "rotated")


def _other_of_fleet(shop: Workshop, bike: Bike) -> Bike | None:
    for other in shop.bikes:
        if other.fleet != bike.fleet or other is bike or other.in_shop or not other.visits:
            continue
        if other.parts["rear_wheel.tyre"].is_known and other.rider.riding == bike.rider.riding:
            other.advance(shop.day)
            return other
    return None


def _swap(visit: Visit, one: tuple[Bike, str], two: tuple[Bike, str], reason: str) -> None:
    position = one[1]
    for holder, at in (one, two):
        if holder is visit.bike:
            make_known(visit, at)
    visit.save()
    for holder, at in (one, two):
        part = holder.parts[at]
        data = {"position": at, "part": part.code, "reason": reason, "kept": "other"}
        _write(visit, holder, "part_removed", data)
    first, second = one[0].parts[one[1]], two[0].parts[two[1]]
    one[0].parts[one[1]], two[0].parts[two[1]] = second, first
    for holder, at in (one, two):
        part = holder.parts[at]
        data = {"position": at, "part": part.code, "make": part.model.make}
        _write(visit, holder, "part_fitted", {**data, "model": part.model.model})
    visit.wheels.add(position.split(".")[0])


def _write(visit: Visit, holder: Bike, kind: str, data: dict[str, Any]) -> None:
    visit.clock += 40
    job = visit.job if holder is visit.bike else None
    draft = visit.shop.desk.draft(
        kind, visit.clock, visit.actor, data, bike=holder.tag, job=job
    )  # fmt: skip
    visit.drafts.append(draft)
