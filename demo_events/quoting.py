"""Naming a price and hearing the answer, line by line; advice for what was declined."""

from __future__ import annotations

from typing import Any

from demo_events.catalogue import PARTS, PartModel, price_at
from demo_events.faults import FaultMode
from demo_events.intake import truth_of_reading
from demo_events.names import CURRENCY
from demo_events.parameters import (
    ANSWERS,
    BAD_BATCH,
    REPLACED_SHARE,
    TAX_RATE,
    TIER_PLAN,
)
from demo_events.population import sort_of_part
from demo_events.visit import Visit

FITTING_MINUTES = {
    "chain": 10, "cassette": 12, "outer": 18, "pads": 14, "rotor": 14, "tyre": 12, "rim": 80,
    "shift_cables": 28, "tube": 10, "bottom_bracket": 40, "pedals": 10,
}  # fmt: skip
FITTING_TASK = {
    "chain": "drivetrain", "cassette": "drivetrain", "outer": "drivetrain", "pads": "brakes",
    "rotor": "brakes", "tyre": "tyres", "rim": "wheel_building", "shift_cables": "gears",
    "tube": "tyres", "bottom_bracket": "bearings", "pedals": "other",
}  # fmt: skip


class Offer:
    """One thing offered: a part to fit or a fault to put right, and its quote lines."""

    __slots__ = ("answer", "is_warranty", "lines", "minutes", "mode", "model", "position", "task")

    def __init__(self, position: str, task: str, minutes: int) -> None:
        self.position = position
        self.task = task
        self.minutes = minutes
        self.mode: FaultMode | None = None
        self.model: PartModel | None = None
        self.is_warranty = False
        self.lines: list[dict[str, Any]] = []
        self.answer = "yes"


def offers_of(visit: Visit, wanted: list[str], faults: list[FaultMode]) -> list[Offer]:
    """Give what the readings and faults ask for, each position once."""
    made = {position: _offer_part(visit, position) for position in wanted}
    for mode in faults:
        if mode.work_at not in made:
            made[mode.work_at] = _offer_fix(visit, mode)
        elif made[mode.work_at].mode is None:
            made[mode.work_at].mode = mode
    return list(made.values())


def _offer_part(visit: Visit, position: str) -> Offer:
    tail = position.rpartition(".")[2]
    offer = Offer(position, FITTING_TASK[tail], FITTING_MINUTES[tail])
    offer.model = visit.shop.rng.choice(PARTS[sort_of_part(visit.bike, position)])
    old = visit.bike.parts.get(position)
    offer.is_warranty = (
        old is not None and (old.model.model, old.batch) == BAD_BATCH and old.is_known
    )
    return offer


def _offer_fix(visit: Visit, mode: FaultMode) -> Offer:
    offer = Offer(mode.work_at, mode.task, mode.minutes)
    offer.mode = mode
    if mode.fix == "part":
        sort = "cables" if mode.what == "cables" else mode.what
        if sort in ("cassette", "pads disc"):
            sort = sort_of_part(visit.bike, mode.work_at)
        offer.model = visit.shop.rng.choice(PARTS[sort])
    return offer


def _line(visit: Visit, line_type: str, code: str, net: int, **more: Any) -> dict[str, Any]:
    line: dict[str, Any] = {"line": f"{visit.job}.{len(visit.forms)}", "line_type": line_type}
    line.update(code=code, net_minor=net, tax_rate=TAX_RATE, payer=visit.bike.rider.keeper)
    line.update(more)
    visit.forms[line["line"]] = ""
    return line


def tier_line(visit: Visit) -> dict[str, Any]:
    """Give the line of the tier itself."""
    assert visit.tier is not None
    minutes = sum(minutes for _, minutes in TIER_PLAN[visit.tier])
    price = visit.shop.tier_price(visit.tier)
    return _line(visit, "labour", visit.tier, price, minutes=minutes)


def price(visit: Visit, offer: Offer) -> None:
    """Give an offer its lines: the part, and the minutes to do it."""
    rate = visit.shop.labour_rate
    if offer.model is not None:
        net = 0 if offer.is_warranty else price_at(offer.model, visit.shop.price_factor)
        cost = 0 if offer.is_warranty else offer.model.cost_minor
        more: dict[str, Any] = {"position": offer.position, "cost_minor": cost}
        if offer.is_warranty:
            more["description"] = "Warranty: the batch wears too fast."
        offer.lines.append(_line(visit, "part", offer.model.model, net, **more))
    net = 0 if offer.is_warranty else round(rate * offer.minutes / 60 / 10) * 10
    more = {"minutes": offer.minutes, "position": offer.position}
    offer.lines.append(_line(visit, "labour", offer.task, net, **more))


def give(visit: Visit, offers: list[Offer], first: list[dict[str, Any]], is_later: bool) -> str:
    """Quote the offers (behind the tier's line, the first time); gives the quote's id."""
    rng = visit.shop.rng
    for offer in offers:
        price(visit, offer)
    lines = [*first, *(line for offer in offers for line in offer.lines)]
    quote = f"{visit.job}.q{2 if is_later else 1}"
    form = "fixed" if rng.random() < 0.75 else "up to"
    visit.forms.update({line["line"]: form for line in lines})
    data: dict[str, Any] = {"quote": quote, "form": form, "currency": CURRENCY, "lines": lines}
    if is_later:
        data["is_found_later"] = True
    elif offers and visit.shop.extra.rng.random() < REPLACED_SHARE:
        data["replaces"] = _dearer(visit, data, first)
    visit.add("quote_given", data)
    return quote


def _dearer(visit: Visit, data: dict[str, Any], first: list[dict[str, Any]]) -> str:
    """Quote it before with all but the tier at a tenth more, which the keeper finds too dear.

    Gives the id of that older quote.
    """
    lines = [
        line if line in first else {**line, "net_minor": line["net_minor"] * 11 // 100 * 10}
        for line in data["lines"]
    ]
    quote = f"{visit.job}.q0"
    visit.add_extra("quote_given", {**data, "quote": quote, "lines": lines})
    return quote


def answer(visit: Visit, quote: str, offers: list[Offer], first: list[dict[str, Any]]) -> None:
    """Hear the answer to every line: the tier is wanted, each offer is taken or not."""
    rng, keeper = visit.shop.rng, visit.bike.rider.keeper
    answers = [{"line": line["line"], "answer": "yes"} for line in first]
    for offer in offers:
        offer.answer = _decide(visit, offer)
        answers += [{"line": line["line"], "answer": offer.answer} for line in offer.lines]
    how = rng.choice(("in person", "phone", "message", "message"))
    data = {"quote": quote, "answers": answers, "by": keeper, "how": how}
    visit.add("quote_answered", data)
    visit.lines += first
    for offer in offers:
        _settle(visit, offer)


def _decide(visit: Visit, offer: Offer) -> str:
    if offer.is_warranty or (offer.position in visit.unsafe and visit.shop.rng.random() < 0.9):
        return "yes"
    if offer.mode is not None and offer.mode is visit.mode:
        return "yes"
    draw = visit.shop.rng.random()
    return next(word for word, share in ANSWERS if draw <= share)


def _settle(visit: Visit, offer: Offer) -> None:
    if offer.answer == "yes":
        visit.lines += offer.lines
        _close_old_advice(visit, offer.position)
        return
    if offer.mode is None or offer.position in visit.unsafe:
        advise(visit, offer)


def _close_old_advice(visit: Visit, position: str) -> None:
    event = visit.bike.advised.pop(position, None)
    if event is None:
        return
    keeper = visit.bike.rider.keeper
    visit.add(
        "advice_answered",
        {"advice": event, "answer": "yes", "by": keeper, "how": "in person"},
    )


def advise(visit: Visit, offer: Offer) -> None:
    """Tell the keeper what was not done and how pressing it is, and hear the answer."""
    rng, keeper, position = visit.shop.rng, visit.bike.rider.keeper, offer.position
    is_unsafe = position in visit.unsafe
    data: dict[str, Any] = {"position": position, "verdict": "unsafe" if is_unsafe else "due"}
    data["urgency"] = "now" if is_unsafe else rng.choice(("soon", "next service"))
    if rng.random() < 0.5:
        data["advice"] = "Past its limit; it will take other parts with it."
    data["price_minor"] = sum(line["net_minor"] for line in offer.lines)
    data.update(currency=CURRENCY, told_to=keeper)
    event = visit.add("advised", data)
    reply = offer.answer
    if is_unsafe:
        reply = "no"
        visit.warnings.append((position, "Past a safety limit; not to be ridden like this."))
    visit.add("advice_answered", {"advice": event, "answer": reply, "by": keeper, "how": "phone"})
    if reply in ("later", "no reply"):
        visit.bike.advised[position] = event


def warn_of_unsafe(visit: Visit, offers: list[Offer]) -> None:
    """A figure past a safety limit is told and answered even where the part is replaced."""
    taken = {offer.position for offer in offers if offer.answer == "yes"}
    for position in dict.fromkeys(visit.unsafe):
        if position not in taken:
            continue
        keeper = visit.bike.rider.keeper
        data = {"position": position, "verdict": "unsafe", "urgency": "now", "told_to": keeper}
        event = visit.add("advised", data)
        reply = {"advice": event, "answer": "yes", "by": keeper, "how": "in person"}
        visit.add("advice_answered", reply)


def correct_slip(visit: Visit) -> None:
    """Strike a reading that was written down wrong and write it again as it was."""
    if visit.slip is None:
        return
    event, data, at = visit.slip
    position = data["position"]
    reason = "Wrote the neighbouring figure."
    visit.add("event_struck", {"target": event, "reason": reason})
    again = visit.add("measured", data, at=at, now=visit.clock)
    truth_of_reading(visit, again, position, visit.bike.parts[position], data["gauge"])
