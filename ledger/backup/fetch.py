"""Bringing a backup's files to a disk, each held to its own hash, and events to their roots."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable, Iterable
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from pathlib import Path
from typing import NamedTuple

import pyarrow as pa

from ledger.backup.damage import Damage, Way, longest_way
from ledger.backup.files import EVENTS, is_whole
from ledger.backup.statement import File
from ledger.errors import BookDamaged, LedgerError
from ledger.storage.compaction import check_file
from ledger.storage.footer import CommitMark, check_self_hash
from ledger.storage.listing import Cover, parse_name
from ledger.storage.merkle import Frontier
from ledger.storage.objects import Objects

_AT_ONCE = 8
_OF_THE_PLACE = (errno.EIO, errno.EACCES, errno.EISDIR, errno.EPERM)
"""What the place says where one file of it cannot be read."""

Tell = Callable[[int, int], object]
"""Is told how many files are there, of how many."""


class Chained(NamedTuple):
    """The files whose events give every root, one behind the other, and what they come to."""

    way: Way
    mark: CommitMark | None
    """Of the last commit of the way; None where there is none."""
    begins: str | None
    """The root after the first commit."""
    damages: tuple[Damage, ...]


def fetch(place: Objects, files: Iterable[File], folder: Path, tell: Tell) -> list[Damage]:
    """Bring files into a folder of a book, those that are whole; give what is wrong with others.

    A file of events is whole if its bytes give the hash it carries. Raises Unreachable, and
    OSError where this disk cannot be written.
    """
    wanted = list(files)
    with ThreadPoolExecutor(_AT_ONCE) as hands:
        asked = [hands.submit(partial(_fetch_one, place, file, folder)) for file in wanted]
        found: list[Damage] = []
        try:
            for count, one in enumerate(asked, 1):
                damage = one.result()
                found += [damage] if damage is not None else []
                tell(count, len(wanted))
        except BaseException:
            hands.shutdown(cancel_futures=True)
            raise
    return found


def _fetch_one(place: Objects, file: File, folder: Path) -> Damage | None:
    try:
        content = place.get(file.there)
    except FileNotFoundError:
        return Damage.of(file.there, "missing", "It is named, and not there")
    except OSError as error:
        if error.errno not in _OF_THE_PLACE:
            raise
        return Damage.of(file.there, "unreadable", f"It cannot be read ({error.strerror})")
    if not (check_self_hash(content) if file.name.startswith(EVENTS) else is_whole(file, content)):
        wrong = "Its bytes do not give its SHA-256"
        if file.size and len(content) != file.size:
            wrong = f"It has {len(content):,} bytes, not {file.size:,}"
        return Damage.of(file.there, "damaged", wrong)
    write(folder / file.name, content)
    return None


def write(path: Path, content: bytes, mode: int = 0o644) -> None:
    """Make a file that lasts once its folder is confirmed."""
    descriptor = os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, mode)
    with os.fdopen(descriptor, "wb") as file:
        file.write(content)
        file.flush()
        os.fsync(file.fileno())


def confirm(folder: Path) -> None:
    """Return once every name in a folder is durable."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def chained(folder: Path, tell: Tell) -> Chained:
    """Give the longest way through a folder's files whose events give every root.

    Each file must carry the hash of its own bytes. Files that do not follow are told.
    """
    covers = set(filter(None, map(parse_name, (path.name for path in folder.iterdir()))))
    damages: list[Damage] = []
    while True:
        way = longest_way(covers)
        wrong: Damage | None = None
        mark, begins, frontier = None, None, Frontier()
        for count, cover in enumerate(way.files, 1):
            try:
                content = (folder / cover.name).read_bytes()
                footer = check_file(cover, content, frontier)
            except (LedgerError, pa.ArrowException, OSError, ValueError) as error:
                wrong = _out_of_place(cover, error)
                covers.remove(cover)
                break
            begins = begins or footer.marks[0].root
            mark, frontier = footer.last, footer.frontier
            tell(count, len(way.files))
        if wrong is None:
            return Chained(way, mark, begins, tuple(damages))
        damages.append(wrong)


def _out_of_place(cover: Cover, error: Exception) -> Damage:
    detail = str(error).partition(": ")[2] or str(error)
    if isinstance(error, BookDamaged):
        detail = detail.partition(". ")[0]
    return Damage.of(EVENTS + cover.name, "out of place", f"Behind what comes before, {detail}")


def set_aside(way: Way, folder: Path, aside: Path) -> None:
    """Move every file that is not on the way out of a book's folder."""
    on_it = {cover.name for cover in way.files}
    for path in sorted(folder.iterdir()):
        if path.name not in on_it:
            aside.mkdir(parents=True, exist_ok=True)
            path.rename(aside / path.name)
