"""Bringing a book back: held to its hashes, its roots and its replay before it gets its name.

What is not whole goes into a quarantine beside; the name that was asked for is never given then.
"""

from __future__ import annotations

import hashlib
import shutil
from collections.abc import Callable, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from ledger import settings as book_settings
from ledger import witness
from ledger.backup.damage import Damage, Span, lost_spans
from ledger.backup.digest import FORM, replayed
from ledger.backup.fetch import Chained, chained, fetch, set_aside, write
from ledger.backup.files import CHANGING, EVENTS, PHOTOS, SETTINGS, cover_of, kept_as
from ledger.backup.keys_back import KeysBack, bring_keys
from ledger.backup.partly import named, partly
from ledger.backup.quarantine import ASIDE, BOOK, quarantine_of, write_page
from ledger.backup.statement import (
    BadStatement,
    File,
    Statement,
    numbers_in,
    read_statement,
    statement_name,
)
from ledger.book import Book
from ledger.errors import BookExists, LedgerError
from ledger.storage.footer import CommitMark
from ledger.storage.merkle import EMPTY_ROOT
from ledger.storage.objects import Named, Objects

Tell = Callable[[str, int, int], object]
"""Is told what is done, how much of it is, and of how much."""
_ATTEMPTS = 3


class NoBackup(LedgerError):
    """There is no backup at the place, or not one that the key asked for has signed."""


class _Changed(Exception):
    """A backup was made while it was read: begin again."""


@dataclass
class Restored:
    """What came of a restore."""

    book: Path | None = None
    """The book that was asked for; None where it is not equal to the original."""
    quarantine: Path | None = None
    statement: Statement | None = None
    commit: int = 0
    """The last commit that was brought back without a gap."""
    size: int = 0
    """Events up to there."""
    root: str = EMPTY_ROOT.hex()
    damages: list[Damage] = field(default_factory=list)
    lost: list[Span] = field(default_factory=list)
    """Commits that no whole file holds."""
    aside: list[Span] = field(default_factory=list)
    """Commits of whole files behind a gap."""
    keys: KeysBack = field(default_factory=KeysBack)


def restore(
    place: Objects,
    target: Path,
    *,
    now: datetime,
    keys_place: Objects | None = None,
    trusted_key: str | None = None,
    tell: Tell = lambda doing, done, total: None,
) -> Restored:
    """Restore a backup into a new folder, or what is whole of it into a quarantine beside it.

    `trusted_key` is the key the backup must be signed with. Raises BookExists where there is
    something already, NoBackup, Unreachable, and OSError of this disk; then nothing is left.
    """
    target = target.expanduser().absolute()
    for taken in (target, quarantine_of(target)):
        if taken.exists() and (not taken.is_dir() or any(taken.iterdir())):
            raise BookExists(f"{taken} already holds something. Choose a new folder.")
    for _ in range(_ATTEMPTS):
        with suppress(_Changed), partly(target) as folder:
            return _Run(place, target, folder, now, keys_place, trusted_key, tell).run()
    raise NoBackup(f"{place.address} is being backed up to all the time. Try again later.")


class _Run:
    """One attempt at a restore."""

    def __init__(
        self, place: Objects, target: Path, folder: Path, now: datetime,
        keys_place: Objects | None, trusted_key: str | None, tell: Tell,
    ) -> None:  # fmt: skip
        self._place = place
        self._target = target
        self._folder = folder
        self._book = folder / BOOK
        self._now = now
        self._keys_place = keys_place
        self._trusted_key = trusted_key
        self._tell = tell
        self._there: Mapping[str, Named] = {}
        self._done = Restored()

    def run(self) -> Restored:
        """Restore; raises _Changed where a backup took away what this one was reading."""
        done = self._done
        self._there = {one.name: one for one in self._place.all()}
        done.statement = self._statement()
        (self._book / EVENTS).mkdir(parents=True)
        (self._book / PHOTOS).mkdir()
        files = self._plan()
        done.damages += self._fetch(files)
        if any(one.wrong == "missing" for one in done.damages) and self._is_changed():
            raise _Changed
        if any(cover_of(one.file) for one in done.damages):
            self._fetch_others(files)
        chain = chained(self._book / EVENTS, lambda at, of: self._tell("Checking", at, of))
        done.damages += chain.damages
        set_aside(chain.way, self._book / EVENTS, self._folder / ASIDE / EVENTS)
        self._note(chain)
        is_open = self._bring_settings()
        is_equal = self._is_all_there(chain.mark)
        done.keys = bring_keys(
            self._book / "riders.sqlite", self._place, self._keys_place,
            self._whose(chain, is_open=is_open), self._now,
        )  # fmt: skip
        done.damages += done.keys.damages
        if is_open:
            is_equal = self._is_replay_equal(is_equal)
        if is_equal and is_open:
            named(self._book, self._target)
            done.book = self._target
        else:
            self._quarantine(is_open=is_open)
        return done

    # -- what there should be ------------------------------------------------------------------

    def _statement(self) -> Statement | None:
        numbers = numbers_in(self._there)
        names = [name for name in self._there if cover_of(name)]
        if not numbers and not names:
            raise NoBackup(f"There is no backup at {self._place.address}.")
        statement: Statement | None = None
        name = statement_name(numbers[-1] if numbers else 1)
        try:
            statement = read_statement(self._place.get(name), name)
            if statement.is_begun:
                wrong = Damage(name, "missing", "A backup was begun and never ended")
                self._done.damages.append(wrong)
                statement = None
        except FileNotFoundError:
            wrong = Damage(name, "missing", "What the backup should hold is not known")
            self._done.damages.append(wrong)
        except BadStatement as error:
            detail = f"{error} What the backup should hold is not known"
            self._done.damages.append(Damage(name, "damaged", detail))
        if self._trusted_key is not None and (
            statement is None or statement.key != self._trusted_key.lower()
        ):
            raise NoBackup(
                f"The backup at {self._place.address} is not signed with that key. Nothing was "
                "restored."
            )
        return statement

    def _plan(self) -> list[File]:
        if self._done.statement is not None:
            return [one for one in self._done.statement.files if not one.gone_since]
        names = [name for name in self._there if cover_of(name)]
        files = [File(name, self._there[name].size, "") for name in names]
        photos = [one for one in self._there.values() if one.name.startswith(PHOTOS)]
        files += [File(one.name, one.size, one.name.removeprefix(PHOTOS)) for one in photos]
        return [*files, *filter(None, map(self._newest, CHANGING))]

    def _newest(self, name: str) -> File | None:
        """Give the newest whole file that was kept of one that changes."""
        kept = [one for one in self._there.values() if f"{one.name}.".startswith(f"{name}.")]
        for one in sorted(kept, key=lambda one: one.made_at, reverse=True):
            digest = hashlib.sha256(self._place.get(one.name)).hexdigest()
            if one.name in (name, kept_as(name, digest)):
                return File(name, one.size, digest, one.name)
        return None

    def _fetch(self, files: list[File]) -> list[Damage]:
        return fetch(self._place, files, self._book, lambda at, of: self._tell("Fetching", at, of))

    def _is_changed(self) -> bool:
        before = numbers_in(self._there)
        now = numbers_in(one.name for one in self._place.all())
        return now[-1:] != before[-1:]

    def _fetch_others(self, files: list[File]) -> None:
        """Bring what else there is of events: an older file may hold what a damaged one did."""
        statement = self._done.statement
        known = {file.there for file in files}
        for name, one in self._there.items():
            cover = cover_of(name)
            if cover is None or name in known:
                continue
            if statement is None or cover.last <= statement.commit:
                self._fetch([File(name, one.size, "")])

    # -- whether it is equal -------------------------------------------------------------------

    def _note(self, chain: Chained) -> None:
        done, mark = self._done, chain.mark
        if mark is not None:
            done.commit, done.size, done.root = mark.commit, mark.size, mark.root
        last = max((cover.last for cover in (*chain.way.files, *chain.way.aside)), default=0)
        spans = [one.span for one in done.damages if one.first]
        last = max([last, *(span[1] for span in spans)])
        if done.statement is not None:
            last = done.statement.commit
        done.lost = lost_spans(chain.way, last)
        done.aside = [(one.first, one.last) for one in chain.way.aside if one.first > done.commit]

    def _is_all_there(self, mark: CommitMark | None) -> bool:
        """Tell whether commits, count and root are those of the statement."""
        statement, done = self._done.statement, self._done
        if statement is None:
            return False
        if done.commit < statement.commit:
            return False
        stated = (statement.commit, statement.size, statement.root, statement.recorded_at)
        if (done.commit, done.size, done.root, mark and mark.recorded_at) != stated:
            detail = (
                f"It states {statement.size:,} events and root {statement.root}, and the files "
                f"give {done.size:,} and {done.root}"
            )
            done.damages.append(Damage(statement.name, "other root", detail))
            return False
        return True

    def _is_replay_equal(self, is_all_there: bool) -> bool:
        """Open the book; where all is there, replay it and compare."""
        book, statement = Book.open(self._book), self._done.statement
        if not is_all_there or statement is None or statement.replayed is None:
            return is_all_there
        if statement.replayed.form != FORM:
            detail = "Replays of that version of Lockring cannot be compared; every root is right"
            self._done.damages.append(Damage(statement.name, "not compared", detail))
            return True
        count = statement.replayed.count_bikes
        figure = replayed(book, statement.size, lambda at: self._tell("Replaying", at, count))
        shutil.rmtree(self._book / "derived", ignore_errors=True)
        if figure == statement.replayed:
            return True
        detail = (
            f"{statement.replayed.count_bikes} bikes gave {statement.replayed.sha256}; now "
            f"{figure.count_bikes} give {figure.sha256}"
        )
        self._done.damages.append(Damage(statement.name, "other replay", detail))
        return False

    def _bring_settings(self) -> bool:
        """See that there is a book.toml, from the statement if need be; tell whether there is."""
        path, statement = self._book / SETTINGS, self._done.statement
        if not path.exists() and statement is not None and statement.settings:
            write(path, statement.settings.encode())
        return path.exists()

    def _whose(self, chain: Chained, *, is_open: bool) -> tuple[str, str | None]:
        """Give the shop, and the root of the first commit, that a copy of the keys must be of."""
        if self._done.statement is not None:
            return self._done.statement.shop, self._done.statement.begins
        shop = book_settings.read(self._book / SETTINGS).shop if is_open else ""
        return shop, chain.begins

    # -- what is not ---------------------------------------------------------------------------

    def _quarantine(self, *, is_open: bool) -> None:
        done = self._done
        # A shorter book cannot hold all that was witnessed of the whole one.
        if (self._book / witness.NAME).exists():
            (self._folder / ASIDE).mkdir(exist_ok=True)
            (self._book / witness.NAME).rename(self._folder / ASIDE / witness.NAME)
        write_page(
            self._folder, self._place.address, done.statement, done.damages,
            (done.commit, done.size, is_open), done.lost, done.aside,
        )  # fmt: skip
        done.quarantine = quarantine_of(self._target)
        named(self._folder, done.quarantine)
