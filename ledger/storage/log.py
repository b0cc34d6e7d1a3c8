"""The log: numbered commits, each one file, appended by compare-and-swap on the number."""

from __future__ import annotations

import contextlib
import random
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from datetime import datetime
from functools import partial
from itertools import chain, islice
from pathlib import Path

from ledger.errors import (
    BookDamaged,
    BookExists,
    NotDurable,
    Problem,
    Unreachable,
    WriteRefused,
)
from ledger.events import Event, canonical_bytes
from ledger.storage.bulk import FEWEST_COMMITS, files_of
from ledger.storage.files import check_newest, footer_of, size_at, stored_at
from ledger.storage.footer import CommitMark, Footer
from ledger.storage.head import Committed, Head, next_footer
from ledger.storage.hot import units_after
from ledger.storage.listing import (
    Cover,
    Gapped,
    Lister,
    Listing,
    Made,
    commit_name,
    parse_name,
)
from ledger.storage.segment import Entry, Stored, encode
from ledger.storage.store import Store
from ledger.storage.verify import verify_log

__all__ = ["Committed", "Decide", "Head", "Log"]

_ATTEMPTS = 1_000
Decide = Callable[[Head], Sequence[Event]]


class Log:
    """The commits of one book, in any store.

    Opening checks the newest commits against their own hashes and roots (BookDamaged) and
    removes nothing. `units` is each quantity's canonical unit, for the `unit` column; terms
    committed through this log add to it.
    """

    def __init__(self, store: Store, units: Mapping[str, str] | None = None) -> None:
        self.store = store
        self.units: Mapping[str, str] = _standard_units() if units is None else units
        self._head = Head()
        self._newest: Cover | None = None
        self._stopped: NotDurable | None = None
        self._is_probed = False
        self._confirmed: Cover | None = None
        self._paths: tuple[Listing, tuple[Path, ...]] = (Listing(), ())
        self._lister = Lister(store.names, store.changed_at)
        self.over(partial(check_newest, store))

    def over(self, use: Callable[[Listing], Made]) -> Made:
        """Give what `use` makes of the reading set; again, where a compaction took a file away.

        Raises BookDamaged where the set has a gap.
        """
        return self._lister.over(use)

    def head(self) -> Head:
        """Give the head as the store has it now."""
        self.over(self._see)
        return self._head

    def reading_set(self) -> tuple[str, ...]:
        """Give the names of the files that hold every event once, in order of commits."""
        return tuple(file.name for file in self._lister.now().files)

    def paths(self, listing: Listing | None = None) -> tuple[Path, ...]:
        """Give where the files of the reading set stand; of the one given, or as it is now.

        As long as the set is the same, so is the tuple.
        """
        asked = self._lister.now() if listing is None else listing
        known, paths = self._paths
        if asked is not known:
            is_one_more = asked.files[:-1] == known.files
            new = asked.files[-1:] if is_one_more else asked.files
            found = (self.store.path(file.name) for file in new)
            paths = (*paths, *found) if is_one_more else tuple(found)
            self._paths = asked, paths
        return paths

    def commit_state(self, commit: int) -> CommitMark:
        """Give size, root and recording time of the log as one of its commits left it.

        Raises LookupError if there is no such commit.
        """

        def mark_in(listing: Listing) -> CommitMark:
            cover = listing.covering(commit)
            if cover is None or not 1 <= commit <= listing.last:
                raise LookupError(f"there is no commit {commit}; the newest is {listing.last}")
            return footer_of(self.store, cover.name).marks[commit - cover.first]

        return self.over(mark_in)

    def size_at(self, moment: datetime) -> int:
        """Give how many events had been recorded by an instant (`recorded_at` up to it)."""
        return self.over(lambda listing: size_at(self.store, listing, moment))

    def at_seq(self, seq: int) -> Stored | None:
        """Give the stored event of one seq; None where there is none."""
        return self.over(lambda listing: stored_at(self.store, listing, seq))

    def commit(self, decide: Decide) -> Committed | None:
        """Append what `decide` makes of the head, and return once it is durable.

        `decide` is called again after each race lost to another writer; it returns events
        complete with `seq` and `recorded_at`. If it returns none, nothing is written and None
        comes back, once all that is in the store is durable. Raises WriteRefused where nothing
        was recorded, NotDurable where the disk did not confirm, BookDamaged where commits are
        missing.
        """
        self._get_ready()
        for attempt in range(_ATTEMPTS):
            with _refusing_silence():
                head = self._head_at_source()
                events = tuple(decide(head))
            with self._stopped_by_doubt():
                if not events:
                    self.store.confirm()
                    return None
                after = self._try(head, events)
            if after is not None:
                self.units = units_after(self.units, events)
                return Committed(after.commit, after, events)
            longest = self.store.longest_pause_s
            time.sleep(random.uniform(0, min(longest, longest / 20 * (attempt + 1))))
        raise WriteRefused("Nothing was recorded: others record without a pause. Try again later.")

    def write_segment(self, commits: Iterable[Sequence[Event]]) -> Head:
        """Append many commits at once to an empty log, all or none, in bounded memory.

        They stand in segments of about 100,000 events each. Raises BookExists if the log is not
        empty, or not any more, and whatever `commits` raises; nothing is recorded then.
        """
        self._get_ready()
        with _refusing_silence():
            if self._head_at_source().size:
                raise _not_empty()
        commits = iter(commits)
        start = list(islice(commits, FEWEST_COMMITS))
        with self._stopped_by_doubt():
            if len(start) == FEWEST_COMMITS:
                self._create_all(files_of(chain(start, commits), self.units))
        if len(start) < FEWEST_COMMITS:
            for number, events in enumerate(start):
                self.commit(partial(_only_after, number, events))
        return self.head()

    def verify_roots(self) -> list[Problem]:
        """Recompute every hash, root and hot column from the canonical bytes; give what differs."""
        return verify_log(self.store, self._lister.now(), self.units)

    def _create_all(self, files: Iterator[tuple[str, bytes]]) -> None:
        names: list[str] = []

        def noted() -> Iterator[tuple[str, bytes]]:
            for name, content in files:
                names.append(name)
                yield name, content

        def is_alone() -> bool:
            return {name for name in self.store.names() if parse_name(name)} == set(names[1:])

        try:
            with _refusing_silence():
                self.store.create_all(noted(), is_alone)
        except FileExistsError:
            raise _not_empty() from None
        with self.store.at_source():
            is_read = self.reading_set()[: len(names)] == tuple(names)
        if not is_read:
            raise BookDamaged(f"{names[0]} and what follows it are not what the book reads.")

    def _get_ready(self) -> None:
        if self._stopped is not None:
            raise self._stopped
        if not self._is_probed:
            with _refusing_silence():
                self.store.probe()
            self._is_probed = True

    def _head_at_source(self) -> Head:
        with self.store.at_source():
            return self.head()

    def _see(self, listing: Listing) -> None:
        if listing.last < self._head.commit:
            raise BookDamaged(
                f"The book's commit {self._head.commit} has been seen and is gone. Nothing was "
                "written. Put its file back from a backup."
            )
        newest = listing.files[-1] if listing.files else None
        if newest != self._newest:
            self._head = Head.after(footer_of(self.store, newest.name)) if newest else Head()
            self._newest = newest

    def _try(self, head: Head, events: tuple[Event, ...]) -> Head | None:
        """Write the commit after a head; None if its number went to somebody else."""
        self._confirm_newest()
        canonical = [canonical_bytes(event) for event in events]
        footer = next_footer(head, events, canonical)
        commit = footer.last.commit
        entries = [Entry(commit, *pair) for pair in zip(events, canonical, strict=True)]
        is_kept = self._create(footer, encode(entries, footer, self.units)) and self._stands(footer)
        return Head.after(footer) if is_kept else None

    def _confirm_newest(self) -> None:
        """Let what the next commit builds on be durable first.

        Somebody else's newest file may have its name and not be confirmed yet: if the power
        failed, that name could be lost and ours kept, and the book would have a gap.
        """
        if self._newest is not None and self._confirmed != self._newest:
            self.store.confirm()
            self._confirmed = self._newest

    def _create(self, footer: Footer, content: bytes) -> bool:
        try:
            self.store.create(commit_name(footer.last.commit), content)
        except OSError as error:
            if self._is_ours(footer):
                self.store.confirm()
            elif isinstance(error, FileExistsError):
                return False
            else:
                raise WriteRefused(f"Nothing was recorded ({error}). Try again.") from error
        return True

    def _is_ours(self, footer: Footer) -> bool:
        """Read a commit's number back: tell whether this very write is what stands there."""
        with _uncertain(footer), self.store.at_source():
            return self._has_token(footer) or self.over(partial(self._is_merged, footer))

    def _has_token(self, footer: Footer) -> bool:
        try:
            found = footer_of(self.store, commit_name(footer.last.commit))
        except FileNotFoundError:
            return False
        return found.writer == footer.writer

    def _is_merged(self, footer: Footer, listing: Listing) -> bool:
        """Tell whether a segment of the reading set holds this very commit: its root says so."""
        cover = listing.covering(footer.last.commit)
        if cover is None or not cover.is_segment:
            return False
        return footer.last in footer_of(self.store, cover.name).marks

    def _stands(self, footer: Footer) -> bool:
        """List again before the commit is acknowledged; withdraw it if it must not be.

        A writer that slept through a compaction has created a number that a segment covers, or
        one after a gap: nobody reads it there.
        """
        name = commit_name(footer.last.commit)

        def is_read(listing: Listing) -> bool:
            cover = listing.covering(footer.last.commit)
            if cover is None or cover.last < footer.last.commit:
                # Made while a compaction went on: it has neither our file nor what covers it.
                raise FileNotFoundError(name)
            if cover.name != name:
                return self._is_merged(footer, listing)
            self._newest = self._confirmed = cover
            self._head = Head.after(footer)
            return True

        with _uncertain(footer), self.store.at_source():
            try:
                is_kept = self.over(is_read)
            except Gapped:
                if self._is_built_on(footer):
                    raise _not_known(footer, "the book has a gap before it") from None
                is_kept = False
            if not is_kept and self._has_token(footer):
                self.store.remove(name)
            return is_kept

    def _is_built_on(self, footer: Footer) -> bool:
        covers = filter(None, map(parse_name, self.store.names()))
        return any(cover.last > footer.last.commit for cover in covers)

    @contextlib.contextmanager
    def _stopped_by_doubt(self) -> Iterator[None]:
        """Remember that the disk did not confirm: from then on the log must be opened again.

        A store that did not answer holds nothing back: what it lists later is what it has.
        """
        try:
            yield
        except NotDurable as error:
            if not isinstance(error.__cause__, Unreachable):
                self._stopped = error
            raise


@contextlib.contextmanager
def _uncertain(footer: Footer) -> Iterator[None]:
    """Say, where a commit that may stand there cannot be read back, that this is not known."""
    try:
        yield
    except OSError as error:
        raise _not_known(footer, f"it cannot be read back ({error})") from error


@contextlib.contextmanager
def _refusing_silence() -> Iterator[None]:
    """Refuse to write where a store does not answer, before anything was sent to it."""
    try:
        yield
    except Unreachable as error:
        raise WriteRefused(f"Nothing was recorded: {error}") from error


def _not_known(footer: Footer, why: str) -> NotDurable:
    return NotDurable(
        f"Whether commit {footer.last.commit} was kept is not known: {why}. Open the book again "
        "and look before recording the same events again."
    )


def _only_after(number: int, events: Sequence[Event], head: Head) -> Sequence[Event]:
    if head.commit != number:
        raise _not_empty()
    return events


def _not_empty() -> BookExists:
    return BookExists("The book already holds events; use a new, empty one. Nothing was recorded.")


def _standard_units() -> Mapping[str, str]:
    from ledger.vocabulary import standard

    return {code: word.unit for code, word in standard().quantities.items()}
