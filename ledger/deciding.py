"""Taking one bike's entries through completion and every rule, at the end of its life or before."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime

from ledger.errors import Problem
from ledger.events import Event
from ledger.prepare import prepare
from ledger.riders import Keyring
from ledger.rules import BookFacts, check_after, check_book, check_timeline, name_event
from ledger.sealing import has_text, seal_event, texts_of
from ledger.state import BikeState, apply, in_order, live, start


@dataclass(frozen=True, slots=True)
class Life:
    """A bike as after its last event, and when that was."""

    state: BikeState
    last_at: datetime | None = None

    def takes_at_the_end(self, events: Iterable[Event]) -> bool:
        """Tell whether events follow all there is, so that nothing before them is touched."""
        return all(
            event.kind != "event_struck"
            and (self.last_at is None or event.occurred_at >= self.last_at)
            for event in events
        )


@dataclass(slots=True)
class Findings:
    """What deciding over the bikes of one commit has given so far."""

    done: dict[str, Event] = field(default_factory=dict)
    """The completed events, by id."""
    problems: list[Problem] = field(default_factory=list)
    lives: dict[str, Life] = field(default_factory=dict)
    riders: dict[str, str | None] = field(default_factory=dict)
    """By event id: whose key seals its text."""


def add_at_the_end(
    bike: str, life: Life, events: Sequence[Event], facts: BookFacts, to: Findings
) -> None:
    """Decide over events that follow everything a bike has."""
    state, last_at = life.state, life.last_at
    for event in in_order(events):
        completed, found = prepare(event, state, facts)
        to.problems += [*found, *check_after(state, [completed], facts)]
        state, last_at = apply(state, completed, facts.vocabulary), event.occurred_at
        to.done[event.id], to.riders[event.id] = completed, state.rider
    to.lives[bike] = Life(state, last_at)


def add_to_the_past(
    tags: tuple[str, ...],
    stored: Sequence[Event],
    events: Sequence[Event],
    facts: BookFacts,
    to: Findings,
    made_of: Sequence[Sequence[Event]] | None = None,
) -> None:
    """Decide over events that change a bike's past: its whole life is held to the rules.

    `made_of`: see `check_timeline`.
    """
    if not stored and not events:
        return
    new = {event.id: event for event in events}
    completed, state = dict(new), start([*events, *stored][0].shop, tags[0])
    for event in live([*stored, *events]):
        if event.id in new:
            event, found = prepare(event, state, facts)
            to.problems += found
            completed[event.id] = event
        state = apply(state, event, facts.vocabulary)
        to.riders[event.id] = state.rider
    timeline = in_order([*stored, *completed.values()])
    to.problems += check_timeline(timeline, frozenset(new), facts, made_of)
    to.done.update(completed)
    to.riders.update({one: state.rider for one in new if one not in to.riders})
    if len(tags) == 1:
        counted = live(timeline)
        to.lives[tags[0]] = Life(state, counted[-1].occurred_at if counted else None)


def add_to_the_book(events: Sequence[Event], facts: BookFacts, to: Findings) -> None:
    """Decide over events of the book itself."""
    for event in events:
        completed, found = prepare(event, None, facts)
        to.problems += found
        to.done[event.id], to.riders[event.id] = completed, None
    to.problems += check_book([to.done[event.id] for event in events], facts)


def of_forgotten(
    events: Sequence[Event], riders: Mapping[str, str | None], keys: Keyring, facts: BookFacts
) -> list[Problem]:
    """Give the problems of text about bikes whose riders were forgotten: nothing can seal it."""
    forgotten = keys.forgotten_among(riders[event.id] for event in events if has_text(event))
    return [
        Problem(
            name_event(event, facts),
            texts_of(event)[0],
            f"the bike's rider {riders[event.id]} was forgotten, so no key is left to seal text",
            "Record who rides it now first (rider_changed; nobody in particular is an answer too), "
            "or leave the text out",
            "rider_forgotten",
        )
        for event in events
        if riders[event.id] in forgotten and has_text(event)
    ]


def sealed(events: Sequence[Event], riders: Mapping[str, str | None], keys: Keyring) -> list[Event]:
    """Give the events with every free text sealed by the key of the bike's rider."""
    asked = {event.id: riders[event.id] for event in events if has_text(event)}
    ids = keys.keys_for(asked.values()) if asked else {}
    return [
        seal_event(event, ids[asked[event.id]], keys) if event.id in asked else event
        for event in events
    ]
