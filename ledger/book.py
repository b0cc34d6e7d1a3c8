"""The one door to a book: make it, open it, append to it, read it."""

from __future__ import annotations

import json
import secrets
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import Any, TypeVar
from uuid import UUID

import pyarrow as pa

from ledger import settings as book_settings
from ledger.drafts import Draft, Entry, read_drafts
from ledger.errors import BookExists, ClockJumped, Problem, Refused, unknown_bike
from ledger.events import Event, parse_event
from ledger.events.types import TAG_ALPHABET
from ledger.home import Home, home_of
from ledger.receipts import Checked, Receipt
from ledger.recording import (
    Decision,
    Recorder,
    check_clock,
    held_already,
    known_receipts,
    receipt_of,
)
from ledger.replay import Replay
from ledger.sealing import reveal_event
from ledger.settings import BookSettings
from ledger.storage.compaction import GRACE, Compacted, Tell, compact, compact_quietly
from ledger.storage.listing import Listing, commit_name
from ledger.storage.log import Head, Log
from ledger.storage.reading import Reader, Row
from ledger.vocabulary import Vocabulary

Clock = Callable[[], datetime]
Made = TypeVar("Made")


def utc_now() -> datetime:
    """Give the present instant, UTC."""
    return datetime.now(UTC)


class Book:
    """One shop's ledger: in a folder, or on an object store with a mirror here."""

    def __init__(self, home: Home, settings: BookSettings, clock: Clock) -> None:
        self.home = home
        self.path = home.path
        """The folder that is read by path; of a book on an object store, the mirror's."""
        self.settings = settings
        self.riders, self.keys = home.riders, home.keys
        self._clock = clock
        self._log = Log(home.store)
        self._reader = Reader(home.path / "derived")
        self._recorder = Recorder(self._reader, settings)

    @classmethod
    def init(
        cls,
        path: Path | str,
        *,
        shop: str,
        name: str | None = None,
        currency: str = "EUR",
        time_zone: str = "UTC",
        locale: str = "en",
        clock: Clock = utc_now,
    ) -> Book:
        """Make a new, empty book in a folder, or under an `s3://bucket/prefix`.

        Raises BookExists where it holds anything, BadSettings, and WriteRefused where the place
        cannot keep a commit's promises.
        """
        home = home_of(path)
        settings = book_settings.check(
            BookSettings(shop, name or shop, currency.upper(), time_zone, locale)
        )
        home.make(settings)
        return cls(home, settings, clock)

    @classmethod
    def open(cls, path: Path | str, *, clock: Clock = utc_now) -> Book:
        """Open a book; its newest commits are checked, and nothing is removed.

        Raises NoBook, BookDamaged; Unreachable where an object store has no mirror here yet and
        does not answer.
        """
        home = home_of(path)
        settings = home.settings()
        home.get_ready()
        book = cls(home, settings, clock)
        home.get_register_ready(is_begun=book.head.size > 0)
        return book

    # -- reading ---------------------------------------------------------------------------

    @property
    def head(self) -> Head:
        """Give the newest commit, its tree and its time, as the folder stands now."""
        return self._log.head()

    def files(self) -> list[Path]:
        """Give the Parquet files that together are the book, as the folder stands now."""
        return list(self._log.paths())

    def counted(self, names: Iterable[str]) -> dict[str, tuple[int, int]]:
        """Give how many events great files hold, and the sum of their seq, where that is known."""
        return self._fresh().counted(names)

    def while_read(self, use: Callable[[], Made]) -> Made:
        """Give what `use` makes of the book's files; again, if a compaction took one away by then.

        Raises what `use` raises of files that are still to be read.
        """
        return self._log.over(lambda listing: use())

    def _ask(self, ask: Callable[[Reader], Made]) -> Made:
        def read(listing: Listing) -> Made:
            self._recorder.follow(self._log.paths(listing))
            return ask(self._reader)

        return self._log.over(read)

    def _fresh(self) -> Reader:
        return self._ask(lambda reader: reader)

    @property
    def vocabulary(self) -> Vocabulary:
        """Give the standard words with everything the shop's terms added."""
        self._fresh()
        return self._recorder.facts(self._now()).vocabulary

    def vocabulary_known(self, known_seq: int) -> Vocabulary:
        """Give the vocabulary as the book knew it at a seq."""
        self._fresh()
        return self._recorder.words(known_seq)

    @property
    def mechanics(self) -> frozenset[str]:
        """Give the ids of everybody who was registered to record."""
        self._fresh()
        return frozenset(self._recorder.facts(self._now()).mechanics)

    @property
    def gauges(self) -> dict[str, Any]:
        """Give the registered gauges and torque tools by id, as last registered."""
        self._fresh()
        return dict(self._recorder.facts(self._now()).gauges)

    def aliases(self, known_seq: int | None = None) -> dict[str, frozenset[str]]:
        """Give, for each tag that was joined to others, all tags of that one bike."""
        self._fresh()
        return self._recorder.aliases(known_seq)

    def bikes(self) -> list[str]:
        """Give every tag of the book, sorted."""
        return self._ask(Reader.bikes)

    def bike_events(self, bike: str) -> list[Event]:
        """Give every stored event of a bike (joined tags too), struck ones too, in seq order."""
        tags = self.aliases().get(bike, frozenset({bike}))
        return _events(self._ask(lambda reader: reader.of_bikes(tags)))

    def bike_rows(self, bikes: Iterable[str]) -> list[Row]:
        """Give (seq, commit, canonical bytes) of every stored event of these tags, by seq."""
        asked = frozenset(bikes)
        return self._ask(lambda reader: reader.of_bikes(asked))

    def bike_columns(self, bikes: Iterable[str], columns: Sequence[str]) -> pa.Table:
        """Give hot columns of the stored events of these tags, in no promised order."""
        asked = tuple(bikes)
        return self._ask(lambda reader: reader.table_of_bikes(asked, columns))

    def book_events(self) -> list[Event]:
        """Give every stored event of the book itself, in seq order."""
        return _events(self._ask(Reader.of_the_book))

    def events(self) -> Iterator[Event]:
        """Give every stored event in seq order, in bounded memory."""
        for _, _, canonical in self.rows():
            yield parse_event(json.loads(canonical))

    def rows(self) -> Iterator[Row]:
        """Give (seq, commit, canonical bytes) of every stored event, in seq order."""
        seq = 0
        while True:
            listed = self.files()
            try:
                for row in self._fresh().in_order(after=seq):
                    yield row
                    seq = row[0]
                return
            except FileNotFoundError:
                if self.files() == listed:
                    raise

    def find(self, ids: Iterable[str]) -> dict[str, Event]:
        """Give the stored events of these ids; an id that is not there is left out."""
        asked = [UUID(one).bytes for one in ids]
        rows = self._ask(lambda reader: reader.with_ids(asked))
        return {event.id: event for event in _events(rows.values())}

    def at_seq(self, seq: int) -> Event | None:
        """Give the stored event of one seq; None where the book has no such seq."""
        row = self._log.at_seq(seq)
        return None if row is None else _events([row])[0]

    def reveal(self, event: Event) -> dict[str, Any]:
        """Give the event as plain JSON types, its free text opened; None where its key is gone."""
        return reveal_event(event, self.keys)

    def verify_roots(self) -> list[Problem]:
        """Recompute every hash, root and hot column; gives what does not hold."""
        return self._log.verify_roots()

    def instant(self, text: str) -> datetime:
        """Give the instant a person means; see `BookSettings.instant`."""
        return self.settings.instant(text)

    def known_seq(self, as_known: str | int | datetime | None = None) -> int:
        """Give the last seq the book held then: a date, a seq, None for now; else ValueError."""
        size = self.head.size
        if as_known is None:
            return size
        if isinstance(as_known, str) and as_known.strip().isdecimal():
            if (seq := int(as_known)) > size:
                raise ValueError(
                    f"{as_known!r} is more than the {size:,} events the book holds; write a date "
                    "as 2026-03-01"
                )
            as_known = seq
        if isinstance(as_known, int):
            return min(as_known, size)
        moment = as_known if isinstance(as_known, datetime) else self.instant(as_known)
        return self._log.size_at(moment)

    def new_tag(self) -> str:
        """Give a random tag that no bike of this book has."""
        taken = set(self.bikes())
        while True:
            tag = "".join(secrets.choice(TAG_ALPHABET) for _ in range(8))
            if tag not in taken:
                return tag

    def require_bike(self, bike: str) -> None:
        """Raise UnknownBike, with the nearest tags, where the book has no such tag."""
        known = self.bikes()
        if bike not in known:
            raise unknown_bike(bike, known)

    # -- writing ---------------------------------------------------------------------------

    def append(
        self,
        drafts: Sequence[Draft],
        *,
        confirm_clock: bool = False,
        labels: Sequence[str] | None = None,
        is_brought_in: bool = False,
        only_if: Callable[[], None] | None = None,
    ) -> Receipt:
        """Record events in one commit, all or none; durable when this returns.

        Drafts are plain JSON types (or parsed events). An id that the book already holds with the
        same content is answered with its first receipt; `labels` are what refusals call each draft.
        Rules of entry are not held against records of another time (`is_brought_in`). `only_if` is
        called when no other can write. Raises Refused with all, ClockJumped, what `only_if` does.
        """
        now = self._now()
        entries, problems = read_drafts(drafts, self.settings, now, labels)
        if problems:
            self._raise_all(entries, problems, now)
        if not drafts:
            head = self.head
            return Receipt(head.commit, head.size, head.root, head.recorded_at, ())
        decided: Decision | None = None

        def decide(head: Head) -> Sequence[Event]:
            nonlocal decided
            if not confirm_clock:
                check_clock(head, now, self.settings)
            if only_if is not None:
                only_if()
            decided = self._log.over(partial(self._decide, entries, head, now, is_brought_in))
            if decided.problems:
                raise Refused(decided.problems)
            return decided.events

        committed = self._log.commit(decide)
        assert decided is not None
        if committed is None:
            return self._receipt_of_known(decided)
        path = self._log.store.path(commit_name(committed.commit))
        self._recorder.committed(path, decided)
        pack = partial(self.pack, is_thorough=False)
        compact_quietly(self._log, committed.commit, utc_now(), pack)
        return receipt_of(decided, committed.head)

    def check(self, drafts: Sequence[Draft], labels: Sequence[str] | None = None) -> Checked:
        """Say what would become of drafts; nothing is recorded."""
        now = self._now()
        entries, problems = read_drafts(drafts, self.settings, now, labels)
        decided = self._decide(entries, self.head, now)
        return Checked(
            problems=(*problems, *decided.problems),
            warnings=decided.warnings,
            count_new=len(decided.events),
            count_known=len(decided.known),
        )

    def strike(
        self, event_id: str, reason: str, actor: str, *, confirm_clock: bool = False
    ) -> Receipt:
        """Void an earlier event, with the reason; it stays readable."""
        target = self.find([event_id]).get(event_id)
        bike, job = (None, None) if target is None else (target.bike, target.job)
        data = {"target": event_id, "reason": reason}
        draft = {"kind": "event_struck", "bike": bike, "job": job, "actor": actor, "data": data}
        return self.append([{k: v for k, v in draft.items() if v}], confirm_clock=confirm_clock)

    def import_own(
        self,
        commits: Iterable[Sequence[dict[str, Any]]],
        *,
        on_progress: Callable[[int], None] | None = None,
    ) -> Head:
        """Replay an export into this empty book, keeping id, seq and recorded_at.

        `commits` are lists of events as plain JSON types with `seq` and `recorded_at`, text in
        the clear or sealed. `on_progress` is told the events done so far. Every rule is run.
        Raises Refused, naming the event, and then the book is still empty.
        """
        if self.head.size:
            raise BookExists(
                f"{self.home.address} already holds events; import an export into a new book."
            )
        replay = Replay(self.settings, self.keys)
        head = self._log.write_segment(replay.commits(commits, on_progress))
        self._recorder.forget()
        return head

    def compact(
        self, *, grace: timedelta = GRACE, tell: Tell = lambda done, total: None
    ) -> Compacted:
        """Merge commits into segments; take away what segments have covered for `grace`.

        `tell` is told how many files there are less, and how many there were. Raises BookDamaged,
        WriteRefused and NotDurable; the book reads the same whatever is raised.
        """
        return compact(self._log, utc_now(), grace=grace, tell=tell)

    def pack(self, tell: Tell = lambda done, total: None, *, is_thorough: bool = True) -> None:
        """Lay each bike's events close together beside the book: one bike is read faster then.

        `tell` is told how many files are done, and how many there are to do. `is_thorough` looks
        into what was laid before, in place of only whether it is there. Raises BookDamaged.
        """

        def laid() -> None:
            self._reader.pack(self._log.paths(), tell, is_thorough=is_thorough)

        self.while_read(laid)

    def _now(self) -> datetime:
        return self._clock().astimezone(UTC)

    def _decide(
        self,
        entries: Sequence[Entry],
        head: Head,
        now: datetime,
        is_brought_in: bool = False,
        listing: Listing | None = None,
    ) -> Decision:
        self._recorder.follow(self._log.paths(listing))
        known, clashes = self._already_there(entries)
        fresh = [entry for entry in entries if entry.event.id not in known]
        decision = self._recorder.decide(fresh, head, now, self.keys, is_brought_in)
        return replace(decision, problems=(*clashes, *decision.problems), known=known)

    def _already_there(self, entries: Sequence[Entry]) -> tuple[dict[str, Row], list[Problem]]:
        """Find entries whose id the book holds: the same again, or something else."""
        asked = {UUID(entry.event.id).bytes: entry for entry in entries if entry.has_id}
        rows = self._reader.with_ids(asked)
        return held_already(asked, rows, self.reveal)

    def _raise_all(self, entries: list[Entry], problems: list[Problem], now: datetime) -> None:
        """Raise every problem at once: those of reading and those of the rules."""
        with suppress(ClockJumped):
            decided = self._decide(entries, self.head, now)
            broken = {problem.event for problem in problems}
            problems = problems + [p for p in decided.problems if p.event not in broken]
        raise Refused(problems)

    def _receipt_of_known(self, decided: Decision) -> Receipt:
        last = max(row[1] for row in decided.known.values())
        at = self._log.commit_state(last)
        return Receipt(last, at.size, at.root, at.recorded_at, known_receipts(decided))


def _events(rows: Iterable[Row]) -> list[Event]:
    return [parse_event(json.loads(canonical)) for _, _, canonical in rows]
