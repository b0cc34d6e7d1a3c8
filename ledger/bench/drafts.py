"""What each press at the bench records: drafts, with the caller's own id, so that a press that is
sent twice is one event.

Nothing here writes. Every function takes the `Hand` that enters and gives one draft; hand a list
of them to `Book.append`. Fields that are None are left out. Take the id when the form is shown
(`new_id`), keep it with what is half typed (`ledger.unsent`), and hand the same one in again
after a lost answer.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

import uuid_utils

from ledger.bench.walked import nested
from ledger.events.types import format_moment

if TYPE_CHECKING:
    from ledger.bench.shapes import Rest

Draft = dict[str, Any]
Amount = Mapping[str, str]
"""A figure as entered: `{"value": "4.5", "unit": "bar"}`."""


@dataclass(frozen=True, slots=True)
class Hand:
    """Who enters, on which bike, in which job (None before one is open)."""

    actor: str
    bike: str
    job: str | None = None


def new_id() -> str:
    """Give an id for an event that is about to be entered: a UUID of version 7."""
    return str(uuid_utils.uuid7())


def amount(value: str, unit: str) -> dict[str, str]:
    """Give a figure as entered, a decimal comma read as a point."""
    return {"value": value.strip().replace(",", ".").replace("−", "-"), "unit": unit}


def draft(
    hand: Hand, kind: str, event_id: str, data: Mapping[str, Any], at: datetime | None = None
) -> Draft:
    """Give the plain form of one event; fields that are None or empty text are left out.

    Dotted names (`puts_right.fault`) are put inside one another. `at` is when it happened; the
    moment it is recorded where that is not given.
    """
    given = {name: value for name, value in data.items() if value not in (None, "")}
    where = {"bike": hand.bike, "job": hand.job}
    when = {} if at is None else {"occurred_at": format_moment(at)}
    return {
        "id": event_id,
        "kind": kind,
        "actor": hand.actor,
        **{name: text for name, text in where.items() if text},
        **when,
        "data": nested(given),
    }


# -- the bike, its rider, the visit ----------------------------------------------------------


def registered(actor: str, tag: str, event_id: str, **fields: Any) -> Draft:
    """Give what enters a bike; whatever is not known is left out (`first_used_on`: history).

    Fields: make, model, bike_kind, wheel_size, speeds, is_e_bike, riding, first_used_on,
    frame_number, description.
    """
    return draft(Hand(actor, tag), "bike_registered", event_id, fields)


def rider_set(
    hand: Hand,
    event_id: str,
    rider: str | None,
    *,
    keeper: str | None = None,
    payer: str | None = None,
    riding: str | None = None,
) -> Draft:
    """Give who rides the bike from now on; None is nobody in particular."""
    who = {"rider": rider, "keeper": keeper, "payer": payer, "riding": riding}
    return draft(Hand(hand.actor, hand.bike), "rider_changed", event_id, who)


def distance(
    hand: Hand,
    event_id: str,
    odometer: Amount,
    *,
    source: str = "read",
    is_computer_replaced: bool = False,
) -> Draft:
    """Give what the bike's computer shows; `source` is read, told or estimated."""
    data: Draft = {"odometer": odometer, "source": source}
    data |= {"computer_replaced": True} if is_computer_replaced else {}
    return draft(hand, "distance_read", event_id, data)


def job_opened(actor: str, bike: str, job: str, event_id: str, **fields: Any) -> Draft:
    """Give what books a bike in; `job` is a new id (`walked.short_code("J")`).

    Fields: complaint, tier, riding, promised_at, ceiling_minor, currency, came_with,
    come_back_of.
    """
    return draft(Hand(actor, bike, job), "job_opened", event_id, fields)


def job_held(hand: Hand, event_id: str, waiting_for: str, **fields: Any) -> Draft:
    """Give what holds the job: for an answer, part, payment or other. Fields: expected_at, note."""
    return draft(hand, "job_held", event_id, {"waiting_for": waiting_for, **fields})


def job_resumed(hand: Hand, event_id: str, note: str | None = None) -> Draft:
    """Give what lets a held job go on."""
    return draft(hand, "job_resumed", event_id, {"note": note})


# -- looking and measuring -------------------------------------------------------------------


def found(
    hand: Hand,
    event_id: str,
    position: str,
    verdict: str,
    *,
    fault: str | None = None,
    cause: str | None = None,
    why_not_checked: str | None = None,
    note: str | None = None,
) -> Draft:
    """Give a verdict on a position; "not checked" needs its reason."""
    data = {"position": position, "verdict": verdict, "fault": fault, "cause": cause}
    words = {"why_not_checked": why_not_checked, "note": note}
    return draft(hand, "inspected", event_id, {**data, **words})


def rest_within(hand: Hand, event_id: str, rest: Rest) -> Draft:
    """Give "rest of this system within limit": exactly what `rest.covers` lists."""
    data = {"position": rest.position, "verdict": "within limit", "covers": list(rest.covers)}
    return draft(hand, "inspected", event_id, data)


def measured(
    hand: Hand,
    event_id: str,
    position: str,
    quantity: str,
    *,
    value: Amount | None = None,
    low: Amount | None = None,
    high: Amount | None = None,
    point: str | None = None,
    gauge: str | None = None,
    limit: Amount | None = None,
    verdict: str | None = None,
    over_pitches: int | None = None,
    length_when_new: Amount | None = None,
    has_backing_plate: bool | None = None,
    note: str | None = None,
) -> Draft:
    """Give one reading: a value, or what go/no-go marks leave (`low`: the mark that went in on
    the good side, `high`: the one that did not; one of them may be missing)."""
    data = {
        **{"position": position, "quantity": quantity, "point": point},
        **{"value": value, "low": low, "high": high, "gauge": gauge, "limit": limit},
        **{"verdict": verdict, "over_pitches": over_pitches, "length_when_new": length_when_new},
        **{"with_backing_plate": has_backing_plate, "note": note},
    }
    return draft(hand, "measured", event_id, data)


def diagnosed(
    hand: Hand,
    event_id: str,
    position: str,
    symptom: str,
    why_stopped: str,
    *,
    cause: str | None = None,
    steps: Sequence[Mapping[str, str]] = (),
    note: str | None = None,
) -> Draft:
    """Give a search for a cause; `steps` are `{"tried", "result"}` each."""
    data = {"position": position, "symptom": symptom, "cause": cause, "note": note}
    tried = {"steps": [dict(step) for step in steps] or None, "why_stopped": why_stopped}
    return draft(hand, "diagnosed", event_id, {**data, **tried})


# -- work ------------------------------------------------------------------------------------


def fitted(hand: Hand, event_id: str, position: str, there: str | None, **fields: Any) -> Draft:
    """Give a part that is fitted; it takes the place of `there`, the part on it now.

    Fields: part, make, model, size, origin, is_found, batch, serial, limits
    (`[{"quantity", "limit": amount}]`), note, and `puts_right.fault`, `.position`, `.cause`.
    """
    data = {"position": position, "replaces": there, **fields}
    return draft(hand, "part_fitted", event_id, data)


def removed(hand: Hand, event_id: str, position: str, **fields: Any) -> Draft:
    """Give a part that comes off. Fields: part, reason, kept, note, `puts_right.…`."""
    return draft(hand, "part_removed", event_id, {"position": position, **fields})


def adjusted(hand: Hand, event_id: str, position: str, **fields: Any) -> Draft:
    """Give a setting, with a figure or without.

    Fields: quantity and after (together), point, before, tool, thread, maker_low, maker_high,
    note, `puts_right.…`.
    """
    return draft(hand, "adjusted", event_id, {"position": position, **fields})


def torqued(
    hand: Hand,
    event_id: str,
    position: str,
    after: Amount,
    *,
    tool: str | None = None,
    thread: str | None = None,
    maker_low: Amount | None = None,
    maker_high: Amount | None = None,
) -> Draft:
    """Give a torque that was set: signed by the hand that enters it."""
    maker = {"maker_low": maker_low, "maker_high": maker_high}
    data = {"quantity": "torque", "after": after, "tool": tool, "thread": thread}
    return adjusted(hand, event_id, position, **data, **maker)


def pressure_set(
    hand: Hand, event_id: str, position: str, after: Amount, *, tool: str | None = None
) -> Draft:
    """Give a pressure that was set."""
    return adjusted(hand, event_id, position, quantity="pressure", after=after, tool=tool)


def treated(hand: Hand, event_id: str, position: str, treatment: str, **fields: Any) -> Draft:
    """Give a treatment. Fields: count, is_preventive, note, `puts_right.…`."""
    data = {"position": position, "treatment": treatment, **fields}
    return draft(hand, "treated", event_id, data)


def noted(hand: Hand, event_id: str, position: str, text: str) -> Draft:
    """Give a standing note, shown whenever that position is opened."""
    return draft(hand, "noted", event_id, {"position": position, "text": text})


def labour(
    hand: Hand, event_id: str, task: str, minutes: int, minutes_kind: str = "quoted"
) -> Draft:
    """Give minutes entered afterwards; clocks are moved by `ledger.clocks`."""
    data = {"task": task, "minutes": minutes, "minutes_kind": minutes_kind}
    return draft(hand, "labour_logged", event_id, data)


def goodwill(hand: Hand, event_id: str, **fields: Any) -> Draft:
    """Give what is not charged. Fields: task, position, minutes, value_minor, currency, note."""
    return draft(hand, "goodwill_given", event_id, fields)


# -- the keeper, the door --------------------------------------------------------------------


def advised(
    hand: Hand, event_id: str, position: str, verdict: str, urgency: str, **fields: Any
) -> Draft:
    """Give advice to the keeper. Fields: advice, price_minor, currency, told_to."""
    data = {"position": position, "verdict": verdict, "urgency": urgency, **fields}
    return draft(hand, "advised", event_id, data)


def answered(
    hand: Hand,
    event_id: str,
    advice: str,
    answer: str,
    how: str,
    *,
    by: str | None = None,
    note: str | None = None,
) -> Draft:
    """Give the keeper's answer to advice: yes, no, later or no reply."""
    data = {"advice": advice, "answer": answer, "how": how, "by": by, "note": note}
    return draft(hand, "advice_answered", event_id, data)


def released(
    hand: Hand,
    event_id: str,
    is_test_ridden: bool,
    *,
    why_not_ridden: str | None = None,
    rechecked: Sequence[str] = (),
    warnings: Sequence[Mapping[str, str]] = (),
    handed_to: str | None = None,
) -> Draft:
    """Give the hand-back; `warnings` are `{"position", "warning"}` each."""
    data = {"is_test_ridden": is_test_ridden, "why_not_ridden": why_not_ridden}
    told = {"rechecked": list(rechecked) or None, "handed_to": handed_to}
    given = {"warnings": [dict(one) for one in warnings] or None}
    return draft(hand, "released", event_id, {**data, **told, **given})


def closed(
    hand: Hand,
    event_id: str,
    lines: Sequence[Mapping[str, Any]],
    currency: str,
    note: str | None = None,
) -> Draft:
    """Give what ends the job; the lines are `handing_back.charge_lines`."""
    data: Draft = {"lines": [dict(line) for line in lines], "note": note}
    data |= {"currency": currency} if lines else {}
    return draft(hand, "job_closed", event_id, data)


# -- mending ---------------------------------------------------------------------------------


def struck(hand: Hand, event_id: str, target: str, reason: str) -> Draft:
    """Give what voids an earlier event; it stays readable."""
    return draft(hand, "event_struck", event_id, {"target": target, "reason": reason})


def linked(actor: str, event_id: str, first: str, second: str, reason: str | None = None) -> Draft:
    """Give what says that two tags are one bike: from now on they are read as one."""
    data: Draft = {"first": {"bike": first}, "second": {"bike": second}}
    data |= {"reason": reason} if reason else {}
    return {"id": event_id, "kind": "bike_linked", "actor": actor, "data": data}
