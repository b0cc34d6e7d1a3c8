"""Which books are meant: by their folders, by patterns, by what holds them, by bucket prefixes."""

from __future__ import annotations

import glob
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from fnmatch import fnmatchcase
from pathlib import Path
from typing import TYPE_CHECKING

from ledger.errors import NoBook, Unreachable, WrongUse
from ledger.home.folder import EVENTS, TOLD
from ledger.home.places import MARK, mirror_of
from ledger.storage.address import is_address, written

if TYPE_CHECKING:
    from ledger.storage.objects import BucketObjects

Place = Path | str
"""A folder, or the `s3://bucket/prefix` of a book or of several."""
_SIGNS = "*?["
_HANDS = 16


def is_one_book(place: Place) -> bool:
    """Say whether a place is one book's own, not one that holds books or a pattern.

    A place that holds nothing is said to be one: opening it tells what is wrong. Raises WrongUse
    and Unreachable as `places_of` does.
    """
    if is_address(place):
        address = written(place).rstrip("/")
        if any(sign in address for sign in _SIGNS):
            return False
        found = list(_at_address(address))
        return not found or found == [address]
    path = Path(place)
    return _is_book(path) or not (_is_pattern(path) or _books_in(path))


def places_of(places: Sequence[Place]) -> tuple[Place, ...]:
    """Give the place of every book that is meant, in the order of their names, each once.

    A place may be a book, a folder or prefix that holds books, or a pattern such as `books/*`.
    An address whose store does not answer is given as it is. Raises NoBook for a place that leads
    to no book, WrongUse for an address that cannot be one, and Unreachable where a pattern cannot
    be looked up.
    """
    found: dict[str, Place] = {}
    for place in places:
        books: list[Place] = (
            [*_at_address(written(place))] if is_address(place) else [*_at_path(Path(place))]
        )
        if not books:
            raise NoBook(
                f"There is no book at {written(place)}, and none in it. Give a book, a folder "
                "that holds books, or a pattern such as 'books/*'."
            )
        found |= {_identity(book): book for book in books}
    return tuple(found[key] for key in sorted(found))


def _identity(place: Place) -> str:
    return str(place) if isinstance(place, str) else str(place.resolve())


def _is_pattern(path: Path) -> bool:
    return any(sign in str(path) for sign in _SIGNS) and not path.exists()


def _is_book(path: Path) -> bool:
    """Say whether a folder is a book, be it one that lacks its `book.toml`."""
    return any((path / name).exists() for name in (TOLD, MARK)) or (path / EVENTS).is_dir()


def _books_in(path: Path) -> list[Path]:
    try:
        return sorted(one for one in path.iterdir() if one.is_dir() and _is_book(one))
    except OSError:
        return []


def _at_path(path: Path) -> Iterator[Path]:
    if _is_pattern(path):
        # `Path.glob` takes no pattern that begins at the root.
        for one in sorted(map(Path, glob.glob(str(path)))):  # noqa: PTH207
            yield from _at_path(one) if one.is_dir() else ()
    elif _is_book(path):
        yield path
    else:
        yield from _books_in(path)


def _may_be_book(objects: BucketObjects) -> bool:
    """Say whether an address is a book's; one that does not answer is left to whoever opens it."""
    try:
        return objects.has(TOLD)
    except Unreachable:
        return True


def _at_address(address: str) -> Iterator[str]:
    """Give the books at an address, or right below it; of `…/*`, those whose name fits."""
    address = address.rstrip("/")
    above, _, last = address.rpartition("/")
    if any(sign in above for sign in _SIGNS):
        raise WrongUse(f"{address!r}: a pattern may stand in the last part of an address alone.")
    is_pattern = any(sign in last for sign in _SIGNS)
    if not is_pattern and (mirror_of(address) / TOLD).exists():
        yield address
        return
    # The client of object stores is loaded for those who have one.
    from ledger.storage.objects import BucketObjects

    objects = BucketObjects(above if is_pattern else address)
    if not is_pattern and _may_be_book(objects):
        yield address
        return
    names = [name for name in objects.folders() if not is_pattern or fnmatchcase(name, last)]
    with ThreadPoolExecutor(_HANDS) as hands:
        there = list(hands.map(lambda name: objects.has(f"{name}/{TOLD}"), names))
    for name, is_there in zip(names, there, strict=True):
        if is_there:
            yield f"{objects.address}/{name}"
