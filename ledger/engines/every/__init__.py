"""The state of every bike at once, from a book's files, by sorts of whole numbers.

What the relations of a view say (`ledger.engines.views.RELATIONS`), of all bikes: each file is read
once, in memory that does not grow with the book.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from threading import Event
from typing import Any, TypeVar

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.engines.duckdb import Asked
from ledger.engines.every.columns import whole
from ledger.engines.every.folds import LONGEST_FIRST, Fold, States
from ledger.engines.every.laid import COUNTED, Laid, Numbered, Split, lay, plain
from ledger.engines.every.pieces import (
    COLUMNS,
    PARTS,
    STRIKING,
    FileOfEvents,
    Known,
    Piece,
    Struck,
    counts_of,
    parts_of,
)
from ledger.engines.every.rows import Effects, Rows

__all__ = ["COLUMNS", "MOST_AT_ONCE", "Laid", "Source", "firsts_of", "laid_of", "starts_of",
           "states_in", "states_of"]  # fmt: skip

MOST_AT_ONCE = 4_000_000
"""So many events are looked at in one go, at most."""
ROWS_AT_ONCE = 3_000_000
"""Of more, about so many: beside what is folded of them the files' own indexes are in memory."""
_ENOUGH_FILES = 25
_MOST_RANGES = 64
"""Each is nine files while it is laid: a process may often open a thousand, and no more."""
_THREADS = 2
Made = TypeVar("Made")
Mapped = Callable[[Callable[[str], tuple[str, Any]], Iterable[str]], Iterable[tuple[str, Any]]]
"""Does something of each name: `map`, or that of a pool of threads."""
_AHEAD = 3


@dataclass(frozen=True)
class Source:
    """A book's files, and what else its states hang on."""

    paths: Sequence[str]
    """A reading set, in order of commits."""
    size: int
    """How many events it holds."""
    joined: Mapping[str, str]
    """For each joined tag, the tag its bike goes by."""
    effects: Effects


def states_of(source: Source, asked: Asked) -> States:
    """Give the states of all bikes at once; empty where none has a live event."""
    with ThreadPoolExecutor(_THREADS) as pool:
        splits = list(_splits(pool, source, asked, lambda split: split))
        parts: dict[str, pa.Table] = {}
        if splits:
            parts = {name: pa.concat_tables([of[name] for of, _ in splits]) for name in PARTS}
        counts = [counts for _, counts in splits]
        splits.clear()
        return _folded(pool.map, source.effects, parts, _summed(counts))


def laid_of(source: Source, asked: Asked, folder: Path) -> Laid:
    """Lay the live events of a great book in an empty folder, by ranges of tags."""
    starts, numbered = starts_of(source), Numbered()
    with ThreadPoolExecutor(_THREADS) as pool:
        splits = _splits(pool, source, asked, lambda split: list(plain(split, numbered)))
        return lay(pool, splits, starts, numbered, folder)


def states_in(laid: Laid, effects: Effects) -> Iterator[States]:
    """Give the states of the bikes of each range; empty where none has a live event.

    So many ranges as there are threads are read and folded at a time.
    """

    def folded(number: int) -> States:
        parts, counts = laid.read(number)
        return _folded(map, effects, parts, _summed([counts]))

    with ThreadPoolExecutor(_THREADS) as pool:
        waiting: deque[Future[States]] = deque()
        for number in range(len(laid)):
            waiting.append(pool.submit(folded, number))
            # one more waits for whichever thread is done first
            if len(waiting) > _THREADS:
                yield waiting.popleft().result()
        while waiting:
            yield waiting.popleft().result()


def _folded(
    mapped: Mapped, effects: Effects, parts: dict[str, pa.Table], summed: pa.Table
) -> States:
    if not len(summed):
        return {}
    bikes = whole(summed["bike"])
    rows = dict(mapped(lambda name: (name, Rows(parts.pop(name), bikes)), PARTS))
    fold = Fold(rows, summed, effects)
    return dict(mapped(lambda name: (name, getattr(fold, name)()), LONGEST_FIRST))


def _summed(counts: Sequence[pa.Table]) -> pa.Table:
    """Give how many live events each bike has, by bike."""
    if not counts:
        return COUNTED.empty_table()
    summed = pa.concat_tables(counts).group_by("bike").aggregate([("events_used", "sum")])
    return summed.select(["bike", "events_used_sum"]).rename_columns(COUNTED.names).sort_by("bike")


def _splits(
    pool: ThreadPoolExecutor, source: Source, asked: Asked, made: Callable[[Split], Made]
) -> Iterator[Made]:
    """Give what is made of the live rows of pieces of files, by part.

    The newest come first: a strike follows its target.
    """
    known = Known(_micros(asked.as_at), asked.known_seq)
    struck, newer = Struck(), Event()
    newer.set()
    waiting: deque[Future[list[Made]]] = deque()
    for path in reversed(source.paths):
        turn = _Turn(newer, newer := Event())
        waiting.append(pool.submit(_file, path, source.joined, known, struck, turn, made))
        if len(waiting) > _AHEAD:
            yield from waiting.popleft().result()
    while waiting:
        yield from waiting.popleft().result()


@dataclass(frozen=True)
class _Turn:
    """When a file's strikes are put to those of all newer files."""

    newer: Event
    """All newer files have put theirs."""
    done: Event

    def put(self, struck: Struck, found: Iterable[pa.Array]) -> None:
        """Put what a file strikes to the rest, once it is its turn; whatever befalls it."""
        try:
            mine = list(found)
            # Files are begun in this order, so that nobody waits for one that has not begun.
            self.newer.wait()
            for ids in mine:
                struck.add(ids)
        finally:
            self.done.set()


def _file(
    path: str,
    joined: Mapping[str, str],
    known: Known,
    struck: Struck,
    turn: _Turn,
    made: Callable[[Split], Made],
) -> list[Made]:
    """Give what is made of each piece of a file, while what was read is near at hand."""
    pieces: list[Piece] = []
    reads: list[Callable[[], Piece]] = []

    def strikes() -> Iterator[pa.Array]:
        """Read a small file at once, of a great one its strikes alone."""
        file = FileOfEvents(path, joined)
        reads.extend(partial(_piece, file, run, known) for run in file.runs)
        if len(file.runs) < 2:
            pieces.extend(read() for read in reads)
        for piece in pieces or (_piece(file, run, known, STRIKING) for run in file.runs):
            yield piece.strikes()

    turn.put(struck, strikes())
    found = []
    for piece in pieces or (read() for read in reads):
        live = piece.live(struck)
        found.append(made((parts_of(piece, live), counts_of(piece, live))))
    return found


def _piece(
    file: FileOfEvents, run: Sequence[int], known: Known, names: Sequence[str] = ()
) -> Piece:
    return Piece(file.read(run, names), known)


def starts_of(source: Source) -> list[str]:
    """Give the first tags of ranges with about ROWS_AT_ONCE events each."""
    count = min(-(-source.size // ROWS_AT_ONCE), _MOST_RANGES)
    return firsts_of(source.paths, source.joined, count)


def firsts_of(paths: Sequence[str], joined: Mapping[str, str], count: int) -> list[str]:
    """Give the first tags of about so many ranges with as many events each; the first is "".

    Of very many files some tell as well as all how tags are spread.
    """
    tables: list[pa.Table] = []
    for path in paths[:: 1 + len(paths) // _ENOUGH_FILES]:
        file = FileOfEvents(path, joined)
        tables.extend(file.read(run, ("bike",)) for run in file.runs)
    tags = pa.concat_tables(tables)["bike"].cast(pa.string()).drop_null().value_counts()
    order = pc.sort_indices(tags.field("values"))
    names, rows = (tags.field(name).take(order) for name in ("values", "counts"))
    ends = np.cumsum(rows.to_numpy())
    if not len(ends):
        return [""]
    firsts = np.searchsorted(ends, ends[-1] * np.arange(1, count) / count)
    return sorted({"", *names.take(pa.array(firsts, pa.int64())).to_pylist()})


def _micros(moment: datetime) -> int:
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
