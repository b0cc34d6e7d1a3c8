"""The stages of a walk at the bench and at the door: the work done, and handing back."""

from __future__ import annotations

from typing import Any

from ledger.bench import walk
from ledger.bench.walk import Step
from ledger.cli import words
from ledger.cli.money import quote
from ledger.cli.output import say
from ledger.cli.prompts import Back, Skip, Undo, read_line
from ledger.cli.receipt import event_words
from ledger.cli.service import Service


def work(service: Service, step: Step, is_forward: bool) -> bool:
    """Ask what is done next, until nothing more is."""
    menu = ", ".join([each.key for each in walk.WORK] + ["quote"])
    _say_open_faults(service)
    while True:
        try:
            text = read_line(f"Next ({menu}; Enter: nothing more)").casefold()
            if not text:
                return True
            chosen = next((each for each in walk.WORK if each.key.startswith(text)), None)
            if chosen is not None:
                _work_form(service, chosen)
            elif "quote".startswith(text):
                quote(service, walk.QUOTE, True)
            else:
                for each in walk.WORK:
                    say(f"    {each.key}: {each.title}")
                say("    quote: work that came to light later")
        except Undo:
            service.undo()


def _work_form(service: Service, step: Step) -> None:
    try:
        saved = service.save_form(step.asks, lambda data: [_work_draft(service, step, data)])
        if step.kind == "advised":
            _ask_keeper(service, saved[0].id)
    except Skip:
        say("  Left out.")
    except Back:
        return


def _ask_keeper(service: Service, advice: str) -> None:
    step = walk.KEEPER
    try:
        service.save_form(
            step.asks, lambda data: [service.draft(step.kind, {"advice": advice, **data})]
        )
    except Skip:
        say("  No answer yet.")


def _warn_of_unsafe(service: Service) -> None:
    """Have every unsafe finding of this job told to the keeper, and answered."""
    state = service.state()
    found = {one.position for one in state.unsafe.values() if one.job == service.job}
    for position in sorted(found):
        told = [
            event
            for event, advice in state.advice.items()
            if advice.job == service.job
            and (advice.given.position, advice.given.verdict) == (position, "unsafe")
        ]
        say(f"  {service.position(position)} was found unsafe and is not put right.")
        if not told:
            told = _tell(service, position)
        if told and state.advice_answers.get(told[-1]) not in ("yes", "no", "later"):
            _ask_keeper(service, told[-1])


def _tell(service: Service, position: str) -> list[str]:
    given = {"position": position, "verdict": "unsafe", "urgency": "now"}
    try:
        saved = service.save_form(
            walk.UNSAFE, lambda data: [service.draft("advised", {**given, **data})]
        )
    except Skip:
        say("  Not told: the job cannot be closed like this.")
        return []
    return [event.id for event in saved]


def _work_draft(service: Service, step: Step, data: dict[str, Any]) -> dict[str, Any]:
    if step.kind == "part_fitted":
        there = {part.position: part.part for part in service.view().fitted}
        if data["position"] in there:
            say(f"  It takes the place of part {there[data['position']]}.")
            data = {**data, "replaces": there[data["position"]]}
    if step.kind == "goodwill_given" and "value_minor" in data:
        data = {**data, "currency": service.book.settings.currency}
    found_at = _found_at(service, data)
    if found_at is not None:
        say(f"  It was found at {service.position(found_at)}.")
        data = {**data, "puts_right.position": found_at}
    return service.draft(step.kind, data)


def _found_at(service: Service, data: dict[str, Any]) -> str | None:
    """Give where the fault put right was found, if that was elsewhere in the same system."""
    fault, known = data.get("puts_right.fault"), service.book.vocabulary.positions
    if fault is None:
        return None
    system = known[data["position"]].system
    places = [open_.position for open_ in service.view().faults_open if open_.fault == fault]
    same = [place for place in places if place in known and known[place].system == system]
    return same[0] if len(same) == 1 and same != [data["position"]] else None


def _say_open_faults(service: Service) -> None:
    for fault in service.view().faults_open:
        what = words.fault_words(service.book.vocabulary, fault.fault, fault.cause)
        say(f"  Open: {service.position(fault.position)}, {what}: {fault.verdict or 'found'}")
    for found in service.view().findings_open:
        say(f"  Open: {service.position(found.position)}, judged {found.verdict}, nothing named")


def hand_back(service: Service, step: Step, is_forward: bool) -> bool:
    """Release the bike, with the warnings given."""
    _say_open_faults(service)
    for event in service.of_job():
        if event.kind == "measured" and event.data.verdict in ("due", "unsafe"):
            say(f"  {event_words(service.book, event)}")
    say(f"  {words.CAUTION}")
    _warn_of_unsafe(service)
    try:
        warnings = _warnings(service)
        service.save_form(
            step.asks, lambda data: [service.draft(step.kind, {**data, "warnings": warnings})]
        )
    except Skip:
        say("  Left out: the bike is not handed back.")
    return True


def _warnings(service: Service) -> list[dict[str, Any]]:
    warnings: list[dict[str, Any]] = []
    while True:
        try:
            warnings.append(service.asker.form(walk.WARNING, {})[0])
        except Skip:
            return warnings
