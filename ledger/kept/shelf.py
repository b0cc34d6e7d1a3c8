"""The files of one kept table: a base, and beside it what was made anew since.

`<size>.arrow` holds every bike as the book stood at that size. `<base>+<size>.arrow` holds some
bikes as they stood later, in place of what the base says of them.
"""

from __future__ import annotations

import contextlib
import json
import re
import shutil
import time
from bisect import bisect_left, bisect_right
from collections.abc import Callable, Collection, Iterator
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Protocol

import pyarrow as pa

from ledger.engines.memory import give_back
from ledger.kept.mark import Mark
from ledger.storage import aside

_NAME = re.compile(r"(?:(\d+)\+)?(\d+)\.arrow")
_REPLACED = b"lockring.replaced"
_OF = b"lockring.of"
"""Whose file it is: one of another table would be sound too, under this one's name."""
_LEFT_BEHIND_SECONDS = 3600
_GREAT = 1_000_000
"""What is made of so many events leaves much memory behind it."""


@dataclass(frozen=True)
class Held:
    """A kept table as at a mark: its base, and the bikes that are told anew beside it."""

    mark: Mark
    base_size: int
    base: pa.Table
    """By bike; of a great book in several chunks, each with all of its bikes."""
    newer: pa.Table | None = None
    """By bike: rows of `replaced`, in place of theirs in the base."""
    replaced: frozenset[str] = frozenset()

    @cached_property
    def table(self) -> pa.Table:
        """Every row; those of one bike stand together."""
        if self.newer is None:
            return self.base
        return pa.concat_tables([without(self.base, self.replaced), self.newer])


def by_bike(table: pa.Table) -> pa.Table:
    """Give a table in order of its bikes, the rows of each as they came, in one piece."""
    return table.sort_by("bike").combine_chunks()


def without(table: pa.Table, tags: Collection[str]) -> pa.Table:
    """Give a table that is in order of its bikes without some of them."""
    pieces = [_without(piece, tags) for piece in _pieces(table)]
    return pa.concat_tables(pieces) if pieces else table


def merged(base: pa.Table, tags: Collection[str], newer: pa.Table) -> Iterator[pa.Table]:
    """Give a base with some bikes told anew, a chunk of it at a time; at least one.

    `newer` is in order of its bikes, all of them among the tags, and in one piece.
    """
    pieces = list(_pieces(base)) or [base]
    later = [piece["bike"][0].as_py() for piece in pieces[1:]]
    tags_of = newer["bike"].to_pylist()
    ends = [bisect_left(tags_of, tag) for tag in later]
    for piece, start, end in zip(pieces, [0, *ends], [*ends, len(newer)], strict=True):
        yield by_bike(pa.concat_tables([_without(piece, tags), newer.slice(start, end - start)]))


def _pieces(table: pa.Table) -> Iterator[pa.Table]:
    for batch in table.to_batches():
        if batch.num_rows:
            yield pa.Table.from_batches([batch])


def _without(table: pa.Table, tags: Collection[str]) -> pa.Table:
    """Give a table of one piece without some bikes."""
    if not len(table):
        return table
    column, rows = table["bike"].chunk(0), range(len(table))
    first_tag, last_tag = column[0].as_py(), column[-1].as_py()
    pieces, start = [], 0
    for tag in sorted(tag for tag in tags if first_tag <= tag <= last_tag):
        first = bisect_left(rows, tag, key=lambda row: column[row].as_py())
        last = bisect_right(rows, tag, key=lambda row: column[row].as_py())
        if first < last:
            pieces.append(table.slice(start, first - start))
            start = last
    return pa.concat_tables([*pieces, table.slice(start)])


class Kept(Protocol):
    """What lies on a shelf."""

    @property
    def name(self) -> str:
        """In small letters: the first part of its folder's name."""

    @property
    def folder(self) -> str:
        """The name, and the fingerprint of all that it is made by."""


class Shelf:
    """Where one kept table of a book lies."""

    def __init__(self, derived: Path, keep: Kept) -> None:
        self._derived, self._keep = derived, keep
        self._folder = derived / keep.folder

    def found(self, most: int, least: int = 0) -> Iterator[Held]:
        """Give what is there and sound of sizes from `least` to `most`, the largest first."""
        for size, base in sorted(self._sizes(), reverse=True):
            if least <= size <= most and (held := self._read(size, base)) is not None:
                yield held

    def put(self, held: Held) -> None:
        """Write it as far as it is not there, and clear away what it takes the place of."""
        size, base = held.mark.size, held.base_size
        told = {**held.mark.to_metadata(), _OF.decode(): self._keep.folder}
        if held.newer is None:
            is_there = aside.write(self._path(size, None), held.base, told)
        else:
            told[_REPLACED.decode()] = json.dumps(sorted(held.replaced))
            is_there = aside.write(self._path(size, base), held.newer, told)
        if is_there:
            self._tidy(size, base)
        if held.newer is None and size >= _GREAT:
            give_back()

    def put_pieces(self, mark: Mark, pieces: Callable[[], Iterator[pa.Table]]) -> Held:
        """Write a base that comes piece by piece, as `put` does, and give it as it lies there.

        Pieces are by bike, at least one, each with all of its bikes. Where it cannot be written
        they are asked for again, and held in memory.
        """
        first = next(pieces())
        told = {**mark.to_metadata(), _OF.decode(): self._keep.folder}
        if aside.write_pieces(self._path(mark.size, None), first.schema, pieces(), told):
            self._tidy(mark.size, mark.size)
            give_back()
            if (found := self._read(mark.size, mark.size)) is not None:
                return found
        return Held(mark, mark.size, pa.concat_tables(pieces()))

    def _path(self, size: int, base: int | None) -> Path:
        return self._folder / (f"{size}.arrow" if base is None else f"{base}+{size}.arrow")

    def _sizes(self) -> Iterator[tuple[int, int]]:
        """Give (size, size of the base) of every file by its name."""
        with contextlib.suppress(OSError):
            for path in self._folder.iterdir():
                if named := _NAME.fullmatch(path.name):
                    yield int(named[2]), int(named[1] or named[2])

    def _read(self, size: int, base: int) -> Held | None:
        whole = self._own(self._path(base, None))
        newer = self._own(self._path(size, base)) if size != base else None
        told = whole if size == base else newer
        if whole is None or told is None:
            return None
        metadata = told.schema.metadata or {}
        try:
            mark = Mark.of_metadata(metadata)
            replaced = frozenset(json.loads(metadata.get(_REPLACED, b"[]")))
        except (KeyError, ValueError):
            return None
        if mark.size != size or not whole.schema.equals(told.schema):
            return None
        return Held(mark, base, _plain(whole), newer if newer is None else _plain(newer), replaced)

    def _own(self, path: Path) -> pa.Table | None:
        """Give what lies at a place, if it was written for it."""
        table = aside.read(path)
        told = (table.schema.metadata or {}).get(_OF) if table is not None else None
        return table if told == self._keep.folder.encode() else None

    def _tidy(self, size: int, base: int) -> None:
        """Remove older sizes, other fingerprints, and what killed writers left an hour ago."""
        kept = {self._path(size, None), self._path(base, None), self._path(size, base)}
        with contextlib.suppress(OSError):
            for path in self._folder.iterdir():
                named = _NAME.fullmatch(path.name)
                is_older = named is not None and int(named[2]) < size and path not in kept
                if is_older or (named is None and _is_left_behind(path)):
                    path.unlink(missing_ok=True)
            for other in self._derived.glob(f"{self._keep.name}-{16 * '?'}"):
                if other != self._folder:
                    shutil.rmtree(other, ignore_errors=True)


def _plain(table: pa.Table) -> pa.Table:
    return table.replace_schema_metadata(None)


def _is_left_behind(path: Path) -> bool:
    return time.time() - path.stat().st_mtime > _LEFT_BEHIND_SECONDS
