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
from ledger.engines.held import Found, Held, Told, asked_again, told_by_duckdb
from ledger.storage.schema import AS_STORED, EVENT_SCHEMA

COLUMNS = tuple(name for name in EVENT_SCHEMA.names if name not in (*AS_STORED, "lines"))
"""The hot columns that relations fold."""

Row = Mapping[str, Any]
_AT_ONCE = 10_000

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

    def _over_files(self, ask: Callable[[list[str]], Found]) -> Found:
        """Give what is asked of the reading set, each file seen to hold what belongs there."""
        self._bound_once()

        def asked(paths: list[str]) -> Found:
            self._held.check(self._told, paths)
            return ask(paths)

        return asked_again(self._files, asked)

    def _told(self, paths: Sequence[str]) -> Told:
        names = {Path(path).name: path for path in paths}
        known = {names[name]: told for name, told in self._counted(list(names)).items()}
        others = [path for path in paths if path not in known]
        return {**known, **(told_by_duckdb(self._connection, others) if others else {})}

    def paths(self) -> list[str]:
        """Give the reading set, each file seen to hold what belongs in its place.

        Raises BookDamaged, naming the first that does not.
        """
        return self._over_files(lambda paths: paths)

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
        bound = {**_bound(asked), **(values or {})}

        def ask(paths: list[str]) -> Iterator[Row]:
            held, text = _composed(relation, tables, ending, paths)
            return _rows(self._cursor(held), text, {**bound, "files": paths})

        return self._over_files(ask)

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
        bound = {**_bound(asked), **(values or {})}
        looked_up = self.paths()

        def ask(paths: list[str]) -> pa.Table:
            held, text = _composed(relation, tables, ending, paths)
            used = _used(text, {**bound, "files": paths})
            return self._cursor(held).sql(text, params=used).to_arrow_table()

        def ask_now() -> pa.Table:
            try:
                return ask(looked_up)
            except duckdb.IOException:
                if self.paths() == looked_up:
                    raise
                return self._over_files(ask)

        return ask_now

    def events_of(self, bikes: Collection[str], columns: Sequence[str]) -> pa.Table:
        """Give hot columns of the stored events of these tags, in no promised order.

        Statistics and bloom filters rule out most row groups of a great book.
        """
        text = f"select {', '.join(columns)} from ({_FILES}) where bike in (select unnest($bikes))"

        def ask(paths: list[str]) -> pa.Table:
            if not paths:
                return EVENT_SCHEMA.empty_table().select(columns)
            bound = {"files": paths, "bikes": sorted(bikes)}
            return self._cursor({}).sql(text, params=bound).to_arrow_table()

        return asked_again(self._files, ask)

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


def _composed(
    relation: str, tables: Mapping[str, pa.Table], ending: str, paths: Sequence[str]
) -> tuple[Mapping[str, pa.Table], str]:
    """Give the tables and the text that ask for a relation over files, or over none."""
    if not paths:
        held = {**tables, "events": EVENT_SCHEMA.empty_table()}
        return held, sql.compose(relation, ending=ending)
    source = _JOINED if "bike_alias" in tables else _FILES
    return tables, sql.compose(relation, source=source, strikes=_STRIKES, ending=ending)


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
    """Give the rows of a query, the first of them found before anything is given."""
    found = cursor.execute(text, _used(text, values))
    names = [column[0] for column in found.description or ()]

    def told(batch: list[tuple[Any, ...]]) -> Iterator[Row]:
        while batch:
            for row in batch:
                yield dict(zip(names, map(_plain, row), strict=True))
            batch = found.fetchmany(_AT_ONCE)

    return told(found.fetchmany(_AT_ONCE))
