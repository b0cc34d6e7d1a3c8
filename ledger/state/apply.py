"""The fold: what each kind of event changes in a bike's state. Pure, one small function a kind."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from decimal import Decimal
from typing import Any, TypeVar

from ledger.events import Event, kinds
from ledger.events.job import Line
from ledger.events.types import Amount, PutRight
from ledger.state.bike import (
    Advice,
    BikeState,
    Fitted,
    Job,
    Quote,
    Unsafe,
    made_up_part,
)
from ledger.state.timeline import order_key
from ledger.view import OpenAdvice, OpenFault, OpenFinding, Reading, Setting
from ledger.vocabulary import Vocabulary

Changes = dict[str, Any]
K = TypeVar("K")
V = TypeVar("V")
OPENING = ("watch", "due", "unsafe")
PAST = ("due", "unsafe")
_NO_LINES: Mapping[str, Line] = {}


def _put(mapping: Mapping[K, V], key: K, value: V) -> dict[K, V]:
    return {**mapping, key: value}


def _without(mapping: Mapping[K, V], key: K) -> Mapping[K, V]:
    if key not in mapping:
        return mapping
    return {kept: value for kept, value in mapping.items() if kept != key}


def figure(amount: Amount | None) -> Decimal | None:
    """Give the canonical figure of an amount; None where there is none (yet)."""
    return None if amount is None or amount.canonical is None else Decimal(amount.canonical)


def _unit(words: Vocabulary, quantity: str, *amounts: Amount | None) -> str:
    """Give a quantity's canonical unit; for one that was never known, the unit as entered."""
    if quantity in words.quantities:
        return words.quantities[quantity].unit
    if quantity in words.former_units:
        return words.former_units[quantity]
    return next(amount.unit for amount in amounts if amount is not None)


def _registered(state: BikeState, event: kinds.BikeRegistered, words: Vocabulary) -> Changes:
    changes: Changes = {}
    if event.bike is not None:
        changes["registered"] = _put(state.registered, event.bike, event.occurred_at)
    if event.data.speeds is not None:
        changes["speeds"] = event.data.speeds
    if event.data.riding is not None:
        changes["riding"] = event.data.riding
    return changes


def _rider_changed(state: BikeState, event: kinds.RiderChanged, words: Vocabulary) -> Changes:
    riding = event.data.riding or state.riding
    return {"rider": event.data.rider, "keeper": event.data.keeper, "riding": riding}


def _distance_read(state: BikeState, event: kinds.DistanceRead, words: Vocabulary) -> Changes:
    shown = figure(event.data.odometer)
    if shown is None:
        return {}
    earlier, highest = state.earlier_computers_km, state.shown_highest_km
    if event.data.computer_replaced:
        earlier, highest = earlier + highest, Decimal(0)
    return {
        "earlier_computers_km": earlier,
        "shown_highest_km": max(highest, shown),
        "distance_km": earlier + shown,
        "distance_at": event.occurred_at,
    }


def is_at_or_under(position: str, other: str) -> bool:
    """Say whether a position is another one, or lies under it (`fork.seals` under `fork`)."""
    return position == other or position.startswith(f"{other}.")


def disturbed_by_parts(position: str, words: Vocabulary) -> Iterator[str]:
    """Give the positions whose torque a fitting or removal at a position voids."""
    yield position
    yield from words.torqued_under(position)
    yield from words.torque_voided_by(position)


def _disturb(
    state: BikeState, event: Event, positions: Iterator[str], words: Vocabulary
) -> Changes:
    known = words.positions
    torqued = {at: event.id for at in positions if at in known and known[at].is_torqued}
    return {"disturbed": {**state.disturbed, **torqued}} if torqued else {}


def _part_moved(
    state: BikeState, event: kinds.PartFitted | kinds.PartRemoved, words: Vocabulary
) -> Changes:
    """What was measured of, set on or found of what came off counts no longer."""
    at = event.data.position
    voided = set(disturbed_by_parts(at, words))
    settings = {
        place: setting
        for place, setting in state.settings.items()
        if not is_at_or_under(place[0], at) and not (place[1] == "torque" and place[0] in voided)
    }
    readings = {
        place: reading
        for place, reading in state.readings.items()
        if not is_at_or_under(place[0], at)
    }
    unsafe = {key: found for key, found in state.unsafe.items() if not is_at_or_under(key[1], at)}
    findings = {
        place: one for place, one in state.findings.items() if not is_at_or_under(place, at)
    }
    changes = _disturb(state, event, iter(voided), words)
    changes |= {"settings": settings, "readings": readings}
    return {**changes, "unsafe": unsafe, "findings": findings}


def _put_right(state: BikeState, cured: PutRight | None, position: str) -> Changes:
    if cured is None:
        return {}
    at = cured.position or position
    return {
        "faults": _without(state.faults, (at, cured.fault)),
        "unsafe": _without(state.unsafe, ("fault", at, cured.fault)),
    }


def _part_fitted(state: BikeState, event: kinds.PartFitted, words: Vocabulary) -> Changes:
    data = event.data
    part = Fitted(data.part or made_up_part(event.id), event, state.distance_km)
    changes = {} if data.is_found else _part_moved(state, event, words)
    changes["fitted"] = _put(state.fitted, data.position, part)
    return changes | _put_right(state.changed(changes), data.puts_right, data.position)


def _part_removed(state: BikeState, event: kinds.PartRemoved, words: Vocabulary) -> Changes:
    data = event.data
    changes = _part_moved(state, event, words)
    changes["fitted"] = _without(state.fitted, data.position)
    return changes | _put_right(state.changed(changes), data.puts_right, data.position)


def _measured(state: BikeState, event: kinds.Measured, words: Vocabulary) -> Changes:
    data = event.data
    reading = Reading(
        position=data.position,
        quantity=data.quantity,
        point=data.point,
        value=figure(data.value),
        value_low=figure(data.low),
        value_high=figure(data.high),
        unit=_unit(words, data.quantity, data.value, data.low, data.high),
        measured_at=event.occurred_at,
        limit=figure(data.limit),
        verdict=data.verdict,
        event=event.id,
    )
    place = (data.position, data.quantity, data.point)
    changes: Changes = {"readings": _put(state.readings, place, reading)}
    key = ("reading", data.position, data.quantity, data.point or "")
    if data.verdict == "unsafe":
        found = Unsafe(data.position, event.job, event.id)
        changes["unsafe"] = _put(state.unsafe, key, found)
    elif data.verdict not in (None, "not checked") and key in state.unsafe:
        changes["unsafe"] = _without(state.unsafe, key)
    return changes


def _torque_disturbed(state: BikeState, event: kinds.Adjusted, words: Vocabulary) -> Changes:
    """An adjustment voids the torque of what hides it, and its own unless it is a torque."""
    at, is_torque = event.data.position, event.data.quantity == "torque"
    voided = set(words.torque_voided_by(at)) | (set() if is_torque else {at})
    if not voided:
        return {}
    settings = {
        place: setting
        for place, setting in state.settings.items()
        if place[1] != "torque" or place[0] not in voided
    }
    return {**_disturb(state, event, iter(voided), words), "settings": settings}


def _adjusted(state: BikeState, event: kinds.Adjusted, words: Vocabulary) -> Changes:
    data = event.data
    changes = _torque_disturbed(state, event, words)
    value = figure(data.after)
    if data.quantity is not None and value is not None:
        unit = _unit(words, data.quantity, data.after)
        place = (data.position, data.quantity, data.point)
        setting = Setting(*place, value, unit, event.occurred_at, event.id)
        changes["settings"] = _put(changes.get("settings", state.settings), place, setting)
    if data.quantity == "torque":
        disturbed = changes.get("disturbed", state.disturbed)
        changes["disturbed"] = _without(disturbed, data.position)
    return changes | _put_right(state, data.puts_right, data.position)


def _treated(state: BikeState, event: kinds.Treated, words: Vocabulary) -> Changes:
    return _put_right(state, event.data.puts_right, event.data.position)


def _found(
    state: BikeState,
    event: Event,
    position: str,
    fault: str,
    cause: str | None,
    verdict: str | None,
) -> Changes:
    first = state.faults.get((position, fault))
    if first is None:
        found = OpenFault(position, fault, cause, verdict, event.occurred_at, event.id)
    else:
        found = replace(first, cause=cause or first.cause, verdict=verdict or first.verdict)
    return {"faults": _put(state.faults, (position, fault), found)}


def _unsafe_looks(state: BikeState, event: kinds.Inspected) -> Changes:
    """A look that finds a position unsafe stands until it is put right or looks better."""
    data = event.data
    key = ("fault", data.position, data.fault or "")
    if data.verdict == "unsafe":
        found = Unsafe(data.position, event.job, event.id)
        return {"unsafe": _put(state.unsafe, key, found)}
    if data.verdict == "not checked" or not state.unsafe:
        return {}
    if data.fault is not None or data.verdict != "within limit":
        return {"unsafe": _without(state.unsafe, key)}
    kept = {old: found for old, found in state.unsafe.items() if old[:2] != key[:2]}
    return {"unsafe": kept}


def _nameless(state: BikeState, event: kinds.Inspected) -> Changes:
    """A look that names no fault stands, if past a limit, until the next one or a new part."""
    data = event.data
    if data.verdict == "not checked":
        return {}
    if data.verdict not in PAST:
        return {"findings": _without(state.findings, data.position)}
    found = OpenFinding(data.position, data.verdict, event.occurred_at, event.id)
    return {"findings": _put(state.findings, data.position, found)}


def _inspected(state: BikeState, event: kinds.Inspected, words: Vocabulary) -> Changes:
    data = event.data
    changes = _unsafe_looks(state, event)
    if data.fault is None:
        return changes | _nameless(state, event)
    if data.verdict in OPENING:
        return changes | _found(state, event, data.position, data.fault, data.cause, data.verdict)
    if data.verdict == "within limit":
        changes["faults"] = _without(state.faults, (data.position, data.fault))
    return changes


def _diagnosed(state: BikeState, event: kinds.Diagnosed, words: Vocabulary) -> Changes:
    return _found(state, event, event.data.position, event.data.symptom, event.data.cause, None)


def _advised(state: BikeState, event: kinds.Advised, words: Vocabulary) -> Changes:
    data = event.data
    given = OpenAdvice(data.position, data.verdict, data.urgency, event.occurred_at, None, event.id)
    return {"advice": _put(state.advice, event.id, Advice(event.job, given))}


def _advice_answered(state: BikeState, event: kinds.AdviceAnswered, words: Vocabulary) -> Changes:
    return {"advice_answers": _put(state.advice_answers, event.data.advice, event.data.answer)}


def _job(state: BikeState, job: str | None, **changes: Any) -> Changes:
    if job is None:
        return {}
    return {"jobs": _put(state.jobs, job, replace(state.jobs.get(job, Job(job)), **changes))}


def _job_opened(state: BikeState, event: kinds.JobOpened, words: Vocabulary) -> Changes:
    data = event.data
    changes = _job(
        state,
        event.job,
        tier=data.tier,
        opened_at=event.occurred_at,
        promised_at=data.promised_at,
        ceiling_minor=data.ceiling_minor,
        may_approve=data.may_approve,
    )
    return changes | ({"riding": data.riding} if data.riding is not None else {})


def _job_held(state: BikeState, event: kinds.JobHeld, words: Vocabulary) -> Changes:
    return _job(state, event.job, waiting_for=event.data.waiting_for)


def _job_resumed(state: BikeState, event: kinds.JobResumed, words: Vocabulary) -> Changes:
    return _job(state, event.job, waiting_for=None)


def _job_closed(state: BikeState, event: kinds.JobClosed, words: Vocabulary) -> Changes:
    """What was quoted has been charged: a long life need not carry its lines along."""
    quotes = {
        name: replace(quote, lines=_NO_LINES)
        for name, quote in state.quotes.items()
        if quote.job == event.job
    }
    changes = _job(state, event.job, is_closed=True)
    return {**changes, "quotes": {**state.quotes, **quotes}} if quotes else changes


def _without_text(line: Line) -> Line:
    """A description may be sealed or not: the state is to be the same either way."""
    return line if line.description is None else line.model_copy(update={"description": None})


def _quote_given(state: BikeState, event: kinds.QuoteGiven, words: Vocabulary) -> Changes:
    name, lines, replaced = event.data.quote, event.data.lines, event.data.replaces
    quote = Quote(
        name,
        event.job,
        answers={line.line: None for line in lines},
        lines={line.line: _without_text(line) for line in lines},
    )
    quotes = _put(state.quotes, name, quote)
    if replaced is not None and replaced in state.quotes:
        quotes[replaced] = replace(state.quotes[replaced], replaced_by=name)
    return {"quotes": quotes}


def _quote_answered(state: BikeState, event: kinds.QuoteAnswered, words: Vocabulary) -> Changes:
    quote = state.quotes.get(event.data.quote)
    if quote is None:
        return {}
    given = {answer.line: answer.answer for answer in event.data.answers}
    answered = replace(quote, answers={**quote.answers, **given})
    return {"quotes": _put(state.quotes, event.data.quote, answered)}


def _labour_started(state: BikeState, event: kinds.LabourStarted, words: Vocabulary) -> Changes:
    return {"running": _put(state.running, event.actor, event)}


def _labour_stopped(state: BikeState, event: kinds.LabourStopped, words: Vocabulary) -> Changes:
    return {"running": _without(state.running, event.actor)}


_APPLY: dict[str, Callable[[BikeState, Any, Vocabulary], Changes]] = {
    "bike_registered": _registered,
    "rider_changed": _rider_changed,
    "distance_read": _distance_read,
    "part_fitted": _part_fitted,
    "part_removed": _part_removed,
    "measured": _measured,
    "adjusted": _adjusted,
    "treated": _treated,
    "inspected": _inspected,
    "diagnosed": _diagnosed,
    "advised": _advised,
    "advice_answered": _advice_answered,
    "job_opened": _job_opened,
    "job_held": _job_held,
    "job_resumed": _job_resumed,
    "job_closed": _job_closed,
    "quote_given": _quote_given,
    "quote_answered": _quote_answered,
    "labour_started": _labour_started,
    "labour_stopped": _labour_stopped,
}
"""Kinds that are not here change nothing but the count of events."""


UNSEEN = frozenset({"quote_given", "quote_answered", "labour_started", "labour_stopped"})
"""Kinds that change a state, but nothing of what `view_of` shows of it."""
SEEN = frozenset(_APPLY) - UNSEEN
"""Kinds that change what `view_of` shows, beyond how many events there are."""


def apply(state: BikeState, event: Event, vocabulary: Vocabulary) -> BikeState:
    """Give the bike's state after one more live event, which must come last in order."""
    change = _APPLY.get(event.kind)
    changes = change(state, event, vocabulary) if change else {}
    changes["last"] = order_key(event)
    changes["events_used"] = state.events_used + 1
    return state.changed(changes)
