"""Live events read from a book's files, apart by what is folded of them: texts by dictionaries.

Each file is read once for all that is folded, and of each event only what its fold needs is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.engines.every.columns import (
    Choice,
    codes_of,
    is_among,
    is_one_of,
    micros_of,
    told,
    whole,
)
from ledger.storage.schema import EVENT_SCHEMA

_UNLIVE = ("event_struck", "bike_linked", "terms_set", "mechanic_registered", "gauge_registered")
_WHEN = ("bike", "seq", "occurred_at")
TEXT = pa.dictionary(pa.int32(), pa.string())
_MARK_BITS = 22
GROUPS_AT_ONCE = 32
"""So many row groups of a file are read at once."""
_NONE_JOINED: Mapping[str, str] = {}


@dataclass(frozen=True)
class Known:
    """As at which instant (microseconds since 1970), as known to which seq."""

    as_at_us: int
    known_seq: int


class Struck:
    """The ids that strikes void, as they are found: asked of many rows at once, by many threads."""

    def __init__(self) -> None:
        self._ids: set[bytes] = set()
        self._marks = np.zeros(1 << _MARK_BITS, bool)

    def add(self, ids: pa.Array) -> None:
        """Put ids to them, none of them null."""
        if len(ids):
            self._ids.update(ids.to_pylist())
            self._marks[_marks_of(ids)] = True

    def void(self, ids: pa.Array) -> Choice:
        """Say which of some ids, none of them null, are among them."""
        found = np.zeros(len(ids), bool)
        if self._ids and len(ids):
            likely = np.flatnonzero(self._marks[_marks_of(ids)])
            named = ids.take(pa.array(likely)).to_pylist()
            found[likely] = [one in self._ids for one in named]
        return found


def _marks_of(ids: pa.Array) -> npt.NDArray[np.uint64]:
    """Give a few of the bits of ids that are random (RFC 9562, version 7): the last ones."""
    words = np.frombuffer(ids.buffers()[1], np.uint64)[2 * ids.offset : 2 * (ids.offset + len(ids))]
    return np.asarray(words[1::2] >> np.uint64(64 - _MARK_BITS))


class Piece:
    """Events that were read together, each column in one piece; kinds by code are worked out once.

    `known` says as at when, as known to which seq.
    """

    def __init__(self, events: pa.Table, known: Known) -> None:
        """`events` are as `declared` gives them."""
        self.events, self._known = events, known
        kinds = self["kind"]
        self._names, self._codes = kinds.dictionary, codes_of(kinds)

    def __getitem__(self, name: str) -> pa.Array:
        return self.events[name].chunk(0)

    def is_kind(self, *kinds: str) -> Choice:
        """Say which events are of these kinds."""
        return is_among(self._names, self._codes, kinds)

    @cached_property
    def is_known(self) -> Choice:
        """Which rows are of a bike and known by then, strikes too."""
        is_of_bike = self["bike"].indices.is_valid().to_numpy(zero_copy_only=False)
        return np.asarray(is_of_bike & (self["seq"].to_numpy() <= self._known.known_seq))

    def strikes(self) -> pa.Array:
        """Give the ids that known strikes void."""
        struck = np.flatnonzero(self.is_known & self.is_kind("event_struck"))
        return self["target_id"].take(pa.array(struck)).drop_null()

    def live(self, struck: Struck) -> Choice:
        """Say which known rows are live: occurred by then, of a kind that counts, not struck."""
        occurred = micros_of(self["occurred_at"]) <= self._known.as_at_us
        found = self.is_known & occurred & ~self.is_kind(*_UNLIVE)
        return np.asarray(found & ~struck.void(self["id"]))


Row = Callable[[Piece], Choice]


@dataclass(frozen=True)
class Part:
    """What is folded together: which of the live events, and which columns of them."""

    keeps: Row
    columns: tuple[str, ...]


def _of(*kinds: str) -> Row:
    return lambda events: events.is_kind(*kinds)


def _tells(events: Piece, *names: str) -> Choice:
    return np.asarray(np.all([told(events[name]) for name in names], axis=0))


def _looks(events: Piece) -> Choice:
    is_judged = _tells(events, "verdict") & ~is_one_of(events["verdict"], ["not checked"])
    return events.is_kind("inspected") & is_judged & ~_tells(events, "fault")


PARTS: Mapping[str, Part] = {
    "told": Part(
        lambda events: _of("rider_changed")(events) | _tells(events, "riding"),
        (*_WHEN, "kind", "rider", "keeper", "riding"),
    ),
    "readings": Part(
        lambda events: _of("distance_read")(events) & _tells(events, "distance_km"),
        (*_WHEN, "distance_km", "is_computer_replaced"),
    ),
    "moves": Part(
        _of("part_fitted", "part_removed"),
        (*_WHEN, "kind", "position", "part", "make", "model", "is_found"),
    ),
    "figures": Part(
        _of("measured", "adjusted"),
        (*_WHEN, "kind", "id", "position", "quantity", "point", "value", "value_low",
         "value_high", "unit", "limit_value", "verdict"),
    ),
    "looks": Part(_looks, (*_WHEN, "id", "position", "verdict")),
    "marks": Part(
        lambda events: _tells(events, "fault", "fault_position"),
        (*_WHEN, "kind", "id", "fault", "fault_position", "cause", "verdict"),
    ),
    "advice": Part(
        _of("advised", "advice_answered"),
        (*_WHEN, "kind", "id", "target_id", "position", "verdict", "outcome"),
    ),
    "jobs": Part(
        lambda events: _of("job_opened", "job_closed", "job_held", "job_resumed")(events)
        & _tells(events, "job"),
        (*_WHEN, "kind", "job", "tier", "promised_at", "outcome"),
    ),
}  # fmt: skip
"""What is folded; the names are those of the folds' arguments."""

COLUMNS = tuple(
    dict.fromkeys(name for part in PARTS.values() for name in (*part.columns, "kind", "target_id"))
)
"""The columns that are read of each event: what a bare scan is held to in the benchmarks."""
PLAIN_TEXTS = frozenset(("part", "job", "keeper"))
"""Texts that few events share: numbering them would take longer than leaving them as they are."""
TEXTS = frozenset(
    name
    for name in COLUMNS
    if EVENT_SCHEMA.field(name).type == pa.string() and name not in PLAIN_TEXTS
)
"""Those of them that are texts read by code."""


def _parquet(path: str) -> pq.ParquetFile:
    """Open a file, its texts to be read by code."""
    texts = sorted(TEXTS)
    try:
        return pq.ParquetFile(path, read_dictionary=texts, pre_buffer=False)
    except KeyError:  # an earlier release's: some of these columns came later
        there = TEXTS.intersection(pq.read_schema(path).names)
        return pq.ParquetFile(path, read_dictionary=sorted(there), pre_buffer=False)


class FileOfEvents:
    """One Parquet file of a book, read by runs of row groups."""

    def __init__(self, path: str, joined: Mapping[str, str]) -> None:
        """`joined` is the tag that each joined tag goes by."""
        self._file = _parquet(path)
        self._there = frozenset(self._file.schema_arrow.names)
        self._joined = joined
        groups = list(range(self._file.num_row_groups))
        self.runs = [
            groups[at : at + GROUPS_AT_ONCE] for at in range(0, len(groups), GROUPS_AT_ONCE)
        ]

    def read(self, run: Sequence[int], names: Sequence[str] = ()) -> pa.Table:
        """Give columns (all of COLUMNS, nulls where the file has none) of a run of row groups."""
        wanted = names or COLUMNS
        found = self._file.read_row_groups(
            list(run), [name for name in wanted if name in self._there], use_threads=False
        )
        return declared(found, wanted, self._joined)


def declared(
    table: pa.Table, names: Sequence[str] = COLUMNS, joined: Mapping[str, str] = _NONE_JOINED
) -> pa.Table:
    """Give these columns of a table in one piece each, nulls where it has none yet.

    Joined tags are under the tag they go by.
    """
    made = []
    for name in names:
        kind = TEXT if name in TEXTS else EVENT_SCHEMA.field(name).type
        if name not in table.column_names:
            made.append(pa.nulls(len(table), kind))
            continue
        found = whole(table[name])
        if name in TEXTS and not pa.types.is_dictionary(found.type):
            found = found.dictionary_encode()
        made.append(found.cast(kind))
        if name == "bike" and joined:
            made[-1] = with_joined(made[-1], joined)
    return pa.table(made, names=list(names))


def with_joined(tags: pa.Array, joined: Mapping[str, str]) -> pa.Array:
    """Give tags by code, joined ones under the tag they go by; the very same where none is."""
    is_joined = pc.is_in(tags.dictionary, pa.array(joined, pa.string()))
    named = [joined[tag] for tag in tags.dictionary.filter(is_joined).to_pylist()]
    if not named:
        return tags
    names = pc.replace_with_mask(tags.dictionary, is_joined, pa.array(named, pa.string()))
    return pa.DictionaryArray.from_arrays(tags.indices, names)


def parts_of(piece: Piece, live: Choice) -> dict[str, pa.Table]:
    """Give the live rows of a piece by part."""
    return {
        name: piece.events.select(list(part.columns)).take(
            pa.array(np.flatnonzero(live & part.keeps(piece)))
        )
        for name, part in PARTS.items()
    }


def counts_of(piece: Piece, live: Choice) -> pa.Table:
    """Give the bikes of a piece that have a live row, and how many: bike, events_used."""
    tags = piece["bike"]
    counts = np.bincount(codes_of(tags)[live], minlength=len(tags.dictionary))
    there = np.flatnonzero(counts)
    names = tags.dictionary.take(pa.array(there))
    return pa.table({"bike": names, "events_used": pa.array(counts[there], pa.int64())})


STRIKING = ("bike", "kind", "seq", "target_id")
"""The columns that strikes are told by."""
