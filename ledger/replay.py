"""Replaying an export into an empty book: every rule again, bounded memory, old numbers kept."""

from __future__ import annotations

import json
import tempfile
from array import array
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from ledger.deciding import Findings, Life, add_at_the_end, add_to_the_book, add_to_the_past, sealed
from ledger.drafts import label_of
from ledger.errors import Problem, Refused
from ledger.events import Event, canonical_bytes, parse_event
from ledger.events.problems import problems_of
from ledger.facts import facts_of, joined_tags, linked_tags, regrouped, tags_of
from ledger.riders import Keyring
from ledger.rules import BookFacts
from ledger.sealing import has_text
from ledger.settings import BookSettings
from ledger.state import in_order, live, start
from ledger.surroundings import parts_of

_CLOCK_EVENTS_KEPT = 50
_CLOCKS = ("labour_started", "labour_stopped")

Tags = tuple[str, ...]
"""Every tag of one bike, sorted."""


class _Spool:
    """Events put aside in a temporary file, found again by any of their keys."""

    def __init__(self) -> None:
        # It lives as long as the replay, and has no name that could be left behind.
        self._file = tempfile.TemporaryFile(prefix="lockring-")  # noqa: SIM115 - see above
        self._at: dict[tuple[str, str], array[int]] = defaultdict(lambda: array("Q"))

    def add(self, event: Event, keys: Iterable[tuple[str, str]]) -> None:
        content = canonical_bytes(event)
        at = self._file.seek(0, 2)
        self._file.write(len(content).to_bytes(4, "big") + content)
        for key in keys:
            self._at[key].append(at)

    def get(self, key: tuple[str, str]) -> list[Event]:
        return [self._read(at) for at in self._at.get(key, ())]

    def _read(self, at: int) -> Event:
        self._file.seek(at)
        size = int.from_bytes(self._file.read(4), "big")
        return parse_event(json.loads(self._file.read(size)))


class Replay:
    """The commits of an export, completed, checked and sealed one after the other."""

    def __init__(self, settings: BookSettings, keys: Keyring) -> None:
        self._settings = settings
        self._keys = keys
        self._spool = _Spool()
        self._lives: dict[str, Life] = {}
        self._book_events: list[Event] = []
        self._facts: BookFacts | None = None
        self._clocks: dict[str, list[Event]] = defaultdict(list)
        self._job_bikes: dict[str, str] = {}
        self._joined: dict[str, frozenset[str]] = {}
        self._registered: set[str] = set()
        self._size = 0

    def commits(
        self,
        commits: Iterable[Sequence[Mapping[str, Any]]],
        on_progress: Callable[[int], None] | None = None,
    ) -> Iterator[list[Event]]:
        """Give each commit's events, ready to be stored.

        Raises Refused at the first commit that breaks a rule.
        """
        with self._keys.in_one_write():
            for raw in commits:
                events = [self._read(one) for one in raw]
                yield self._commit(events)
                self._size += len(events)
                if on_progress is not None:
                    on_progress(self._size)

    def problems(
        self,
        commits: Iterable[Sequence[Mapping[str, Any]]],
        on_progress: Callable[[int], None] | None = None,
    ) -> Iterator[Problem]:
        """Give what the rules refuse of a book's own commits, sealed as they are; going on past it.

        Nothing is written, no key made.
        """
        for raw in commits:
            try:
                events = [self._read(one) for one in raw]
                self._check_numbers(events)
            except Refused as error:
                yield from error.problems
                self._size += len(raw)
                continue
            for event in filter(has_text, events):
                right = "Nobody but the rider's key should open it; ask how it came to be so"
                yield Problem(_label(event), "data", "holds text in the clear", right, "clear_text")
            findings = self._findings(events)
            yield from (one for one in findings.problems if one.severity == "refused")
            self._keep(events, findings)
            self._size += len(events)
            if on_progress is not None:
                on_progress(self._size)

    def _read(self, raw: Mapping[str, Any]) -> Event:
        label = f"seq {raw.get('seq')}: {label_of(0, raw).removeprefix('event 1').strip()}"
        try:
            event = parse_event(dict(raw))
        except ValidationError as error:
            raise Refused(problems_of(error, label)) from None
        if event.seq is None or event.recorded_at is None:
            right = "An export of a book carries seq and recorded_at; record other lines instead"
            raise Refused([Problem(label, "seq", "is missing", right, "own_seq")])
        return event

    def _commit(self, events: Sequence[Event]) -> list[Event]:
        self._check_numbers(events)
        findings = self._findings(events)
        refused = [problem for problem in findings.problems if problem.severity == "refused"]
        if refused:
            raise Refused(refused)
        done = sealed([findings.done[event.id] for event in events], findings.riders, self._keys)
        self._keep(done, findings)
        return done

    def _findings(self, events: Sequence[Event]) -> Findings:
        """Take a commit through completion and every rule."""
        facts = self._facts_for(events)
        findings = Findings()
        by_bike, made_of = self._by_bike(events)
        for tags, of_bike in by_bike.items():
            self._decide(tags, of_bike, facts, findings, made_of.get(tags))
        of_book = [event for event in events if event.bike is None]
        if of_book:
            add_to_the_book(of_book, facts, findings)
        return findings

    def _check_numbers(self, events: Sequence[Event]) -> None:
        for place, event in enumerate(events, self._size + 1):
            if event.seq != place:
                right = f"The next seq is {place}; export the whole book, in order"
                label = f"event {event.id}"
                raise Refused([Problem(label, "seq", f"is {event.seq}", right, "own_seq")])
            if event.shop != self._settings.shop:
                right = f"This book is of '{self._settings.shop}'; make one for that shop"
                label = f"event {event.id}"
                raise Refused([Problem(label, "shop", f"is '{event.shop}'", right, "other_shop")])

    def _facts_for(self, events: Sequence[Event]) -> BookFacts:
        recorded_at = events[-1].recorded_at
        assert recorded_at is not None
        of_book = [event for event in events if event.bike is None]
        if of_book or self._facts is None:
            held = [*self._book_events, *of_book]
            self._facts = facts_of(held, self._settings, recorded_at)
        facts = self._facts
        if linked_tags(of_book, self._settings.shop):
            new = {event.bike for event in events if event.kind == "bike_registered" and event.bike}
            facts = replace(facts, bikes=self._registered | new)
        targets = self._targets(events)
        parts = {part for event in (*events, *targets) for part in parts_of(event)}
        labels = {event.id: _label(event) for event in events}
        return replace(
            facts,
            now=recorded_at,
            is_brought_in=True,
            labels=labels,
            part_events={part: self._moves(part, events) for part in parts},
            labour_events={
                actor: in_order([*self._clocks[actor], *_clocks_of(actor, events)])
                for actor in {event.actor for event in events if event.kind in _CLOCKS}
            },
            job_bikes=self._bikes_of_jobs(events, targets),
            targets={event.id: event for event in targets},
            struck=frozenset(
                e.data.target
                for target in targets
                for e in self._spool.get(("strike", target.id))
                if e.kind == "event_struck"
            ),
        )

    def _bikes_of_jobs(self, events: Sequence[Event], targets: Sequence[Event]) -> dict[str, str]:
        """Give the bike of each job these events name: the whole list grows with the book.

        An opening that stands goes before that of who opens the job again.
        """
        struck = {event.data.target for event in events if event.kind == "event_struck"}
        freed = {one.job for one in targets if one.kind == "job_opened" and one.id in struck}
        opened = [event for event in events if event.kind == "job_opened"]
        found = {event.job: event.bike for event in reversed(opened)}
        for job in {event.job for event in events} - freed:
            if job in self._job_bikes:
                found[job] = self._job_bikes[job]
        return {job: bike for job, bike in found.items() if job and bike}

    def _targets(self, events: Sequence[Event]) -> list[Event]:
        asked = {event.data.target for event in events if event.kind == "event_struck"}
        asked |= {event.restores for event in events if event.restores}
        return [event for one in sorted(asked) for event in self._spool.get(("id", one))]

    def _moves(self, part: str, events: Sequence[Event]) -> list[Event]:
        stored = self._spool.get(("part", part))
        struck = [s for e in stored for s in self._spool.get(("strike", e.id))]
        return live([*stored, *struck, *(event for event in events if part in parts_of(event))])

    def _by_bike(
        self, events: Sequence[Event]
    ) -> tuple[dict[Tags, list[Event]], dict[Tags, list[frozenset[str]]]]:
        """Give each bike's events, and the bikes this commit joins or parts; see `Recorder`."""
        of_book = [event for event in events if event.bike is None]
        after = self._joined
        if any(event.kind in ("bike_linked", "event_struck") for event in of_book):
            after = joined_tags([*self._book_events, *of_book], self._settings.shop)
        found: dict[Tags, list[Event]] = defaultdict(list)
        for event in events:
            if event.bike is not None:
                found[tuple(sorted(tags_of(after, event.bike)))].append(event)
        made_of = {tuple(sorted(now)): then for now, then in regrouped(self._joined, after).items()}
        for tags in made_of:
            found[tags] += []
        self._joined = after
        return found, made_of

    def _stored(self, tags: Iterable[str]) -> list[Event]:
        return [event for tag in sorted(tags) for event in self._spool.get(("bike", tag))]

    def _decide(
        self,
        tags: Tags,
        events: Sequence[Event],
        facts: BookFacts,
        to: Findings,
        made_of: Sequence[frozenset[str]] | None,
    ) -> None:
        life = self._lives.get(tags[0]) or Life(start(self._settings.shop, tags[0]))
        if len(tags) == 1 and made_of is None and life.takes_at_the_end(events):
            add_at_the_end(tags[0], life, events, facts, to)
        else:
            before = None if made_of is None else [self._stored(bike) for bike in made_of]
            add_to_the_past(tags, self._stored(tags), events, facts, to, before)

    def _keep(self, done: Sequence[Event], findings: Findings) -> None:
        self._lives.update(findings.lives)
        for event in done:
            keys = [("id", event.id)] if event.kind not in ("event_struck",) else []
            keys += [("part", part) for part in parts_of(event)]
            if event.bike is not None:
                keys.append(("bike", event.bike))
            else:
                self._book_events.append(event)
            if event.kind == "event_struck":
                keys.append(("strike", event.data.target))
                self._free_job(event.data.target)
            if event.kind in _CLOCKS:
                running = [*self._clocks[event.actor], event]
                self._clocks[event.actor] = running[-_CLOCK_EVENTS_KEPT:]
            if event.kind == "bike_registered" and event.bike:
                self._registered.add(event.bike)
            if event.kind == "job_opened" and event.job and event.bike:
                self._job_bikes[event.job] = event.bike
            self._spool.add(event, keys)

    def _free_job(self, target: str) -> None:
        for struck in self._spool.get(("id", target)):
            if struck.kind == "job_opened" and self._job_bikes.get(struck.job or "") == struck.bike:
                del self._job_bikes[struck.job or ""]


def _clocks_of(actor: str, events: Iterable[Event]) -> list[Event]:
    return [event for event in events if event.kind in _CLOCKS and event.actor == actor]


def _label(event: Event) -> str:
    return f"seq {event.seq} ({event.kind}" + (f", bike {event.bike})" if event.bike else ")")
