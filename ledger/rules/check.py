"""Running the rules: at the end of a bike's life, and over the whole of it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence, Set
from dataclasses import replace

from ledger.errors import Problem
from ledger.events import BOOK_KINDS, Event, event_classes, kinds
from ledger.events.job import Line
from ledger.rules import (
    amounts,
    bike,
    charges,
    clocks,
    drivetrain,
    figures,
    job,
    lines,
    personal,
    pressures,
    quotes,
    safety,
    shop,
    words,
)
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Rule, problem
from ledger.rules.strikes import Past, check_strikes
from ledger.state import BikeState, apply, in_order, live, order_key, start

RULES: tuple[Rule, ...] = (
    *bike.RULES,
    *job.RULES,
    *clocks.RULES,
    *quotes.RULES,
    *charges.RULES,
    *lines.RULES,
    *amounts.RULES,
    *words.RULES,
    *figures.RULES,
    *pressures.RULES,
    *safety.RULES,
    *drivetrain.RULES,
    *shop.RULES,
    *personal.RULES,
)
"""Every rule over (state, event, facts), in the order problems are listed."""

_FOR_KIND: Mapping[str, tuple[Rule, ...]] = {
    kind: tuple(rule for rule in RULES if not rule.kinds or kind in rule.kinds)
    for kind in event_classes()
}


def check_event(state: BikeState, event: Event, facts: BookFacts) -> Iterator[Problem]:
    """Give what every rule finds in one event, given the bike just before it."""
    is_brought_in = facts.is_brought_in or _is_restored_charge(event, facts)
    for rule in _FOR_KIND[event.kind]:
        if rule.is_of_entry and is_brought_in:
            continue
        for finding in rule.check(state, event, facts):
            yield problem(event, facts, finding, rule.name, rule.severity)


def _is_restored_charge(event: Event, facts: BookFacts) -> bool:
    """Tell whether a closing only restores, unchanged, the charge of one that was struck.

    Else a closing of before these rules, struck by mistake, could never be recorded again.
    """
    struck = facts.targets.get(event.restores or "")
    if event.kind != "job_closed" or struck is None or struck.kind != "job_closed":
        return False
    return _charges(event) == _charges(struck)


def _charges(event: kinds.JobClosed) -> list[Line]:
    return [line.model_copy(update={"description": None}) for line in event.data.lines]


def check_after(state: BikeState, new_events: Sequence[Event], facts: BookFacts) -> list[Problem]:
    """Give the problems of new events that all come at or after the state's last event.

    Restores are looked up in `facts.targets`. Strikes need `check_timeline`.
    """
    problems: list[Problem] = []
    if any(event.restores is not None for event in new_events):
        problems += check_strikes(new_events, Past.of((), facts), facts)
    ordered = in_order(new_events)
    for index, event in enumerate(ordered):
        problems += check_event(state, event, facts)
        if index + 1 < len(ordered):
            state = apply(state, event, facts.vocabulary)
    return problems


def _by_event(
    events: Sequence[Event], since: int, facts: BookFacts
) -> Iterator[tuple[Event, list[Problem]]]:
    """Walk a live timeline and give each event from a place on with its problems."""
    state = start(events[0].shop if events else "", "")
    for index, event in enumerate(events):
        if index >= since:
            yield event, list(check_event(state, event, facts))
        state = apply(state, event, facts.vocabulary)


def _first_change(counted: Sequence[Event], changed: Iterable[Event]) -> int:
    """Give the place in a timeline from which a commit's events can make a difference."""
    earliest = min(map(order_key, changed), default=None)
    if earliest is None:
        return len(counted)
    return next(
        (index for index, event in enumerate(counted) if order_key(event) >= earliest),
        len(counted),
    )


def _refused_before(stored: Sequence[Event], facts: BookFacts) -> dict[str, set[tuple[str, str]]]:
    """Give what was wrong already with each stored event: (rule, field) by event id."""
    found: dict[str, set[tuple[str, str]]] = defaultdict(set)
    for event, problems in _by_event(stored, 0, facts):
        found[event.id] |= {(found_.rule, found_.field) for found_ in problems}
    return found


def _of_bikes(events: Iterable[Event]) -> list[Event]:
    return [event for event in events if event.kind not in BOOK_KINDS]


def check_timeline(
    timeline: Sequence[Event],
    new_ids: Set[str],
    facts: BookFacts,
    made_of: Sequence[Sequence[Event]] | None = None,
) -> list[Problem]:
    """Give the problems of a commit's events, and of older events that they newly break.

    `timeline` is everything stored of one bike (and of the tags joined with it) with the new
    events added: strikes and struck events too, so that what a strike breaks is found. What was
    wrong with older events before is not held against the commit. Where the commit joins tags
    or parts them, `made_of` is what was stored of each bike there was before.
    """
    new = [event for event in timeline if event.id in new_ids]
    stored = [event for event in timeline if event.id not in new_ids]
    past = Past.of(stored, facts)
    problems = list(check_strikes(in_order(new), past, facts))
    after = _of_bikes(live(timeline))
    tags = {event.bike for event in after if event.kind == "bike_registered" and event.bike}
    facts = replace(facts, bikes=tags, commit_events=facts.commit_events or new)
    targets = [past.events.get(event.data.target) for event in new if event.kind == "event_struck"]
    changed = [*new, *(target for target in targets if target is not None)]
    broken: list[tuple[Event, Problem]] = []
    since = _first_change(after, changed) if made_of is None else 0
    for event, found in _by_event(after, since, facts):
        if event.id in new_ids:
            problems += found
        else:
            broken += [(event, one) for one in found if one.severity == "refused"]
    return problems + (_newly(broken, made_of or [stored], facts) if broken else [])


def _newly(
    broken: Sequence[tuple[Event, Problem]], made_of: Sequence[Sequence[Event]], facts: BookFacts
) -> list[Problem]:
    """Give those problems of stored events that were not theirs before."""
    before: dict[str, set[tuple[str, str]]] = defaultdict(set)
    for stored in made_of:
        before |= _refused_before(_of_bikes(live(stored)), facts)
    return [one for event, one in broken if (one.rule, one.field) not in before[event.id]]


def check_book(new_events: Sequence[Event], facts: BookFacts) -> list[Problem]:
    """Give the problems of events of the book itself: terms, mechanics, gauges, links.

    Their strikes and restores are looked up in `facts.targets` and `facts.struck`.
    """
    problems = list(check_strikes(new_events, Past.of((), facts), facts))
    nothing = start(new_events[0].shop if new_events else "", "")
    for event in new_events:
        problems += check_event(nothing, event, facts)
    return problems
