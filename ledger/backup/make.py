"""Making a backup: what is not there yet is sent, then the statement that names it all.

Files first, the statement last, and what nobody names any more goes after that: a backup that is
killed leaves the one before it whole.
"""

from __future__ import annotations

import hashlib
import sqlite3
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from typing import NamedTuple

from ledger.backup.clock import check_clock, copies_known
from ledger.backup.digest import FORM, replayed
from ledger.backup.files import (
    CHANGING,
    END,
    EVENTS,
    PHOTOS,
    SETTINGS,
    cover_of,
    is_whole,
    kept_as,
)
from ledger.backup.forgotten import put_forgotten
from ledger.backup.keys import Expired, copy_register, remove_expired
from ledger.backup.standing import OtherBackup, begins_with, claim, standing
from ledger.backup.statement import File, Statement, numbers_in
from ledger.book import Book
from ledger.errors import BookDamaged, LedgerError, NotDurable, WriteRefused
from ledger.key_backups import EventBackups, KeyBackup
from ledger.signing import NoKey, Signer
from ledger.storage.compaction import GRACE_UNFINISHED, check_file
from ledger.storage.files import footer_of, frontier_before
from ledger.storage.footer import Footer, hash_carried
from ledger.storage.listing import Cover, Listing, reading_set
from ledger.storage.local import TEMPORARY
from ledger.storage.objects import FolderObjects, Named, Objects, Unreachable

Tell = Callable[[str, int, int | None], object]
"""Is told what is done, how much of it is, and of how much, if that is known."""
_AT_ONCE = 8
_ATTEMPTS = 4


class NotSent(LedgerError):
    """The place could not be written; what it says of itself is what it said before."""


class NotCopied(LedgerError):
    """The events are backed up, and the riders and keys are not."""


@dataclass
class Backed:
    """What a backup did."""

    statement: Statement
    is_signed: bool = True
    count_sent: int = 0
    """Files; the statement itself is not counted."""
    bytes_sent: int = 0
    count_there: int = 0
    """Files that were there already."""
    bytes_there: int = 0
    removed: list[str] = field(default_factory=list)
    """Files of events that the new statement needs no more."""
    mended: list[str] = field(default_factory=list)
    """Files that were there and were not what they should be: sent again."""
    left_out: list[str] = field(default_factory=list)
    """Photos that are not in the backup: the book's own is damaged, or there is none any more."""
    gone: list[File] = field(default_factory=list)
    """Photos that are still in the backup and not in the book: kept for a while, never restored."""
    count_forgotten: int = 0
    keys: KeyBackup | None = None
    expired: list[Expired] = field(default_factory=list)


class _Looked(NamedTuple):
    """What came of one file: None where it is left out."""

    name: str
    file: File | None
    is_sent: bool = False


def backup(
    book: Book,
    place: Objects,
    *,
    now: datetime,
    keys_place: Objects | None = None,
    keep_keys: timedelta = timedelta(days=90),
    is_checked: bool = False,
    confirm_clock: bool = False,
    tell: Tell = lambda doing, done, total: None,
) -> Backed:
    """Bring a backup up to what the book is now.

    `is_checked` reads back whatever is there already, and mends what is damaged. What the book
    has no more stays for `keep_keys`, as a copy of the keys does. Raises ClockJumped (see
    `check_clock`) unless `confirm_clock`, OtherBackup, BookDamaged where a file that would be sent
    is damaged, and what the place does; the statement that stood before then still stands. Raises
    NotCopied where the events are backed up and only the copy of the keys failed.
    """
    register, shop = book.riders.path, book.settings.shop
    copies = None if confirm_clock else copies_known(register, keys_place, shop)
    run = partial(_Run, book, place, now, keep_keys, is_checked, copies, tell)
    try:
        for _ in range(_ATTEMPTS):
            with suppress(FileExistsError):
                done = book.while_read(lambda: run().run())
                break
        else:
            raise OtherBackup(f"Others back up to {place.address} without a pause. Try later.")
        begins = done.statement.begins
        if keys_place is not None:
            try:
                done.keys = copy_register(register, keys_place, shop, begins, now, keep_keys)
            except LedgerError as error:
                raise NotCopied(
                    f"The events are in {place.address}, but riders and keys were not copied to "
                    f"{keys_place.address}: {error}"
                ) from error
        done.expired = remove_expired(register, (shop, begins), now, keys_place)
    except (WriteRefused, NotDurable) as error:
        raise NotSent(
            f"The backup was not brought up to date: {error} What stood there before still stands, "
            "and what was sent until now is not sent again."
        ) from error
    except FileNotFoundError as error:
        if error.errno is not None:
            raise
        raise Unreachable(f"{error} is not there: is there such a bucket?") from None
    return done


class _Run:
    """One attempt at a backup."""

    def __init__(
        self, book: Book, place: Objects, now: datetime, keep: timedelta, is_checked: bool,
        copies: Sequence[KeyBackup] | None, tell: Tell,
    ) -> None:  # fmt: skip
        self._book = book
        self._shop = book.settings.shop
        self._place = place
        self._now = now
        self._keep = keep
        self._is_checked = is_checked
        self._copies = copies
        self._tell = tell
        self._store = book.home.store
        self._there: Mapping[str, Named] = {}
        self._vouched: Mapping[str, File] = {}
        self._photos: Mapping[str, int] = {}

    def run(self) -> Backed:
        """Send what is missing and state it; FileExistsError where another backup was faster."""
        listing = self._listing()
        last = footer_of(self._store, listing.files[-1].name) if listing.files else None
        self._there = {one.name: one for one in self._place.all()}
        before = None
        if numbers_in(self._there):
            before = standing(self._place, self._there, self._store, listing, self._shop)
            self._vouched = {one.there: one for one in before.files} if before else {}
        self._check_clock(before, last)
        if not numbers_in(self._there):
            claim(
                self._place, self._there, self._shop, begins_with(self._store, listing), self._now
            )
        self._photos = self._book.home.photos()
        number = (numbers_in(self._there) or [0])[-1] + 1
        signer = self._signer(last)
        done = Backed(self._stated(number, listing, last, before), signer is not None)
        self._note_place()
        done.count_forgotten = put_forgotten(self._book.riders.path, self._place)
        files = [*self._send_all(listing, done), *self._kept_photos(before, done)]
        done.statement = replace(done.statement, files=tuple(files))
        if signer is not None:
            done.statement = done.statement.signed_with(signer)
        self._place.create(done.statement.name, done.statement.to_bytes(signer))
        self._look_again(done.statement)
        done.removed = self._clear(done.statement)
        return done

    def _check_clock(self, before: Statement | None, last: Footer | None) -> None:
        """Raise ClockJumped; not where nothing stands yet that could be taken away."""
        if self._copies is None or not (before or self._copies):
            return
        newest = [one.made_at for one in self._copies]
        newest += [before.made_at] if before is not None else []
        newest += [last.last.recorded_at] if last is not None else []
        check_clock(self._now, newest, self._book.settings)

    def _note_place(self) -> None:
        """Note where the events are, for `forget`; a register that can only be read cannot be."""
        with suppress(sqlite3.OperationalError):
            EventBackups(self._book.riders.path).note(self._place.address, self._now)

    # -- what is to be backed up ---------------------------------------------------------------

    def _listing(self) -> Listing:
        """Give the reading set, every name of it durable."""
        listing = reading_set(path.name for path in self._book.files())
        # Of a commit that is not durable yet another could take the number after a power failure.
        # Where the disk can only be read, nothing comes after it either.
        with suppress(NotDurable, WriteRefused):
            self._store.confirm()
        return listing

    def _signer(self, last: Footer | None) -> Signer | None:
        """Give who signs, the root witnessed; None where the book's folder cannot be written."""
        try:
            signer = Signer(self._book.path)
            if last is not None:
                at = last.last
                signed = signer.sign(self._shop, at.size, at.root, at.recorded_at)
                self._book.home.note_witness(signed)
        except (NoKey, OSError):
            return None
        return signer

    def _stated(
        self, number: int, listing: Listing, last: Footer | None, before: Statement | None
    ) -> Statement:
        settings = (self._book.path / SETTINGS).read_text(encoding="utf-8")
        if last is None:
            told = Statement(number, self._now, self._shop, None, settings=settings)
            return replace(told, replayed=replayed(self._book, 0))
        at = last.last
        figure = before.replayed if before and before.root == at.root else None
        if figure is None or figure.form != FORM:
            figure = replayed(self._book, at.size, lambda done: self._tell("Replaying", done, None))
        return Statement(
            number=number,
            made_at=self._now,
            shop=self._shop,
            begins=begins_with(self._store, listing),
            commit=at.commit,
            size=at.size,
            root=at.root,
            recorded_at=at.recorded_at,
            replayed=figure,
            settings=settings,
        )

    # -- sending -------------------------------------------------------------------------------

    def _send_all(self, listing: Listing, done: Backed) -> list[File]:
        jobs: list[Callable[[], _Looked]] = [
            *(partial(self._events, listing, cover) for cover in listing.files),
            *(partial(self._photo, *photo) for photo in self._photos.items()),
            *(partial(self._changing, name) for name in CHANGING),
        ]
        files: list[File] = []
        with ThreadPoolExecutor(_AT_ONCE) as hands:
            asked = [hands.submit(job) for job in jobs]
            try:
                for count, one in enumerate(asked, 1):
                    looked = one.result()
                    self._note(looked, done)
                    files += [looked.file] if looked.file is not None else []
                    self._tell("Sending", count, len(jobs))
            except BaseException:
                hands.shutdown(cancel_futures=True)
                raise
        return files

    def _note(self, looked: _Looked, done: Backed) -> None:
        file = looked.file
        if file is None:
            if looked.name.startswith(PHOTOS):
                done.left_out.append(f"{looked.name} is damaged in the book")
        elif looked.is_sent:
            done.count_sent += 1
            done.bytes_sent += file.size
            if file.there in self._there:
                done.mended.append(file.there)
        else:
            done.count_there += 1
            done.bytes_there += file.size

    def _events(self, listing: Listing, cover: Cover) -> _Looked:
        size = self._store.path(cover.name).stat().st_size
        carried = hash_carried(self._store.read_end(cover.name, END))
        if carried is None:
            raise BookDamaged(
                f"{cover.name} is damaged: it carries no hash of itself. See what is wrong with "
                "`lockring verify`; an earlier backup still has what it had."
            )
        file = File(EVENTS + cover.name, size, carried)
        if self._is_there(file):
            return _Looked(file.name, file)
        content = self._store.read(cover.name)
        check_file(cover, content, frontier_before(self._store, listing, cover))
        self._place.put(file.there, content)
        return _Looked(file.name, file, is_sent=True)

    def _photo(self, name: str, size: int) -> _Looked:
        file = File(PHOTOS + name, size, name)
        if self._is_there(file):
            return _Looked(file.name, file)
        content = self._book.home.photo(name)
        if not is_whole(file, content):
            return _Looked(file.name, None)
        self._place.put(file.there, content)
        return _Looked(file.name, file, is_sent=True)

    def _changing(self, name: str) -> _Looked:
        try:
            content = (self._book.path / name).read_bytes()
        except FileNotFoundError:
            return _Looked(name, None)
        digest = hashlib.sha256(content).hexdigest()
        file = File(name, len(content), digest, kept_as(name, digest))
        if self._is_there(file):
            return _Looked(name, file)
        self._place.put(file.there, content)
        return _Looked(name, file, is_sent=True)

    def _is_there(self, file: File) -> bool:
        """Tell whether the backup has a file: by name, size and hash, read back where asked."""
        there = self._there.get(file.there)
        if there is None or there.size != file.size:
            return False
        if not self._is_checked and self._vouched.get(file.there) == file:
            return True
        if not self._is_checked and file.name.startswith(EVENTS):
            return hash_carried(self._place.get_end(file.there, END)) == file.sha256
        return is_whole(file, self._place.get(file.there))

    def _kept_photos(self, before: Statement | None, done: Backed) -> list[File]:
        """Give the photos that the backup has and the book has no more, while they are kept.

        One that was lost can be found again by then; one that was removed for somebody's sake is
        removed here too.
        """
        was = [one for one in before.files if one.name.startswith(PHOTOS)] if before else []
        for one in was:
            if one.sha256 in self._photos:
                continue
            since = one.gone_since or f"{self._now:%Y-%m-%d}"
            until = datetime.fromisoformat(since).replace(tzinfo=UTC) + self._keep
            if one.there in self._there and self._now < until:
                done.gone.append(replace(one, gone_since=since))
            elif not one.gone_since and one.there not in self._there:
                done.left_out.append(f"{one.name} is neither in the book nor in the backup")
        return done.gone

    # -- ending --------------------------------------------------------------------------------

    def _look_again(self, stated: Statement) -> None:
        """List the place again: another backup may have cleared away what this one counted on."""
        self._there = {one.name: one for one in self._place.all()}
        for one in stated.files:
            if one.there not in self._there:
                raise FileExistsError(one.there)

    def _clear(self, stated: Statement) -> list[str]:
        needed = {one.there for one in stated.files}
        past = [one for one in self._there if one not in needed and _is_past(one, stated)]
        # Of photos only those are ours to take away that we had in charge.
        photos = [one for one in self._vouched if one.startswith(PHOTOS) and one not in needed]
        gone = [*past, *(one for one in photos if one in self._there)]
        for name in gone:
            self._place.remove(name)
        if isinstance(self._place, FolderObjects):
            _clear_unfinished(self._place.folder)
        return [name for name in gone if name.startswith(EVENTS)]


def _is_past(name: str, stated: Statement) -> bool:
    """Tell whether a file belonged to an earlier statement, and can belong to no later one."""
    cover = cover_of(name)
    if cover is not None:
        return cover.last <= stated.commit
    if numbers := numbers_in([name]):
        return 0 < numbers[0] < stated.number
    return name.startswith(tuple(f"{one}." for one in CHANGING))


def _clear_unfinished(folder: Path) -> None:
    """Take away what killed backups left behind."""
    until = (datetime.now(UTC) - GRACE_UNFINISHED).timestamp()
    for path in (folder, folder / EVENTS, folder / PHOTOS):
        for unfinished in path.glob(f"{TEMPORARY}*"):
            with suppress(OSError):
                if unfinished.stat().st_mtime <= until:
                    unfinished.unlink()
