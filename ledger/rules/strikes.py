"""Rules about strikes and restores: they need what is stored, not only what the bike is."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import dataclass

from ledger.errors import Problem
from ledger.events import Event
from ledger.events.kinds import EventStruck
from ledger.rules.bike import clash
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, problem, when

NAMED = (
    ("strike_unknown", "a strike of an event that is not in the book"),
    ("strike_of_strike", "a strike of a strike"),
    ("struck_already", "a strike of an event that is struck"),
    ("strike_of_other_bike", "a strike that names another bike than its target is of"),
    ("strike_frees_part", "a strike after which a part would be fitted in two places"),
    ("restores_not_struck", "a restore of an event that is not struck, or is of another kind"),
)
"""Names of the rules here with what they refuse."""


@dataclass(frozen=True, slots=True)
class Past:
    """What strikes and restores may name."""

    events: Mapping[str, Event]
    struck: Set[str]
    """Struck before the commit at hand."""

    @classmethod
    def of(cls, stored: Iterable[Event], facts: BookFacts) -> Past:
        """Give the past that stored events and the facts make together."""
        kept = list(stored)
        strikes = {event.data.target for event in kept if event.kind == "event_struck"}
        events = {**facts.targets, **{event.id: event for event in kept}}
        return cls(events, strikes | facts.struck)


def _strike(event: EventStruck, past: Past, facts: BookFacts) -> Iterator[tuple[str, Finding]]:
    target_id, field = event.data.target, "data.target"
    target = past.events.get(target_id)
    if target is None:
        right = "Check the id; what was struck in the same entry need not be entered at all"
        yield "strike_unknown", Finding(field, f"no event {target_id} is stored", right)
        return
    if target.kind == "event_struck":
        right = "Record the struck event again, with restores"
        yield "strike_of_strike", Finding(field, "a strike cannot be struck", right)
    elif target_id in past.struck:
        wrong = f"{target.kind} of {when(target, facts)} is struck already"
        yield "struck_already", Finding(field, wrong, "Leave this out")
    if event.bike != target.bike:
        of = f"bike {event.bike}" if event.bike else "the book itself"
        wrong = f"the event to strike is not of {of}"
        right = f"Enter bike {target.bike}" if target.bike else "Leave the bike out"
        yield "strike_of_other_bike", Finding("bike", wrong, right)
    yield from _frees_part(target, facts)


def _frees_part(target: Event, facts: BookFacts) -> Iterator[tuple[str, Finding]]:
    """Find where a part would be twice once its removal here is struck."""
    if target.kind == "part_removed":
        part = target.data.part
    elif target.kind == "part_fitted":
        part = target.data.replaces
    else:
        return
    moves = [move for move in facts.part_events.get(part or "", ()) if move.id != target.id]
    for before, after in clash(moves, part or ""):
        wrong = f"part {part} would still be at {before.data.position} of bike {before.bike}"
        right = f"Mend first: {after.kind} of {when(after, facts)} (bike {after.bike})"
        yield "strike_frees_part", Finding("data.target", wrong, right)


def _restore(event: Event, past: Past, struck: Set[str]) -> Iterator[tuple[str, Finding]]:
    target = past.events.get(event.restores or "")
    if target is None or event.restores not in struck:
        wrong = f"no struck event {event.restores} is stored"
        yield "restores_not_struck", Finding("restores", wrong, "Leave restores out")
    elif (target.kind, target.bike) != (event.kind, event.bike):
        wrong = f"the struck event is a {target.kind} of bike {target.bike}"
        right = "Record the same kind again, for the same bike"
        yield "restores_not_struck", Finding("restores", wrong, right)


def check_strikes(new: Sequence[Event], past: Past, facts: BookFacts) -> Iterator[Problem]:
    """Give what is wrong with the strikes and restores of a commit."""
    struck: set[str] = set()
    for event in new:
        if event.kind != "event_struck":
            continue
        if event.data.target in struck:
            twice = Finding("data.target", "it is struck twice in this entry", "Leave one out")
            yield problem(event, facts, twice, "struck_already")
        for name, finding in _strike(event, past, facts):
            yield problem(event, facts, finding, name)
        struck.add(event.data.target)
    for event in new:
        if event.restores is not None:
            for name, finding in _restore(event, past, past.struck | struck):
                yield problem(event, facts, finding, name)
