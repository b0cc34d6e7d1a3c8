"""What is kept beside a book: a table that can be worked out again at any time."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache, cached_property
from importlib.util import find_spec
from pathlib import Path

import pyarrow as pa

from ledger import sql

_FORMAT = "1"
END_OF_TIME = datetime(2201, 1, 1, tzinfo=UTC)
"""What has no future events is the same at any later instant."""


@dataclass(frozen=True, slots=True)
class Read:
    """Gives a relation by name, as at now."""

    give: Callable[[str], pa.Table]
    is_whole: bool
    """Of the whole book; else of some bikes alone."""

    def __call__(self, relation: str) -> pa.Table:
        """Give a relation."""
        return self.give(relation)


@dataclass(frozen=True)
class Keep:
    """A table that is worth keeping: one row or none of each bike, or many.

    What it says of a bike may depend only on that bike's events (joined tags are one bike) and on
    what is `given`; not on other terms or words, nor on the day: those are looked up when it is
    read.
    """

    name: str
    """In small letters: part of a folder's name."""
    uses: tuple[str, ...]
    """The relations it is made from."""
    make: Callable[[Read], pa.Table]
    """Makes it; the first column is `bike`, and no column is of a dictionary's type."""
    code: tuple[str, ...] = ()
    """The modules that make it, by dotted name: when one changes, it is made anew."""
    given: tuple[str, ...] = ()
    """What else goes into it, as text: terms that all of it was worked out by."""
    as_at: datetime = END_OF_TIME
    """As at when it is; where that is not the end of time, `given` says so too."""
    is_by_range: bool = True
    """Whether of a great book it is made a range of bikes at a time; else its own way."""

    @cached_property
    def fingerprint(self) -> str:
        """16 hexadecimal digits of all that it is made by: relations, code, form of the file."""
        return fingerprint_of(self.name, self.uses, self.code, self.given)

    @property
    def folder(self) -> str:
        """The name of its folder."""
        return f"{self.name}-{self.fingerprint}"


def as_it_is(relation: str, read: Read) -> pa.Table:
    """Make a Keep's table of one relation, all of it, the bike first."""
    table = read(relation)
    return table.select(["bike", *(name for name in table.column_names if name != "bike")])


@cache
def fingerprint_of(
    name: str, uses: tuple[str, ...], code: tuple[str, ...], given: tuple[str, ...]
) -> str:
    """Give 16 hexadecimal digits of what something kept is made by; see Keep for what is what."""
    texts = [_FORMAT, name, *map(sql.compose, uses), *map(_source, code), *given]
    return hashlib.sha256("\0".join(texts).encode()).hexdigest()[:16]


def _source(module: str) -> str:
    spec = find_spec(module)
    if spec is None or spec.origin is None:
        raise ModuleNotFoundError(module)
    return Path(spec.origin).read_text("utf-8")
