"""The whole of a book held to its word: files, roots, photos, witnesses, and every rule again."""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from pathlib import Path
from typing import Any

from ledger import settings as book_settings
from ledger import witness
from ledger.errors import BookDamaged, Problem
from ledger.replay import Replay
from ledger.riders import Keyring
from ledger.signing import SignedRoot
from ledger.storage.footer import CommitMark
from ledger.storage.listing import Cover, Gapped, Listing, parse_name, reading_set, settled_listing
from ledger.storage.local import LocalStore
from ledger.storage.merkle import EMPTY_ROOT
from ledger.storage.reading import Reader
from ledger.storage.tree import Tree
from ledger.storage.verify import verify_covered, verify_log
from ledger.vocabulary import standard

OnProgress = Callable[[int, int], object]
"""Told how many events are done, of how many."""
RESTORE = "Put it back from a backup"
_PHOTO = re.compile(r"[0-9a-f]{64}")


@dataclass
class Verified:
    """What was found in a book's files."""

    commits: int = 0
    size: int = 0
    """Events whose commits give their root."""
    root: str = EMPTY_ROOT.hex()
    """Over those events, 64 hexadecimal digits."""
    problems: list[Problem] = field(default_factory=list)
    count_witnessed: int = 0
    """Signed roots that the book was held to."""


def check_files(
    path: Path, on_progress: OnProgress | None = None, witnesses: Sequence[Path] = ()
) -> Verified:
    """Recompute every hash, root and column of a book; numbers, photos and signed roots too.

    `witnesses` are files of signed roots kept elsewhere; the book's own is always read. Nothing
    is changed. Raises NoBook, and FileNotFoundError for a witness file that is not there.
    """
    settings = book_settings.read(path / "book.toml")
    found = Verified()
    signed = list(_witnessed(path, witnesses, settings.shop, found.problems))
    store = LocalStore(path / "events")
    listing = _listing(store, found.problems)
    roots = {one.size: CommitMark(0, 0, "", one.recorded_at) for one in signed}

    def note(mark: CommitMark) -> None:
        found.commits, found.size, found.root = mark.commit, mark.size, mark.root
        if mark.size in roots:
            roots[mark.size] = mark

    units = {code: word.unit for code, word in standard().quantities.items()}
    found.problems += verify_log(store, listing, units, on_progress, note)
    found.problems += verify_covered(store, listing) if listing.files else []
    found.problems += _wrong_photos(path / "photos")
    if listing.files and not (path / "riders.sqlite").exists():
        wrong = "the register, with the keys of all that was written, is missing"
        found.problems.append(Problem("riders.sqlite", "the file", wrong, RESTORE, "no_register"))
    is_whole = not found.problems
    tree = Tree([store.path(file.name) for file in listing.files], None) if is_whole else None
    for one in signed:
        found.problems += _wrong_witness(one, roots[one.size], tree, found)
    found.count_witnessed = len(signed)
    return found


def check_rules(path: Path, on_progress: OnProgress | None = None) -> list[Problem]:
    """Hold every event of a book to the rules again, commit by commit, as when it was recorded.

    For books whose files are whole (`check_files`). Nothing is changed.
    """
    settings = book_settings.read(path / "book.toml")
    store = LocalStore(path / "events")
    reader = Reader()
    paths = [store.path(file.name) for file in settled_listing(store.names).files]
    reader.refresh(paths)
    size = Tree(paths, None).size
    replay = Replay(settings, Keyring(path / "riders.sqlite"))

    def tell(done: int) -> None:
        if on_progress is not None:
            on_progress(done, size)

    return list(replay.problems(_commits(reader), tell))


def _commits(reader: Reader) -> Iterator[list[dict[str, Any]]]:
    for _, rows in groupby(reader.in_order(), key=lambda row: row[1]):
        yield [json.loads(canonical) for _, _, canonical in rows]


def _listing(store: LocalStore, problems: list[Problem]) -> Listing:
    """Give the reading set; where commits are missing, that of those before the gap."""
    try:
        return settled_listing(store.names)
    except FileNotFoundError:
        problems.append(Problem("events", "the folder", "is missing", RESTORE, "no_events"))
    except Gapped as gapped:
        problems.append(Problem("events", "commits", str(gapped), RESTORE, "commit_gap"))
        return _before_gap(store.names())
    return Listing()


def _before_gap(names: Iterable[str]) -> Listing:
    covers: list[Cover] = sorted(filter(None, map(parse_name, names)))
    kept: list[Cover] = []
    last = 0
    for cover in sorted(covers, key=lambda one: (one.first, -one.last)):
        if cover.first <= last + 1:
            kept.append(cover)
            last = max(last, cover.last)
    try:
        return reading_set(cover.name for cover in kept)
    except Gapped:
        return Listing()


def _wrong_photos(folder: Path) -> Iterator[Problem]:
    """Give the photos that are not what their name says; one that is not there may be forgotten."""
    if not folder.is_dir():
        return
    for path in sorted(folder.iterdir()):
        if not _PHOTO.fullmatch(path.name):
            continue
        try:
            with path.open("rb") as file:
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError as error:
            digest = str(error)
        if digest != path.name:
            wrong = "its bytes do not give the hash it is named by"
            yield Problem(f"photos/{path.name}", "the file", wrong, RESTORE, "photo")


def _witnessed(
    path: Path, witnesses: Sequence[Path], shop: str, problems: list[Problem]
) -> Iterator[SignedRoot]:
    """Give the signed roots of the book's own witness file and of those kept elsewhere."""
    own = path / witness.NAME
    for file in (*((own,) if own.exists() else ()), *witnesses):
        text = file.read_text("utf-8", errors="replace")
        for one in witness.read(text.split("\n"), shop, file.name):
            if isinstance(one, Problem):
                problems.append(one)
            else:
                yield one


def _wrong_witness(
    signed: SignedRoot, mark: CommitMark, tree: Tree | None, found: Verified
) -> Iterator[Problem]:
    """Give what a signed root says that the book does not."""
    where = f"witness of {signed.size} events, {signed.recorded_at:%Y-%m-%d %H:%M} UTC"
    right = "The book was rewritten or cut short since; go back to a copy that has this root"
    if signed.size > found.size:
        wrong = f"the book holds {found.size} events that give their roots"
        yield Problem(where, "size", wrong, right, "witness")
        return
    root = mark.root
    if not root:  # signed between two commits
        try:
            root = tree.root(signed.size).hex() if tree is not None else ""
        except BookDamaged:
            root = ""
    if not root:
        wrong = "could not be compared, since the book is damaged"
        yield Problem(where, "root", wrong, RESTORE, "witness")
    elif root != signed.root:
        yield Problem(where, "root", f"is {root} in the book now", right, "witness")
    elif mark.size and mark.recorded_at != signed.recorded_at:
        wrong = f"is {mark.recorded_at:%Y-%m-%d %H:%M:%S} UTC in the book now"
        yield Problem(where, "recorded_at", wrong, right, "witness")
