"""Deciding what becomes of entries: completed, held against every rule, sealed and numbered.

Nothing here writes. The recorder keeps the state of bikes it has met, so that recording at the
end of a bike's history does not read that history again.
"""

from __future__ import annotations

import json
from bisect import bisect_right
from collections import OrderedDict, defaultdict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID

from ledger.deciding import (
    Findings,
    Life,
    add_at_the_end,
    add_to_the_book,
    add_to_the_past,
    of_forgotten,
    sealed,
)
from ledger.drafts import Entry
from ledger.errors import ClockJumped, Problem
from ledger.events import Event, parse_event
from ledger.facts import facts_of, joined_tags, linked_tags, regrouped, tags_of, words_of
from ledger.receipts import EventReceipt, Receipt
from ledger.repeats import as_entered, clash, difference
from ledger.riders import Keyring
from ledger.rules import BookFacts
from ledger.settings import BookSettings
from ledger.state import live, state_after
from ledger.storage.log import Head
from ledger.storage.reading import Reader, Row
from ledger.surroundings import parsed, surroundings
from ledger.vocabulary import Vocabulary

_ALIASES_KEPT = 8
_STATES_KEPT = 20_000

Tags = tuple[str, ...]
"""Every tag of one bike, sorted."""


@dataclass(frozen=True, slots=True)
class Decision:
    """What a commit would hold, or why it may not be."""

    events: tuple[Event, ...] = ()
    problems: tuple[Problem, ...] = ()
    warnings: tuple[Problem, ...] = ()
    known: Mapping[str, Row] = field(default_factory=dict)
    """Entries the book already held, by id."""
    lives: Mapping[str, Life] = field(default_factory=dict)


class Recorder:
    """Decides over entries against what one book holds."""

    def __init__(self, reader: Reader, settings: BookSettings) -> None:
        self._reader = reader
        self._settings = settings
        self._lives: OrderedDict[str, Life] = OrderedDict()
        self._book_events: list[Event] | None = None
        self._facts: BookFacts | None = None
        self._aliases: dict[int, dict[str, frozenset[str]]] = {}

    def follow(self, paths: Sequence[Path]) -> None:
        """Take in commits made since the last look, by whoever made them."""
        new = self._reader.refresh(paths)
        changed = self._reader.bikes_changed(new) if new else frozenset[str | None]()
        if changed is None or None in changed:
            self.forget()
        else:
            for bike in changed:
                self._lives.pop(bike or "", None)

    def forget(self) -> None:
        """Drop everything kept; it is read again when needed."""
        self._lives.clear()
        self._book_events, self._facts = None, None
        self._aliases = {}

    def committed(self, path: Path, decision: Decision) -> None:
        """Take in one's own commit, keeping the states it led to."""
        self._reader.add_own(path, [_names(event) for event in decision.events])
        if any(event.bike is None for event in decision.events):
            self.forget()
        else:
            self._lives.update(decision.lives)
            while len(self._lives) > _STATES_KEPT:
                self._lives.popitem(last=False)

    def facts(self, now: datetime) -> BookFacts:
        """Give what the book itself says: words, mechanics, gauges, terms."""
        if self._facts is None:
            self._facts = facts_of(self._of_the_book(), self._settings, now)
        return replace(self._facts, now=now)

    def words(self, known_seq: int) -> Vocabulary:
        """Give the vocabulary as the book knew it at a seq."""
        events = self._of_the_book()
        later = events[bisect_right(events, known_seq, key=lambda event: event.seq or 0) :]
        if not any(event.kind in ("terms_set", "event_struck") for event in later):
            return self.facts(_ANY_TIME).vocabulary
        return words_of(live(events, None, known_seq), events)

    def aliases(self, known_seq: int | None = None) -> dict[str, frozenset[str]]:
        """Give, for each joined tag, every tag of its bike, as known to a seq (read only)."""
        events = self._of_the_book()
        last = events[-1].seq or 0 if events else 0
        seq = last if known_seq is None else min(known_seq, last)
        found = self._aliases.get(seq)
        if found is None:
            found = joined_tags(events, self._settings.shop, seq)
            # another dict, since pages of one server may ask at the same time
            kept = self._aliases if len(self._aliases) < _ALIASES_KEPT else {}
            self._aliases = {**kept, seq: found}
        return found

    def _of_the_book(self) -> list[Event]:
        if self._book_events is None:
            self._book_events = parsed(self._reader.of_the_book())
        return self._book_events

    def decide(
        self,
        entries: Sequence[Entry],
        head: Head,
        now: datetime,
        keys: Keyring,
        is_brought_in: bool = False,
    ) -> Decision:
        """Give the events a commit on top of `head` would hold, or every problem they have."""
        recorded_at = max(now, head.recorded_at) if head.recorded_at else now
        at_commit = {"recorded_at": recorded_at, "clock_at": None if recorded_at == now else now}
        numbered = [
            entry.event.model_copy(update={"seq": head.size + 1 + place, **at_commit})
            for place, entry in enumerate(entries)
        ]
        labels = {entry.event.id: entry.label for entry in entries}
        facts = self._facts_for(numbered, labels, recorded_at)
        facts = replace(facts, is_brought_in=is_brought_in)
        twice = _ids_given_twice(entries)
        findings = self._decide_all(numbered, facts)
        problems = [*twice, *findings.problems]
        refused = tuple(problem for problem in problems if problem.severity == "refused")
        warnings = tuple(problem for problem in problems if problem.severity == "warning")
        if refused:
            return Decision(problems=refused, warnings=warnings)
        events = [findings.done[event.id] for event in numbered]
        if unsealed := of_forgotten(events, findings.riders, keys, facts):
            return Decision(problems=tuple(unsealed), warnings=warnings)
        done = sealed(events, findings.riders, keys)
        return Decision(tuple(done), (), warnings, lives=findings.lives)

    def _facts_for(
        self, new: Sequence[Event], labels: Mapping[str, str], now: datetime
    ) -> BookFacts:
        facts = self.facts(now)
        of_book = [event for event in new if event.bike is None]
        if of_book:
            facts = facts_of([*self._of_the_book(), *of_book], self._settings, now)
        if linked := linked_tags(of_book, self._settings.shop):
            known = {tag for tag in linked if tag in self._life(tag).state.registered}
            known |= {event.bike for event in new if event.kind == "bike_registered" and event.bike}
            facts = replace(facts, bikes=known)
        around = surroundings(self._reader, new)
        return replace(facts, labels=labels, commit_events=new, **around)

    def _decide_all(self, numbered: Sequence[Event], facts: BookFacts) -> Findings:
        findings = Findings()
        by_bike, made_of = self._by_bike(numbered)
        alone = [tags[0] for tags in by_bike if len(tags) == 1]
        self._load([bike for bike in alone if bike not in self._lives])
        for tags, events in by_bike.items():
            is_alone = len(tags) == 1 and tags not in made_of
            life = self._life(tags[0]) if is_alone else None
            if life is not None and life.takes_at_the_end(events):
                add_at_the_end(tags[0], life, events, facts, findings)
            else:
                stored = parsed(self._reader.of_bikes(tags))
                before = [parsed(self._reader.of_bikes(bike)) for bike in made_of.get(tags, ())]
                add_to_the_past(tags, stored, events, facts, findings, before or None)
        of_book = [event for event in numbered if event.bike is None]
        if of_book:
            add_to_the_book(of_book, facts, findings)
        return findings

    def _by_bike(
        self, numbered: Sequence[Event]
    ) -> tuple[dict[Tags, list[Event]], dict[Tags, list[frozenset[str]]]]:
        """Give the events of each bike, under all of its tags, the first one first.

        Beside them the bikes that this commit joins or parts, with what they were before.
        """
        of_book = [event for event in numbered if event.bike is None]
        before = after = self.aliases()
        if of_book:
            after = joined_tags([*self._of_the_book(), *of_book], self._settings.shop)
        found: dict[Tags, list[Event]] = defaultdict(list)
        for event in numbered:
            if event.bike is not None:
                found[tuple(sorted(tags_of(after, event.bike)))].append(event)
        other = regrouped(before, after) if of_book else {}
        made_of = {tuple(sorted(now)): then for now, then in other.items()}
        for tags in made_of:
            found[tags] += []
        return found, made_of

    def _life(self, bike: str) -> Life:
        """Give a bike as after everything stored, from memory or from the files."""
        if bike not in self._lives:
            self._load([bike])
        self._lives.move_to_end(bike)
        return self._lives[bike]

    def _load(self, bikes: Sequence[str]) -> None:
        """Read the lives of bikes that are not in memory, all in one pass over the files."""
        of_bike: dict[str, list[Event]] = {bike: [] for bike in bikes}
        for event in parsed(self._reader.of_bikes(bikes)):
            of_bike[event.bike or ""].append(event)
        words = self.facts(_ANY_TIME).vocabulary
        for bike, events in of_bike.items():
            counted = live(events)
            state = state_after(counted, self._settings.shop, bike, words)
            self._lives[bike] = Life(state, counted[-1].occurred_at if counted else None)


_ANY_TIME = datetime.fromisoformat("2000-01-01T00:00:00+00:00")


def check_clock(head: Head, now: datetime, settings: BookSettings) -> None:
    """Raise ClockJumped where it is more than a day after the newest commit."""
    if head.recorded_at is not None and now - head.recorded_at > timedelta(days=1):
        newest = settings.local(head.recorded_at)
        shown = settings.local(now)
        raise ClockJumped(
            f"The clock says {shown:%Y-%m-%d %H:%M}, more than a day after the newest entry "
            f"({newest:%Y-%m-%d %H:%M}). If that is right, confirm it (--confirm-clock); "
            "if not, set the clock first. Nothing was recorded."
        )


def receipt_of(decided: Decision, head: Head) -> Receipt:
    """Give the receipt of a decision that was kept, with the head it led to."""
    new = [EventReceipt(event.id, event.seq or 0, head.commit, True) for event in decided.events]
    return Receipt(
        head.commit,
        head.size,
        head.root,
        head.recorded_at,
        (*new, *known_receipts(decided)),
        decided.warnings,
    )


def known_receipts(decided: Decision) -> tuple[EventReceipt, ...]:
    """Give the first receipts of entries the book already held."""
    return tuple(EventReceipt(one, row[0], row[1], False) for one, row in decided.known.items())


def _names(event: Event) -> dict[str, Any]:
    """Give the columns of an event that a file is indexed by."""
    target = event.data.target if event.kind == "event_struck" else None
    told = vars(event.data)
    return {
        "bike": event.bike,
        "kind": event.kind,
        "part": told.get("part"),
        "replaces": told.get("replaces"),
        "job": event.job,
        "actor": event.actor,
        "target_id": UUID(target).bytes if target else None,
    }


def _ids_given_twice(entries: Sequence[Entry]) -> list[Problem]:
    seen: dict[str, str] = {}
    found = []
    for entry in entries:
        if entry.event.id in seen:
            wrong = f"is the same as that of {seen[entry.event.id]}"
            right = "Give every event of a commit its own id, or leave the ids out"
            found.append(Problem(entry.label, "id", wrong, right, "id_given_twice"))
        seen[entry.event.id] = entry.label
    return found


def held_already(
    asked: Mapping[bytes, Entry], rows: Mapping[bytes, Row], reveal: Callable[[Event], Any]
) -> tuple[dict[str, Row], list[Problem]]:
    """Give the entries the book holds, by event id, and those it holds with other content.

    `asked` and `rows` are entries and stored events by their id's bytes.
    """
    known, clashes = {}, []
    for raw_id, row in rows.items():
        entry = asked[raw_id]
        stored = reveal(parse_event(json.loads(row[2])))
        field = difference(as_entered(entry.event), stored, has_time=entry.has_time)
        if field is not None:
            clashes.append(clash(entry.label, field, row[0]))
        known[entry.event.id] = row
    return known, clashes
