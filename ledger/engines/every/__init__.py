"""The state of every bike at once, from a book's files, by sorts of whole numbers.

What the relations of a view say (`ledger.engines.views.RELATIONS`), of all bikes: each file is read
once, in memory that does not grow with the book.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TypeAlias

import pyarrow as pa
import pyarrow.parquet as pq

from ledger.engines.duckdb import Asked
from ledger.engines.every.folds import Fold, States
from ledger.engines.every.pieces import (
    COLUMNS,
    PARTS,
    STRIKING,
    Bikes,
    FileOfEvents,
    Known,
    counts_of,
    declared,
    known_rows,
    live_rows,
    parts_of,
    strikes_in,
)
from ledger.engines.every.rows import Effects
from ledger.engines.views import RELATIONS

__all__ = ["COLUMNS", "Source", "apart_of", "ranges_of", "states_of"]

MOST_AT_ONCE = 12_000_000
"""So many events are looked at in one go, at most."""
ROWS_AT_ONCE = 8_000_000
"""Of more, about so many: beside what is folded of them the files' own indexes are in memory."""
_THREADS = 2
_AHEAD = 3
COUNTED = pa.schema([("bike", pa.string()), ("events_used", pa.int64())])

_Split = tuple[dict[str, pa.Table], pa.Table]


@dataclass(frozen=True)
class Source:
    """A book's files, and what else its states hang on."""

    paths: Sequence[str]
    """A reading set, in order of commits."""
    size: int
    """How many events it holds."""
    joined: Mapping[str, str]
    """For each joined tag, the tag its bike goes by."""
    events_of: Callable[[frozenset[str]], pa.Table]
    """Gives the stored events (COLUMNS) of some tags."""
    effects: Effects


def apart_of(source: Source) -> pa.Table | None:
    """Give the events of joined tags, which may lie in different ranges; None of none."""
    if not source.joined:
        return None
    return declared(source.events_of(frozenset(source.joined)), COLUMNS, source.joined)


def states_of(source: Source, bikes: Bikes, asked: Asked, apart: pa.Table | None) -> States:
    """Give the states of the bikes of one range; empty where none has a live event.

    `apart` holds the events of joined tags, where there are several ranges.
    """
    known = Known(_micros(asked.as_at), asked.known_seq)
    with ThreadPoolExecutor(_THREADS) as pool:
        splits = list(_splits(pool, source, bikes, known, apart))
        summed = _summed([counts for _, counts in splits])
        if not len(summed):
            return {}
        parts = {name: pa.concat_tables([parts[name] for parts, _ in splits]) for name in PARTS}
        splits.clear()
        fold = Fold(parts, summed, source.effects)
        return dict(pool.map(lambda name: (name, getattr(fold, name)()), RELATIONS))


def _summed(counts: Sequence[pa.Table]) -> pa.Table:
    """Give how many live events each bike has, by bike."""
    if not counts:
        return COUNTED.empty_table()
    summed = pa.concat_tables(counts).group_by("bike").aggregate([("events_used", "sum")])
    return summed.select(["bike", "events_used_sum"]).rename_columns(COUNTED.names).sort_by("bike")


def _splits(
    pool: ThreadPoolExecutor, source: Source, bikes: Bikes, known: Known, apart: pa.Table | None
) -> Iterator[_Split]:
    """Give the live rows of each file by part, the newest first: a strike follows its target."""
    if apart is not None:
        rows = known_rows(apart, bikes, known)
        yield _split(apart, Bikes(bikes.first, bikes.end), known, strikes_in(apart, rows))
        bikes = Bikes(bikes.first, bikes.end, frozenset(source.joined))
    joined = {} if apart is not None else source.joined
    struck = [pa.array([], pa.binary(16))]
    waiting: deque[Future[_Split]] = deque()
    for file, pieces, strikes in _read(pool, source.paths, bikes, joined, known):
        struck = [pa.concat_arrays([*struck, strikes])]
        for piece in pieces:
            waiting.append(pool.submit(_piece, file, piece, bikes, known, struck[0]))
            if len(waiting) > _AHEAD:
                yield waiting.popleft().result()
    for split in waiting:
        yield split.result()


_Piece: TypeAlias = "pa.Table | Sequence[int]"
_Found: TypeAlias = tuple[FileOfEvents, Sequence[_Piece], pa.Array]


def _read(
    pool: ThreadPoolExecutor,
    paths: Sequence[str],
    bikes: Bikes,
    joined: Mapping[str, str],
    known: Known,
) -> Iterator[_Found]:
    """Give files from the last to the first, each with its pieces and what it strikes."""
    reading: deque[Future[_Found]] = deque()
    for path in reversed(paths):
        reading.append(pool.submit(_opened, path, bikes, joined, known))
        if len(reading) > _AHEAD:
            yield reading.popleft().result()
    for found in reading:
        yield found.result()


def _opened(path: str, bikes: Bikes, joined: Mapping[str, str], known: Known) -> _Found:
    """Open a file: a small one is read at once, of a great one its strikes alone."""
    file = FileOfEvents(path, bikes, joined)
    is_small = len(file.runs) < 2
    pieces: list[_Piece] = [file.read(run) for run in file.runs] if is_small else [*file.runs]
    told = pieces if is_small else [file.read(run, STRIKING) for run in file.runs]
    struck = [strikes_in(one, known_rows(one, bikes, known)) for one in told]
    return file, pieces, pa.concat_arrays([pa.array([], pa.binary(16)), *struck])


def _piece(
    file: FileOfEvents, piece: _Piece, bikes: Bikes, known: Known, struck: pa.Array
) -> _Split:
    return _split(piece if isinstance(piece, pa.Table) else file.read(piece), bikes, known, struck)


def _split(events: pa.Table, bikes: Bikes, known: Known, struck: pa.Array) -> _Split:
    live = live_rows(events, known_rows(events, bikes, known), struck, known)
    return parts_of(events, live), counts_of(events, live)


def ranges_of(source: Source) -> list[Bikes]:
    """Give ranges of tags with about ROWS_AT_ONCE events each, from the files' statistics."""
    if source.size <= MOST_AT_ONCE:
        return [Bikes()]
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
    edges = [""]
    rows = 0
    for least, size in sorted(sizes):
        if rows >= source.size * len(edges) / count and least > edges[-1]:
            edges.append(least)
        rows += size
    return [Bikes(first, end) for first, end in zip(edges, [*edges[1:], None], strict=True)]


def _micros(moment: datetime) -> int:
    return (moment - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)
