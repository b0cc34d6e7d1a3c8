"""DuckDB over a book's Parquet files, in memory: the files stay the only truth.

One connection an engine, a cursor a query, so that threads may ask at the same time.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from threading import Lock
from typing import Any

import duckdb
import pyarrow as pa
import pyarrow.compute as pc

from ledger import sql
from ledger.engines.bounded import bound
from ledger.engines.held import Held, Told, told_by_duckdb
from ledger.storage.schema import AS_STORED, EVENT_SCHEMA

COLUMNS = tuple(name for name in EVENT_SCHEMA.names if name not in (*AS_STORED, "lines"))
"""The hot columns that relations fold."""

Row = Mapping[str, Any]

_SHAPE = EVENT_SCHEMA.empty_table()
# Where no file has a column yet, the empty table gives it as nulls.
# A folder called `shop=x` is no column (hive_partitioning).
_FILES = """select * from read_parquet(
    $files, union_by_name = true, hive_partitioning = false
)
union all by name
select * from event_shape"""
# Apart from the events, so that each scan reads only what its own relation asks for.
_STRIKES = """select target_id, seq
from read_parquet($files, union_by_name = true, hive_partitioning = false)
where kind = 'event_struck'"""
_JOINED = f"""select rows.* replace (coalesce(bike_alias.bike_as, rows.bike) as bike)
from ({_FILES}) as rows
left join bike_alias on rows.bike = bike_alias.bike"""


@dataclass(frozen=True, slots=True)
class Asked:
    """As at which instant, and as known to which seq."""

    as_at: datetime
    known_seq: int


class DuckEngine:
    """Runs relations over the Parquet files that together are a book."""

    def __init__(
        self,
        files: Callable[[], Sequence[Path]],
        counted: Callable[[Sequence[str]], Told] = lambda names: {},
    ) -> None:
        """`files` gives the reading set as it stands now; it is asked at each query.

        `counted` gives what is known already of files, by name; see `held.Told`.
        """
        self._files, self._counted = files, counted
        self._held = Held()
        self._connection = duckdb.connect(":memory:")
        # Globally, or the cursors that ask would not have it.
        self._connection.execute("set global TimeZone = 'UTC'")
        self._connection.execute("set global parquet_metadata_cache = true")
        self._unbound: Callable[[], object] | None = None
        self._bounding = Lock()

    def _paths(self) -> list[str]:
        self._bound_once()
        paths = [str(path) for path in self._files()]
        self._held.check(self._told, paths)
        return paths

    def _told(self, paths: Sequence[str]) -> Told:
        names = {Path(path).name: path for path in paths}
        known = {names[name]: told for name, told in self._counted(list(names)).items()}
        others = [path for path in paths if path not in known]
        return {**known, **(told_by_duckdb(self._connection, others) if others else {})}

    def paths(self) -> list[str]:
        """Give the reading set, each file seen to hold what belongs in its place.

        Raises BookDamaged, naming the first that does not.
        """
        return self._paths()

    def close(self) -> None:
        """Let go of the connection and what it holds in memory, and in its temporary folder."""
        self._connection.close()
        if self._unbound:
            self._unbound()

    def _bound_once(self) -> None:
        """Bound the memory of questions over the whole book; a bike's own fit in any."""
        with self._bounding:
            if self._unbound is None:
                self._unbound = bound(self._connection, self)

    def all_bikes(
        self,
        relation: str,
        asked: Asked,
        tables: Mapping[str, pa.Table],
        *,
        ending: str = "",
        values: Mapping[str, Any] | None = None,
    ) -> Iterator[Row]:
        """Give the rows of a relation over the whole book.

        `tables` are the small tables the relation needs; with `bike_alias` among them, joined
        tags are one bike. `values` are bound parameters of `ending`.
        """
        paths = self._paths()
        if not paths:
            return self._over(EVENT_SCHEMA.empty_table(), relation, asked, tables, ending, values)
        source = _JOINED if "bike_alias" in tables else _FILES
        text = sql.compose(relation, source=source, strikes=_STRIKES, ending=ending)
        return _rows(
            self._cursor(tables), text, {**_bound(asked), **(values or {}), "files": paths}
        )

    def asking(
        self,
        relation: str,
        asked: Asked,
        tables: Mapping[str, pa.Table],
        *,
        ending: str = "",
        values: Mapping[str, Any] | None = None,
    ) -> Callable[[], pa.Table]:
        """Give what asks for a relation over the whole book, as one Arrow table, when called.

        The reading set is looked up now, so any thread may call it; arguments as of `all_bikes`.
        """
        paths = self._paths()
        bound = {**_bound(asked), **(values or {}), "files": paths}
        source, strikes = _JOINED if "bike_alias" in tables else _FILES, _STRIKES
        if not paths:
            tables, source, strikes = {**tables, "events": EVENT_SCHEMA.empty_table()}, "", ""
        text = sql.compose(relation, source=source, strikes=strikes, ending=ending)

        def ask() -> pa.Table:
            return self._cursor(tables).sql(text, params=_used(text, bound)).to_arrow_table()

        return ask

    def events_of(self, bikes: Collection[str], columns: Sequence[str]) -> pa.Table:
        """Give hot columns of the stored events of these tags, in no promised order.

        Statistics and bloom filters rule out most row groups of a great book.
        """
        paths = [str(path) for path in self._files()]
        if not paths:
            return EVENT_SCHEMA.empty_table().select(columns)
        text = f"select {', '.join(columns)} from ({_FILES}) where bike in (select unnest($bikes))"
        bound = {"files": paths, "bikes": sorted(bikes)}
        return self._cursor({}).sql(text, params=bound).to_arrow_table()

    def _over(
        self,
        events: pa.Table,
        relation: str,
        asked: Asked,
        tables: Mapping[str, pa.Table],
        ending: str,
        values: Mapping[str, Any] | None,
    ) -> Iterator[Row]:
        cursor = self._cursor({**tables, "events": events})
        text = sql.compose(relation, ending=ending)
        return _rows(cursor, text, {**_bound(asked), **(values or {})})

    def one_bike(
        self,
        relations: Sequence[str],
        asked: Asked,
        events: pa.Table,
        tables: Mapping[str, pa.Table],
    ) -> dict[str, list[Row]]:
        """Give the rows of several relations over the events of one bike.

        `events` has at least COLUMNS. What several of the relations use is worked out once.
        """
        cursor, made = self._with_shared(relations, asked, {**tables, "events": events})
        return {
            name: list(_rows(cursor, sql.compose(name, given=made), _bound(asked)))
            for name in relations
        }

    def one_bike_tables(
        self,
        relations: Sequence[str],
        asked: Asked,
        events: pa.Table,
        tables: Mapping[str, pa.Table],
    ) -> dict[str, pa.Table]:
        """Give several relations of one bike as Arrow tables; arguments as of `one_bike`."""
        cursor, made = self._with_shared(relations, asked, {**tables, "events": events})
        texts = {name: sql.compose(name, given=made) for name in relations}
        return {
            name: cursor.sql(text, params=_used(text, _bound(asked))).to_arrow_table()
            for name, text in texts.items()
        }

    def _with_shared(
        self, relations: Sequence[str], asked: Asked, tables: Mapping[str, pa.Table]
    ) -> tuple[duckdb.DuckDBPyConnection, frozenset[str]]:
        """Give a cursor that holds what several of the relations use, and the names of that."""
        cursor = self._cursor(tables)
        made: frozenset[str] = frozenset()
        for name in _shared(tuple(relations)):
            text = f"create temp table {name} as {sql.compose(name, given=made)}"
            cursor.execute(text, _used(text, _bound(asked)))
            made |= {name}
        return cursor, made

    def _cursor(self, tables: Mapping[str, pa.Table]) -> duckdb.DuckDBPyConnection:
        cursor = self._connection.cursor()
        if "events" in tables:
            events = _whole(tables["events"])
            tables = {**tables, "events": events, "strikes": _strikes_in(events)}
        for name, table in {"event_shape": _SHAPE, **tables}.items():
            cursor.register(name, table)
        return cursor


def _whole(events: pa.Table) -> pa.Table:
    """Give events with the bills' lines, as nulls where nobody asked for them."""
    if "lines" in events.column_names:
        return events
    return events.append_column("lines", pa.nulls(len(events), EVENT_SCHEMA.field("lines").type))


def _strikes_in(events: pa.Table) -> pa.Table:
    return events.select(["target_id", "seq"]).filter(pc.equal(events["kind"], "event_struck"))


def _bound(asked: Asked) -> dict[str, Any]:
    return {"as_at": asked.as_at.astimezone(UTC), "known_seq": asked.known_seq}


def _used(text: str, values: Mapping[str, Any]) -> dict[str, Any]:
    return {name: value for name, value in values.items() if f"${name}" in text}


@cache
def _shared(relations: tuple[str, ...]) -> tuple[str, ...]:
    """Give what more than one of these relations uses, each after what it uses itself."""
    users = Counter(used for name in relations for used in sql.needed(name) if used != name)
    users.update(name for name in relations if name in users)
    return tuple(name for name in sql.needed(*relations) if users[name] > 1)


def _plain(value: Any) -> Any:
    return value.astimezone(UTC) if isinstance(value, datetime) else value


def _rows(cursor: duckdb.DuckDBPyConnection, text: str, values: Mapping[str, Any]) -> Iterator[Row]:
    found = cursor.execute(text, _used(text, values))
    names = [column[0] for column in found.description or ()]
    while batch := found.fetchmany(10_000):
        for row in batch:
            yield dict(zip(names, map(_plain, row), strict=True))
