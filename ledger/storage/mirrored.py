"""A book's files on an object store, read through a mirror: a folder of this machine.

Files never change, so a mirror is a listing and a download of what is missing. A commit is a
conditional PUT. The store is listed at most once a second for readers, and always anew for a
commit; while it does not answer, readers have the mirror as it was last seen.
"""

from __future__ import annotations

import contextlib
import math
import secrets
import tempfile
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from datetime import datetime, timedelta
from pathlib import Path
from typing import TypeVar

from ledger.errors import BookDamaged, LedgerError, NotDurable, Unreachable, WriteRefused
from ledger.storage.footer import check_self_hash, read_footer
from ledger.storage.line import Line, Silence
from ledger.storage.listing import Cover, Gapped, parse_name, reading_set
from ledger.storage.local import TEMPORARY, LocalStore
from ledger.storage.objects import Named, Objects

Made = TypeVar("Made")

EVENTS = "events"
LISTED_S = 1.0
"""How long a listing is good enough for reading."""
_HANDS = 8
"""Requests under way at the same time, where there are many."""
_TRIES = 2
_UNDER_WAY = f"{TEMPORARY}under-way"
"""Lists the files of a whole book that is being brought in."""
LONGEST_BRINGING_IN = timedelta(hours=1)


class MirroredStore:
    """The files under `events/` of an object store; see `Store`."""

    longest_pause_s = 0.5

    def __init__(
        self, objects: Objects, folder: Path, line: Line, *, listed_s: float = LISTED_S
    ) -> None:
        """Take where the files are, the mirror's folder, and the way to the store."""
        self._objects = objects
        self._mirror = LocalStore(folder)
        self._line = line
        self._listed_s = listed_s
        self._lock = threading.RLock()
        self._listed: dict[str, Named] = {}
        self._needed: frozenset[str] = frozenset()
        self._listed_at = -math.inf
        self.asked_at = -math.inf
        """When the store was last listed, by the clock of `time.monotonic`."""
        self._written: dict[str, bytes] = {}
        self._here = threading.local()
        self._is_probed = False

    # -- reading ---------------------------------------------------------------------------

    @contextlib.contextmanager
    def at_source(self) -> Iterator[None]:
        """Read from the store itself within; see `Store.at_source`."""
        depth = self._depth
        self._here.depth = depth + 1
        try:
            yield
        finally:
            self._here.depth = depth

    @property
    def _depth(self) -> int:
        return getattr(self._here, "depth", 0)

    @property
    def silence(self) -> Silence | None:
        """Give what is read while the store does not answer; None while it does."""
        why = self._line.why
        if why is None:
            return None
        last = max((cover.last for cover in _covers(self._kept())), default=0)
        return Silence(self._line.address, why, last, self._line.seen_at())

    def names(self) -> list[str]:
        """Give the names of all files; while the store does not answer, those of the mirror."""
        if self._depth:
            return self._look()
        if self._line.why is None or self._line.may_ask(self._look):
            with self._lock, contextlib.suppress(Unreachable):
                names = list(self._listed) if self._is_fresh() else self._look()
                return _whole(names) if _UNDER_WAY in names else names
        return _whole(self._kept())

    def changed_at(self) -> None:
        """Nothing here tells of what changed far away."""

    def _is_fresh(self) -> bool:
        is_young = time.monotonic() < self._listed_at + self._listed_s
        # Another process here may have taken away what a newer listing has in a segment.
        return is_young and self._needed.issubset(self._kept())

    def _kept(self) -> list[str]:
        return self._mirror.names()

    def _look(self) -> list[str]:
        """List the store, and make the mirror hold what is to be read of it."""
        with self._lock:
            # What stands in the mirror now was in the store before it is listed.
            before, began = frozenset(filter(parse_name, self._kept())), time.monotonic()
            listed = {
                one.name.removeprefix(f"{EVENTS}/"): one
                for one in self._line.ask(lambda: self._objects.all(EVENTS))
            }
            self._listed, self._listed_at, self.asked_at = listed, -math.inf, time.monotonic()
            # A gapped listing is listed again; one that names a file gone by now, too.
            with contextlib.suppress(Gapped, FileNotFoundError):
                files = reading_set(listed).files
                self._follow(before, files)
                self._needed = frozenset(file.name for file in files)
                self._listed_at = began
                self._line.note_seen()
            return list(listed)

    def _follow(self, before: frozenset[str], files: Sequence[Cover]) -> None:
        """Fetch what is missing of the reading set, then drop what is no longer in the store."""
        gone = before - self._listed.keys()
        last = files[-1].last if files else 0
        if any(cover.last > last for cover in _covers(gone)):
            raise BookDamaged(
                f"{self._line.address} has lost commits: it ends with {last}, and this machine's "
                f"copy of it in {self._mirror.folder} goes on. Put the missing files back, from a "
                "backup or from that folder. If another book was begun there, move that folder."
            )
        self._hold_to_sizes(file for file in files if file.name in before)
        self._fetch([file for file in files if file.name not in before])
        self._mirror.remove_all(gone)
        self._written.clear()

    def _hold_to_sizes(self, files: Iterable[Cover]) -> None:
        """Refuse a mirror of another book: once for each process, and for each file."""
        for file in files:
            if file.name in self._needed:
                continue
            with contextlib.suppress(FileNotFoundError):
                if self.path(file.name).stat().st_size != self._listed[file.name].size:
                    raise BookDamaged(
                        f"{file.name} in {self._line.address} is another file than this machine's "
                        f"copy of it in {self._mirror.folder}. Find out which is right; if another "
                        "book was begun there, move that folder away."
                    )

    def _fetch(self, files: Sequence[Cover]) -> None:
        """Download files into the mirror, oldest first, so that it never has a gap."""
        with ThreadPoolExecutor(_HANDS) as hands:
            for start in range(0, len(files), _HANDS):
                some = files[start : start + _HANDS]
                for file, content in zip(some, hands.map(self._downloaded, some), strict=True):
                    # Another process of this machine may have fetched it too.
                    with contextlib.suppress(FileExistsError):
                        self._mirror.create(file.name, content)

    def _downloaded(self, file: Cover) -> bytes:
        """Give a file that is whole and is what its name says; asks twice for a damaged one."""
        own = self._written.get(file.name)
        if own is not None and len(own) == self._listed[file.name].size:
            return own
        for _ in range(2):
            content = self._get(file.name)
            if check_self_hash(content):
                footer = read_footer(content, file.name)
                if (footer.first, footer.last.commit) == (file.first, file.last):
                    return content
        raise BookDamaged(
            f"{file.name} in {self._line.address} is damaged: its bytes do not give the hash it "
            "carries of itself, or it is another file. Put it back from a backup, or from another "
            "machine's copy."
        )

    def _get(self, name: str) -> bytes:
        return self._line.ask(lambda: self._objects.get(f"{EVENTS}/{name}"))

    def read(self, name: str) -> bytes:
        """Give a whole file."""
        if not self._depth:
            with contextlib.suppress(FileNotFoundError):
                return self._mirror.read(name)
        return self._get(name)

    def read_end(self, name: str, size: int) -> bytes:
        """Give the last bytes of a file."""
        if not self._depth:
            with contextlib.suppress(FileNotFoundError):
                return self._mirror.read_end(name, size)
        return self._line.ask(lambda: self._objects.get_end(f"{EVENTS}/{name}", size))

    def path(self, name: str) -> Path:
        """Give where the file stands in the mirror; what a gapless listing reads is there."""
        return self._mirror.path(name)

    def made_at(self, name: str) -> datetime:
        """Give when a file was written, by the store's clock."""
        if name not in self._listed:
            self._look()
        if name not in self._listed:
            raise FileNotFoundError(name)
        return self._listed[name].made_at

    def differing(self) -> Iterator[tuple[str, str]]:
        """Give each file of the reading set that the store holds otherwise than the mirror."""
        self._look()
        for name in sorted(self._needed):
            try:
                content = self._get(name)
            except FileNotFoundError:
                yield name, "is gone"
                continue
            if content != self._mirror.read(name):
                yield name, "holds other bytes than this machine's copy, which is whole"

    # -- writing ---------------------------------------------------------------------------

    def create(self, name: str, content: bytes, *, is_read_back: bool = False) -> None:
        """Make a file by a conditional PUT; see `Store.create`.

        The store gives a name to whole files only, so what is to be read back is read there, and
        taken back where it differs. Raises FileExistsError for a file of this very call, too,
        whose first reply was lost, and Unreachable where it is not known what became of it: who
        needs to know reads it back.
        """
        self._put(name, content)
        if is_read_back and self._get(name) != content:
            self.remove(name)
            raise WriteRefused(f"{name} was not made: it reads back differently. Try again.")
        self._written = {name: content}

    def _put(self, name: str, content: bytes) -> None:
        self._listed_at = -math.inf
        for turn in range(_TRIES):
            try:
                self._objects.create(f"{EVENTS}/{name}", content)
            except Unreachable:
                # It may arrive yet. To send the very same again settles who has the name.
                if turn == _TRIES - 1:
                    raise
            else:
                return

    def _put_once(self, name: str, content: bytes) -> None:
        """Put a file; the client tries again by itself, and may meet what was put by itself."""
        try:
            self._put(name, content)
        except FileExistsError:
            if self._get(name) != content:
                raise

    def create_all(
        self, files: Iterable[tuple[str, bytes]], may_finish: Callable[[], bool]
    ) -> None:
        """Make many files, last one first, or none; see `Store.create_all`.

        What is under way is told by a file of its own, so that one that was broken off can be
        taken back by whoever writes next.
        """
        with tempfile.TemporaryDirectory(dir=self._mirror.folder, prefix=TEMPORARY) as folder:
            for name, content in files:
                (Path(folder) / name).write_bytes(content)
            names = sorted(path.name for path in Path(folder).iterdir())
            names.sort(key=lambda name: parse_name(name) or Cover(0, 0, name))
            self._objects.create(f"{EVENTS}/{_UNDER_WAY}", "\n".join(names).encode())
            made: list[str] = []
            try:
                for name in reversed(names):
                    if name == names[0]:
                        self._finish(name, may_finish)
                    self._put_once(name, (Path(folder) / name).read_bytes())
                    made.append(name)
            except OSError as error:
                self._give_up(names, made, error)
                raise
            with contextlib.suppress(Unreachable):
                self.remove(_UNDER_WAY)

    def _finish(self, name: str, may_finish: Callable[[], bool]) -> None:
        with self.at_source():
            if not may_finish():
                raise FileExistsError(name)

    def _give_up(self, names: Sequence[str], made: Sequence[str], error: OSError) -> None:
        """Take back what was made; not where the first file may stand, and others build on it."""
        is_unsure = isinstance(error, Unreachable)
        if is_unsure and len(made) == len(names) - 1:
            raise NotDurable(
                f"Whether it was recorded is not known ({error}). Open the book again and look."
            ) from error
        if not is_unsure:
            self.remove_all([*made, _UNDER_WAY])

    def _clear_broken_off(self, now: datetime) -> None:
        """Take back what somebody began to bring in an hour ago or more, and never finished."""
        marker = self._listed.get(_UNDER_WAY)
        if marker is None:
            return
        names = self._get(_UNDER_WAY).decode().split("\n")
        if names[0] in self._listed:
            self.remove(_UNDER_WAY)
        elif now - marker.made_at >= LONGEST_BRINGING_IN:
            self.remove_all(names)
            self.remove(_UNDER_WAY)
        else:
            raise WriteRefused(
                "Somebody is bringing a whole book in, or was broken off. If it was broken off, "
                f"record again in {LONGEST_BRINGING_IN} or later, and it is taken back."
            )

    def confirm(self) -> None:
        """Every name in an object store is durable."""

    def remove(self, name: str) -> None:
        """Remove a file."""
        self.remove_all([name])

    def remove_all(self, names: Iterable[str]) -> None:
        """Remove files, from the store first."""
        asked = list(names)
        self._listed_at = -math.inf
        with ThreadPoolExecutor(_HANDS) as hands:
            for _ in hands.map(self._removed, asked):
                pass
        self._mirror.remove_all(asked)

    def _removed(self, name: str) -> None:
        self._written.pop(name, None)
        self._objects.remove(f"{EVENTS}/{name}")

    def probe_once(self) -> None:
        """Do as `probe`, unless it was found right by this process before."""
        if not self._is_probed:
            self.probe()

    def probe(self) -> None:
        """Raise WriteRefused where the store gives a name twice; Unreachable if it is silent."""
        name = f"{TEMPORARY}{secrets.token_hex(8)}"
        try:
            with contextlib.suppress(FileExistsError):
                self._objects.create(f"{EVENTS}/{name}", b"first")
            with contextlib.suppress(FileExistsError):
                self._objects.create(f"{EVENTS}/{name}", b"second")
                raise WriteRefused(
                    f"{self._line.address} gives a name that is taken to somebody else (it does "
                    "not heed If-None-Match), so two people recording at once could overwrite "
                    "each other. The book can be read there, not written."
                )
            self._look()
            self._clear_broken_off(self.made_at(name))
            self._is_probed = True
        finally:
            with contextlib.suppress(LedgerError):
                self._objects.remove(f"{EVENTS}/{name}")


def _covers(names: Iterable[str]) -> list[Cover]:
    return sorted(filter(None, map(parse_name, names)))


def _whole(names: Iterable[str]) -> list[str]:
    """Give the files that hold every commit from 1 on, up to the first one that is missing."""
    kept: list[str] = []
    last = 0
    for cover in sorted(_covers(names), key=lambda one: (one.first, -one.last)):
        if cover.first <= last + 1:
            kept.append(cover.name)
            last = max(last, cover.last)
    return kept
