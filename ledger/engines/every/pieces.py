"""Live events read from a book's files, apart by what is folded of them: texts by dictionaries.

Each file is read once for all that is folded, and of each event only what its fold needs is kept.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.engines.every.columns import Choice, codes_of, is_one_of, micros_of, told, whole
from ledger.storage.schema import EVENT_SCHEMA

_UNLIVE = ("event_struck", "bike_linked", "terms_set", "mechanic_registered", "gauge_registered")
_WHEN = ("bike", "seq", "occurred_at")
TEXT = pa.dictionary(pa.int32(), pa.string())
GROUPS_AT_ONCE = 32
"""So many row groups of a file are read at once."""
_NONE_JOINED: Mapping[str, str] = {}

Row = Callable[[pa.Table], Choice]


@dataclass(frozen=True)
class Part:
    """What is folded together: which of the live events, and which columns of them."""

    keeps: Row
    columns: tuple[str, ...]


def _of(*kinds: str) -> Row:
    return lambda events: is_one_of(column(events, "kind"), kinds)


def _tells(events: pa.Table, *names: str) -> Choice:
    return np.asarray(np.all([told(column(events, name)) for name in names], axis=0))


def _looks(events: pa.Table) -> Choice:
    is_judged = _tells(events, "verdict") & ~is_one_of(column(events, "verdict"), ["not checked"])
    return _of("inspected")(events) & is_judged & ~_tells(events, "fault")


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
_TEXTS = frozenset(name for name in COLUMNS if EVENT_SCHEMA.field(name).type == pa.string())


def column(events: pa.Table, name: str) -> pa.Array:
    """Give a column of a piece, which is all in one."""
    return events[name].chunk(0)


@dataclass(frozen=True)
class Known:
    """As at which instant (microseconds since 1970), as known to which seq."""

    as_at_us: int
    known_seq: int


class FileOfEvents:
    """One Parquet file of a book, read by runs of row groups."""

    def __init__(self, path: str, joined: Mapping[str, str]) -> None:
        """`joined` is the tag that each joined tag goes by."""
        metadata = pq.read_metadata(path)
        texts = sorted(_TEXTS.intersection(metadata.schema.names))
        self._file = pq.ParquetFile(
            path, metadata=metadata, read_dictionary=texts, pre_buffer=False
        )
        self._joined = joined
        groups = list(range(metadata.num_row_groups))
        self.runs = [
            groups[at : at + GROUPS_AT_ONCE] for at in range(0, len(groups), GROUPS_AT_ONCE)
        ]

    def read(self, run: Sequence[int], names: Sequence[str] = ()) -> pa.Table:
        """Give columns (all of COLUMNS, nulls where the file has none) of a run of row groups."""
        wanted = names or COLUMNS
        there = frozenset(self._file.schema_arrow.names)
        found = self._file.read_row_groups(
            list(run), [name for name in wanted if name in there], use_threads=False
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
        kind = TEXT if name in _TEXTS else EVENT_SCHEMA.field(name).type
        if name not in table.column_names:
            made.append(pa.nulls(len(table), kind))
            continue
        found = whole(table[name])
        if name in _TEXTS and not pa.types.is_dictionary(found.type):
            found = found.dictionary_encode()
        made.append(found.cast(kind))
        if name == "bike" and joined:
            made[-1] = _renamed(made[-1], joined)
    return pa.table(made, names=list(names))


def _renamed(tags: pa.Array, joined: Mapping[str, str]) -> pa.Array:
    names = [joined.get(tag, tag) for tag in tags.dictionary.to_pylist()]
    return pa.DictionaryArray.from_arrays(tags.indices, pa.array(names, pa.string()))


def known_rows(events: pa.Table, known: Known) -> Choice:
    """Say which rows are of a bike and known by then, strikes too."""
    is_of_bike = column(events, "bike").indices.is_valid().to_numpy(zero_copy_only=False)
    seq = column(events, "seq").to_numpy()
    return np.asarray(is_of_bike & (seq <= known.known_seq))


def strikes_in(events: pa.Table, rows: Choice) -> pa.Array:
    """Give the ids that known strikes of a piece void."""
    struck = np.flatnonzero(rows & is_one_of(column(events, "kind"), ["event_struck"]))
    return column(events, "target_id").take(pa.array(struck)).drop_null()


def live_rows(events: pa.Table, rows: Choice, struck: pa.Array, known: Known) -> Choice:
    """Say which known rows are live: occurred by then, of a kind that counts, and not struck."""
    occurred = micros_of(column(events, "occurred_at")) <= known.as_at_us
    found = rows & occurred & ~is_one_of(column(events, "kind"), _UNLIVE)
    if len(struck):
        found &= ~pc.is_in(column(events, "id"), struck).to_numpy(zero_copy_only=False)
    return np.asarray(found)


def parts_of(events: pa.Table, live: Choice) -> dict[str, pa.Table]:
    """Give the live rows of a piece by part."""
    return {
        name: events.select(list(part.columns)).take(
            pa.array(np.flatnonzero(live & part.keeps(events)))
        )
        for name, part in PARTS.items()
    }


def counts_of(events: pa.Table, live: Choice) -> pa.Table:
    """Give the bikes of a piece that have a live row, and how many: bike, events_used."""
    tags = column(events, "bike")
    counts = np.bincount(codes_of(tags)[live], minlength=len(tags.dictionary))
    there = np.flatnonzero(counts)
    names = tags.dictionary.take(pa.array(there))
    return pa.table({"bike": names, "events_used": pa.array(counts[there], pa.int64())})


STRIKING = ("bike", "kind", "seq", "target_id")
"""The columns that strikes are told by."""
