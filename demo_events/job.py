"""The order of one job: look, quote, hear the answer, wait, work, check, hand back."""

from __future__ import annotations

from typing import Any

from demo_events.bikes import Bike
from demo_events.days import MIDNIGHTS, moment_text, open_day
from demo_events.handback import close, finish
from demo_events.intake import find, look
from demo_events.parameters import FOUND_LATER_SHARE, TIER_PLAN
from demo_events.quoting import (
    Offer,
    answer,
    correct_slip,
    give,
    offers_of,
    price,
    tier_line,
    warn_of_unsafe,
)
from demo_events.visit import Steps, Visit
from demo_events.work import do, log_labour, tasks

HOUR = 3600


def run(visit: Visit, drop_off: int) -> Steps:
    """Carry one job through; see `demo_events.visit` for what is yielded and sent."""
    if drop_off:
        yield "wait", drop_off
    visit.bike.in_shop = True
    yield from _look(visit)
    offers = yield from _agree(visit)
    yield from _wait_for_parts(visit, offers)
    visit.plan = tasks(visit, offers, "quoted")
    yield from _work(visit)
    yield from _found_later(visit)
    minutes = TIER_PLAN[visit.tier][-1][1] if visit.tier else 5
    slot = yield "bench", _booked(visit, minutes)
    finish(visit, slot)
    pick_up = visit.shop.pick_up(slot.end)
    yield "wait", pick_up
    pick_up = yield from _wait_for_payment(visit, pick_up)
    close(visit, pick_up)
    visit.shop.done(visit)


def _booked(visit: Visit, quoted: int) -> int:
    minutes = visit.actual(quoted)
    visit.treated_minutes += minutes
    return minutes


def _look(visit: Visit) -> Steps:
    bike, shop = visit.bike, visit.shop
    slot = yield "bench", _booked(visit, TIER_PLAN[visit.tier][0][1] if visit.tier else 8)
    bike.advance(shop.day)
    visit.take(slot)
    if bike.known_as:
        _link(visit, bike)
    look(visit)
    shop.swap_tyres(visit)
    visit.clock = max(visit.clock, slot.end)
    kind = "quoted" if visit.come_back_of is None else "come-back"
    log_labour(visit, slot, "inspection", kind)
    visit.save()
    return slot


def _link(visit: Visit, bike: Bike) -> None:
    """The number under the dirt shows that this is a bike the book knows by another tag."""
    data: dict[str, Any] = {"first": {"bike": bike.known_as}, "second": {"bike": bike.tag}}
    data["reason"] = "Same frame number; the first tag washed off."
    visit.clock += 30
    draft = visit.shop.desk.draft("bike_linked", visit.clock, visit.actor, data)
    visit.drafts.append(draft)
    visit.save()
    bike.known_as = ""


def _agree(visit: Visit) -> Steps:
    """Quote and hear the answer, there and then or after a while; gives the offers."""
    correct_slip(visit)
    offers = offers_of(visit, visit.wanted, visit.faults)
    if visit.come_back_of is not None:
        _on_the_house(visit, offers)
        warn_of_unsafe(visit, offers)
        visit.save()
        return offers
    first = [tier_line(visit)] if visit.tier else []
    quote = give(visit, offers, first, is_later=False)
    yield from _hear(visit, quote, offers, first, is_at_once=not offers)
    warn_of_unsafe(visit, offers)
    visit.save()
    return offers


def _hear(
    visit: Visit, quote: str, offers: list[Offer], first: list[dict[str, Any]], is_at_once: bool
) -> Steps:
    rng = visit.shop.rng
    if is_at_once or rng.random() < 0.72:
        visit.clock += 120
        answer(visit, quote, offers, first)
        return
    visit.add("job_held", {"waiting_for": "answer"})
    visit.save()
    moment = visit.shop.later(visit.clock, HOUR // 2 + int(rng.expovariate(1 / 5) * HOUR))
    yield "wait", moment
    visit.clock = moment
    answer(visit, quote, offers, first)
    visit.add("job_resumed", {})


def _on_the_house(visit: Visit, offers: list[Offer]) -> None:
    for offer in offers:
        price(visit, offer)
        for line in offer.lines:
            line.update(net_minor=0, is_goodwill=True)
            visit.lines.append(line)


def _wait_for_parts(visit: Visit, offers: list[Offer]) -> Steps:
    rng, shop = visit.shop.rng, visit.shop
    is_short = any(offer.model and offer.answer == "yes" for offer in offers)
    if not is_short or rng.random() > 0.09:
        return
    visit.clock += 60
    expected = open_day(shop.day + 2 + int(rng.random() * 5))
    due = MIDNIGHTS[expected] + 10 * HOUR
    data = {"waiting_for": "part", "expected_at": moment_text(due)}
    visit.add("job_held", data)
    visit.save()
    arrived = due if rng.random() < 0.7 else MIDNIGHTS[open_day(expected + 3)] + 10 * HOUR
    yield "wait", arrived
    visit.clock = arrived
    visit.add("job_resumed", {"note": "Parts came."})
    visit.save()


def _wait_for_payment(visit: Visit, at: int) -> Steps:
    """Now and then a keeper pays some days later; gives when the job can be closed."""
    if visit.come_back_of is not None or visit.shop.rng.random() > 0.01:
        return at
    visit.clock = at
    visit.add("job_held", {"waiting_for": "payment"})
    visit.save()
    paid = visit.shop.later(at, 2 * 86_400)
    yield "wait", paid
    visit.clock = paid
    visit.add("job_resumed", {"note": "Paid."})
    visit.save()
    return paid + 60


def _work(visit: Visit) -> Steps:
    for task, quoted, kind, offers in visit.plan:
        if visit.come_back_of is not None:
            kind = "come-back"
        slot = yield "bench", _booked(visit, quoted)
        do(visit, slot, task, kind, offers)
    visit.plan = []


def _found_later(visit: Visit) -> Steps:
    """Work that comes to light with the bike half apart: quoted again, done if accepted."""
    rng, shop = visit.shop.rng, visit.shop
    if visit.tier is None or rng.random() > FOUND_LATER_SHARE[visit.tier]:
        return
    mode = shop.hidden_fault(visit)
    if mode is None or not visit.may("late"):
        return
    find(visit, mode)
    offers = offers_of(visit, [], [mode])
    if not offers:
        return
    quote = give(visit, offers, [], is_later=True)
    yield from _hear(visit, quote, offers, [], is_at_once=False)
    warn_of_unsafe(visit, offers)
    visit.save()
    visit.plan = tasks(visit, offers, "found later")
    yield from _work(visit)
