"""The work itself: labour by task, parts fitted, faults put right, unbilled prevention."""

from __future__ import annotations

from typing import Any

from demo_events.bikes import Part
from demo_events.days import windows
from demo_events.faults import PREVENTIVE
from demo_events.parameters import BREAK_CLOCK_SHARE, PREVENTION_DAYS, PREVENTION_SHARE, TIER_PLAN
from demo_events.quoting import Offer
from demo_events.visit import Slot, Visit

Task = tuple[str, int, str, list[Offer]]
"""(task, quoted minutes, kind of minutes, what to do beside the tier's own work)."""
TORQUED = frozenset(
    {"cassette", "chainring.outer", "bottom_bracket", "pedals", "saddle", "seatpost"}
)
TIER_WORK: dict[str, dict[str, Any]] = {
    "drivetrain": {"position": "drivetrain", "treatment": "degreased"},
    "bearings": {"position": "front_wheel.hub", "treatment": "greased"},
}
"""What the tier's own tasks leave in the book."""
LARGE = ("full_service", "overhaul")


def tasks(visit: Visit, offers: list[Offer], minutes_kind: str) -> list[Task]:
    """Give the tier's own tasks and what was accepted; what is alike is done together."""
    planned: dict[str, tuple[int, list[Offer]]] = {}
    if minutes_kind == "quoted":
        planned = {
            task: (minutes, []) for task, minutes in TIER_PLAN.get(visit.tier or "", ())[1:-1]
        }
    for offer in offers:
        if offer.answer == "yes":
            minutes, together = planned.get(offer.task, (0, []))
            planned[offer.task] = (minutes + offer.minutes, [*together, offer])
    return [
        (task, minutes, minutes_kind, together) for task, (minutes, together) in planned.items()
    ]


def do(visit: Visit, slot: Slot, task: str, minutes_kind: str, offers: list[Offer]) -> None:
    """Do one task at the bench and book the minutes it took."""
    is_clocked = not slot.has_break and visit.shop.rng.random() < 0.08
    visit.take(slot)
    if is_clocked:
        _start_clock(visit, slot, {"task": task, "minutes_kind": minutes_kind})
    for offer in offers:
        _fulfil(visit, offer)
    if task in TIER_WORK and minutes_kind == "quoted" and visit.tier in LARGE:
        _tier_work(visit, task)
    visit.clock = max(visit.clock, slot.end)
    if is_clocked:
        visit.add("labour_stopped", {}, at=slot.end)
    else:
        is_clocked = log_labour(visit, slot, task, minutes_kind, may_clock=True)
    visit.save()
    if is_clocked:
        visit.shop.clocks_stopped[slot.mechanic] = visit.recorded


def _start_clock(visit: Visit, slot: Slot, data: dict[str, str]) -> None:
    """Start a mechanic's clock; it is written down after the last one was stopped."""
    visit.add("labour_started", data, at=slot.start)
    visit.recorded = max(visit.recorded, visit.shop.clocks_stopped.get(slot.mechanic, 0))
    visit.save()


def log_labour(
    visit: Visit, slot: Slot, task: str, minutes_kind: str, *, may_clock: bool = False
) -> bool:
    """Book minutes afterwards; now and then a figure is wrong, or the wrong line is struck.

    With `may_clock`, some stretches over the midday break are clocked instead; says whether.
    """
    data = {"task": task, "minutes": slot.minutes, "minutes_kind": minutes_kind}
    draw = visit.shop.rng.random()
    if draw > 0.003:
        may_clock = may_clock and slot.has_break
        if may_clock and visit.shop.extra.rng.random() < BREAK_CLOCK_SHARE:
            _clock_over_break(visit, slot, task, minutes_kind)
            return True
        visit.add("labour_logged", data, at=slot.end)
        return False
    is_wrong = draw < 0.002
    minutes = slot.minutes + (60 if is_wrong else 0)
    struck = visit.add("labour_logged", {**data, "minutes": minutes}, at=slot.end)
    visit.clock = max(visit.clock, slot.end)
    visit.save()
    visit.clock += 300
    reason = "An hour too many." if is_wrong else "Struck by mistake for the line above."
    visit.add("event_struck", {"target": struck, "reason": reason})
    if not is_wrong:
        visit.save()
        visit.clock += 120
    visit.add("labour_logged", data, at=slot.end, now=visit.clock)
    if not is_wrong:
        visit.drafts[-1]["restores"] = struck
    return False


def _clock_over_break(visit: Visit, slot: Slot, task: str, minutes_kind: str) -> None:
    """Clock a stretch, paused while the bench is at its midday meal."""
    bench = visit.shop.mechanics.index(slot.mechanic)
    morning, afternoon = windows(bench, visit.shop.day)
    before = (morning[1] - slot.start) // 60
    started = {"task": task, "minutes_kind": minutes_kind}
    visit.add_extra("labour_started", started, slot.start)
    paused = {"minutes": before, "is_paused": True}
    visit.add_extra("labour_stopped", paused, slot.start + before * 60)
    visit.add_extra("labour_started", started, afternoon[0])
    visit.add("labour_stopped", {"minutes": slot.minutes - before}, at=slot.end)
    stopped = visit.shop.clocks_stopped.get(slot.mechanic, 0)
    visit.recorded = max(visit.recorded, stopped)


def _tier_work(visit: Visit, task: str) -> None:
    if task == "bearings" or visit.shop.rng.random() < 0.2:
        visit.add("treated", dict(TIER_WORK[task]))


def _fulfil(visit: Visit, offer: Offer) -> None:
    mode = offer.mode
    right = None
    if mode is not None:
        right = {"fault": mode.fault, "cause": mode.cause}
        if mode.position != mode.work_at:
            right["position"] = mode.position
    event = fit(visit, offer, right) if offer.model is not None else _fix(visit, offer, right)
    if mode is not None:
        visit.put_right(event, mode, offer.model.model if offer.model else "")


def _fix(visit: Visit, offer: Offer, right: dict[str, str] | None) -> str:
    mode = offer.mode
    assert mode is not None
    data: dict[str, Any] = {"position": mode.work_at, "puts_right": right}
    if mode.fix == "treated":
        return visit.add("treated", {**data, "treatment": mode.what})
    visit.disturb(mode.work_at, mode.work_at in TORQUED and mode.fix != "torqued")
    if mode.fix == "torqued":
        return visit.add("adjusted", {**data, **visit.shop.torque(mode.work_at)})
    return visit.add("adjusted", data)


def fit(visit: Visit, offer: Offer, right: dict[str, str] | None) -> str:
    """Fit a part in place of what sits there; the old one leaves the bike."""
    bike, shop, position = visit.bike, visit.shop, offer.position
    old = bike.parts.get(position)
    part = shop.new_part(bike, position, offer.model)
    data = shop.fitting(bike, position, part)
    if old is not None and "replaces" in data and shop.rng.random() < 0.2:
        del data["replaces"]
        reason = "recall" if offer.is_warranty else "worn"
        kept = "given back" if shop.rng.random() < 0.3 else "scrapped"
        visit.add(
            "part_removed",
            {"position": position, "part": old.code, "reason": reason, "kept": kept},
        )
    _origin(visit, offer, part, data)
    if right is not None:
        data["puts_right"] = right
    bike.parts[position] = part
    visit.disturb(position, position in TORQUED or position.endswith("rotor"))
    if position.endswith((".tyre", ".tube", ".rim")):
        visit.wheels.add(position.split(".")[0])
        visit.torque.add(position.split(".")[0])
    return visit.add("part_fitted", data)


def _origin(visit: Visit, offer: Offer, part: Part, data: dict[str, Any]) -> None:
    if offer.is_warranty:
        data["origin"] = "warranty"
    elif part.law == "ring" and visit.shop.rng.random() < 0.08:
        data["origin"] = "second hand"
    elif part.batch:
        data["batch"] = part.batch


def prevent(visit: Visit) -> None:
    """Do a little work nobody is billed for, which truly keeps trouble away for a while."""
    rng, bike = visit.shop.rng, visit.bike
    if visit.tier is None or rng.random() > PREVENTION_SHARE[visit.tier]:
        return
    if not visit.may("preventive"):
        return
    choices = [position for position in PREVENTIVE if visit.shop.has(bike, position)]
    for position in rng.sample(choices, 1 if rng.random() < 0.6 else 2):
        data = {"position": position, "treatment": PREVENTIVE[position], "is_preventive": True}
        visit.add("treated", data)
        bike.prevented[position] = visit.shop.day + PREVENTION_DAYS
