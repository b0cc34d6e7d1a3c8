"""The stages of a walk: how each step of `ledger.bench.walk` is gone through."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING, Any

from ledger.bench import walk
from ledger.bench.walk import Step
from ledger.bench.walked import short_code
from ledger.cli import words
from ledger.cli.bike_page import person
from ledger.cli.booking import booking_of, say_bookings
from ledger.cli.output import say
from ledger.cli.prompts import Back, Skip, Undo, read_line
from ledger.cli.service import Service

if TYPE_CHECKING:
    from ledger.view import Reading, Setting

Stage = Callable[[Service, Step, bool], bool]
"""(service, step, is come to forwards) -> whether anything was asked."""


def bike(service: Service, step: Step, is_forward: bool) -> bool:
    """Find the bike by its tag or in a list, or register a new one."""
    if service.bike:
        return False
    while True:
        text = read_line("Bike (a tag, part of a name, or new)")
        if text == "?" or not text:
            say("  Write a bike tag, a part of its make, model or rider's name, or new.")
        elif text.casefold() == "new":
            return _register(service, step)
        elif _find(service, text):
            return True


def _register(service: Service, step: Step) -> bool:
    tag = service.book.new_tag()
    service.bike = tag
    try:
        service.save_form(step.asks, lambda data: [service.draft(step.kind, data)], defaults={})
    except (Back, Undo):
        service.bike = ""
        raise
    say(f"  The bike's tag is {tag}: write it on the sticker.")
    return True


def _find(service: Service, text: str) -> bool:
    from ledger.cli.bikes import bike_words, matching

    found = matching(service.book, text)
    if len(found) == 1:
        service.bike = found[0].bike
        say(f"  {bike_words(service.book, found[0])}")
        return True
    say("  No bike matches." if not found else f"  {len(found)} bikes match:")
    for row in found[:10]:
        say(f"    {bike_words(service.book, row)}")
    return False


def rider(service: Service, step: Step, is_forward: bool) -> bool:
    """Say who rides, and ask whether that has changed."""
    view = service.view()
    if view.rider or view.keeper:
        rides, answers_for = person(service.book, view.rider), person(service.book, view.keeper)
        say(f"  Ridden by {rides}, kept by {answers_for}. Enter keeps it so.")
    asks = tuple(replace(ask, is_needed=ask.field == "rider") for ask in step.asks)
    _form(service, replace(step, asks=asks))
    return True


def booking(service: Service, step: Step, is_forward: bool) -> bool:
    """Open the job, unless one is open already."""
    if service.job:
        return False
    service.job = short_code("J")
    try:
        opened = service.save_form(step.asks, lambda data: [_job_draft(service, data)], defaults={})
    except (Back, Undo):
        service.job = None
        raise
    say(f"  Job {service.job}.")
    told = [found for event in opened if (found := booking_of(service.book, event)) is not None]
    say_bookings(told, indent="  ")
    return True


def _job_draft(service: Service, data: dict[str, Any]) -> dict[str, Any]:
    if "ceiling_minor" in data:
        data = {**data, "currency": service.book.settings.currency}
    return service.draft("job_opened", data)


def form(service: Service, step: Step, is_forward: bool) -> bool:
    """Ask one form and record it."""
    if step.kind == "distance_read":
        last = service.view().distance_km
        if last is not None:
            say(f"  Last known: {words.figure(last, 'km')}.")
    _form(service, step)
    return True


def _form(service: Service, step: Step, **more: Any) -> None:
    try:
        service.save_form(
            step.asks,
            lambda data: [service.draft(step.kind, {**more, **data})],
            quantity=more.get("quantity", ""),
        )
    except Skip:
        say("  Left out.")


def inspect(service: Service, step: Step, is_forward: bool) -> bool:
    """Go through the systems of the bike, one verdict each."""
    done = {e.data.position: e.data.verdict for e in service.of_job() if e.kind == "inspected"}
    systems = [
        code
        for code in service.book.vocabulary.systems
        if code in service.book.vocabulary.positions
    ]

    def one(system: str, is_forward: bool) -> bool:
        if is_forward and system in done:
            return False
        before = f" (so far: {done[system]})" if system in done else ""
        say(f"  {service.position(system)}{before}")
        _form(service, step, position=system)
        return True

    return service.go_through(systems, one, 0 if is_forward else len(systems) - 1)


def measure(service: Service, step: Step, is_forward: bool) -> bool:
    """Go through what is measured, with the last value and the limit beside."""
    taken = {(e.data.position, e.data.quantity) for e in service.of_job() if e.kind == "measured"}
    last = {(r.position, r.quantity): r for r in service.view().readings}
    pairs = list(dict.fromkeys([*walk.MEASURES, *last]))
    say(f"  {words.CAUTION}")

    def one(pair: tuple[str, str], is_forward: bool) -> bool:
        if is_forward and pair in taken:
            return False
        say(f"  {_measure_words(service, pair, last.get(pair))}")
        _form(service, step, position=pair[0], quantity=pair[1])
        return True

    return service.go_through(pairs, one, 0 if is_forward else len(pairs) - 1)


def _measure_words(service: Service, pair: tuple[str, str], last: Reading | None) -> str:
    known = service.book.vocabulary
    unit = known.quantities[pair[1]].unit
    limit = known.limit_for(*pair, service.state().speeds)
    parts = [f"{service.position(pair[0])}, {words.quantity_words(known, pair[1])}"]
    if last is not None:
        shown = words.span(last.value, last.value_low, last.value_high, last.unit)
        parts.append(
            f"last {shown} on {words.day_words(last.measured_at, service.book.settings.zone)}"
        )
    parts.append(f"limit {words.figure(limit.due, unit)}" if limit else "no limit set")
    return "; ".join(parts)


def torque(service: Service, step: Step, is_forward: bool) -> bool:
    """Go through everything disturbed and not torqued since."""
    positions = sorted(service.state().disturbed)
    if not positions:
        say("  Nothing disturbed is left without its torque.")
        return False
    say(f"  {words.CAUTION}")
    say(f"  Disturbed: {', '.join(service.position(code) for code in positions)}.")

    def one(position: str, is_forward: bool) -> bool:
        if is_forward and position not in service.state().disturbed:
            return False
        say(f"  {service.position(position)}")
        _form(service, step, position=position, quantity="torque")
        return True

    return service.go_through(positions, one, 0 if is_forward else len(positions) - 1)


def pressures(service: Service, step: Step, is_forward: bool) -> bool:
    """Go through the tyres, and the suspension where there is any."""
    view = service.view()
    last = {s.position: s for s in view.settings if s.quantity == "pressure"}
    fitted = {part.position for part in view.fitted}
    done = {
        e.data.position
        for e in service.of_job()
        if e.kind == "adjusted" and e.data.quantity == "pressure"
    }
    say(f"  {words.CAUTION}")
    positions = [
        code for code in walk.PRESSURED if code.endswith(".tyre") or code in fitted or code in last
    ]

    def one(position: str, is_forward: bool) -> bool:
        if is_forward and position in done:
            return False
        say(f"  {service.position(position)}{_last_setting(service, last.get(position))}")
        _form(service, step, position=position, quantity="pressure")
        return True

    return service.go_through(positions, one, 0 if is_forward else len(positions) - 1)


def _last_setting(service: Service, last: Setting | None) -> str:
    if last is None:
        return ""
    day = words.day_words(last.set_at, service.book.settings.zone)
    return f"; last {words.figure(last.value, last.unit)} on {day}"
