"""The state of every bike at once, from a book's files, by sorts of whole numbers.

What the relations of a view say (`ledger.engines.views.RELATIONS`), of all bikes: each file is read
once, in memory that does not grow with the book.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TypeAlias

import pyarrow as pa
import pyarrow.parquet as pq

from ledger.engines.duckdb import Asked
from ledger.engines.every.folds import Fold, States
from ledger.engines.every.laid import COUNTED, Laid, Split, lay
from ledger.engines.every.pieces import (
    COLUMNS,
    PARTS,
    STRIKING,
    FileOfEvents,
    Known,
    counts_of,
    known_rows,
    live_rows,
    parts_of,
    strikes_in,
)
from ledger.engines.every.rows import Effects
from ledger.engines.views import RELATIONS

__all__ = ["COLUMNS", "MOST_AT_ONCE", "Laid", "Source", "laid_of", "starts_of", "states_in",
           "states_of"]  # fmt: skip

MOST_AT_ONCE = 12_000_000
"""So many events are looked at in one go, at most."""
ROWS_AT_ONCE = 8_000_000
"""Of more, about so many: beside what is folded of them the files' own indexes are in memory."""
_THREADS = 2
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
        splits = list(_splits(pool, source, asked))
        parts: dict[str, pa.Table] = {}
        if splits:
            parts = {name: pa.concat_tables([of[name] for of, _ in splits]) for name in PARTS}
        counts = [counts for _, counts in splits]
        splits.clear()
        return _folded(pool, source.effects, parts, _summed(counts))


def laid_of(source: Source, asked: Asked, folder: Path) -> Laid:
    """Lay the live events of a great book in an empty folder, by ranges of tags."""
    with ThreadPoolExecutor(_THREADS) as pool:
        return lay(_splits(pool, source, asked), starts_of(source), folder)


def states_in(laid: Laid, number: int, effects: Effects) -> States:
    """Give the states of the bikes of one range; empty where none has a live event."""
    parts, counts = laid.read(number)
    with ThreadPoolExecutor(_THREADS) as pool:
        return _folded(pool, effects, parts, _summed([counts]))


def _folded(
    pool: ThreadPoolExecutor, effects: Effects, parts: dict[str, pa.Table], summed: pa.Table
) -> States:
    if not len(summed):
        return {}
    fold = Fold(parts, summed, effects)
    parts.clear()
    return dict(pool.map(lambda name: (name, getattr(fold, name)()), RELATIONS))


def _summed(counts: Sequence[pa.Table]) -> pa.Table:
    """Give how many live events each bike has, by bike."""
    if not counts:
        return COUNTED.empty_table()
    summed = pa.concat_tables(counts).group_by("bike").aggregate([("events_used", "sum")])
    return summed.select(["bike", "events_used_sum"]).rename_columns(COUNTED.names).sort_by("bike")


def _splits(pool: ThreadPoolExecutor, source: Source, asked: Asked) -> Iterator[Split]:
    """Give the live rows of each file by part, the newest first: a strike follows its target."""
    known = Known(_micros(asked.as_at), asked.known_seq)
    struck = [pa.array([], pa.binary(16))]
    waiting: deque[Future[Split]] = deque()
    for file, pieces, strikes in _read(pool, source, known):
        struck = [pa.concat_arrays([*struck, strikes])]
        for piece in pieces:
            waiting.append(pool.submit(_piece, file, piece, known, struck[0]))
            if len(waiting) > _AHEAD:
                yield waiting.popleft().result()
    for split in waiting:
        yield split.result()


_Piece: TypeAlias = "pa.Table | Sequence[int]"
_Found: TypeAlias = tuple[FileOfEvents, Sequence[_Piece], pa.Array]


def _read(pool: ThreadPoolExecutor, source: Source, known: Known) -> Iterator[_Found]:
    """Give files from the last to the first, each with its pieces and what it strikes."""
    reading: deque[Future[_Found]] = deque()
    for path in reversed(source.paths):
        reading.append(pool.submit(_opened, path, source.joined, known))
        if len(reading) > _AHEAD:
            yield reading.popleft().result()
    for found in reading:
        yield found.result()


def _opened(path: str, joined: Mapping[str, str], known: Known) -> _Found:
    """Open a file: a small one is read at once, of a great one its strikes alone."""
    file = FileOfEvents(path, joined)
    is_small = len(file.runs) < 2
    pieces: list[_Piece] = [file.read(run) for run in file.runs] if is_small else [*file.runs]
    told = pieces if is_small else [file.read(run, STRIKING) for run in file.runs]
    struck = [strikes_in(one, known_rows(one, known)) for one in told]
    return file, pieces, pa.concat_arrays([pa.array([], pa.binary(16)), *struck])


def _piece(file: FileOfEvents, piece: _Piece, known: Known, struck: pa.Array) -> Split:
    events = piece if isinstance(piece, pa.Table) else file.read(piece)
    live = live_rows(events, known_rows(events, known), struck, known)
    return parts_of(events, live), counts_of(events, live)


def starts_of(source: Source) -> list[str]:
    """Give the first tags of ranges with about ROWS_AT_ONCE events each, by files' statistics."""
    count = -(-source.size // ROWS_AT_ONCE)
    sizes: list[tuple[str, int]] = []
    for path in source.paths:
        metadata = pq.read_metadata(path)
        place = metadata.schema.names.index("bike")
        for number in range(metadata.num_row_groups):
            group = metadata.row_group(number)
            statistics = group.column(place).statistics
            if statistics is not None and statistics.has_min_max:
                sizes.append((statistics.min, group.num_rows))
    starts, rows = [""], 0
    for least, size in sorted(sizes):
        if rows >= source.size * len(starts) / count and least > starts[-1]:
            starts.append(least)
        rows += size
    return starts


def _micros(moment: datetime) -> int:
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
