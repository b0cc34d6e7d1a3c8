"""DuckDB over the Parquet files of several books at once: one question instead of one a book.

The relations are the same; each shop's events count as far as that shop is asked. Where books are
great, what is kept beside each answers sooner; of many small ones this reads all in one go.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa

from ledger import sql
from ledger.engines.bounded import bound
from ledger.engines.duckdb import Asked
from ledger.engines.held import Held, asked_again, told_by_duckdb
from ledger.errors import LedgerError
from ledger.storage.schema import EVENT_SCHEMA

Files = Callable[[], Sequence[Path]]
"""Gives the reading set of one book as it stands now."""
Aliases = Mapping[str, Mapping[str, frozenset[str]]]
"""By shop: for each tag that was joined to others of it, all tags of that one bike."""

_AT = pa.timestamp("us", tz="UTC")
_ASKED = pa.schema([("shop", pa.string()), ("shop_as_at", _AT), ("shop_known_seq", pa.int64())])
_ALIAS = pa.schema([("shop", pa.string()), ("bike", pa.string()), ("bike_as", pa.string())])
_EVERYTHING = 2**62
_FILES = "read_parquet($files, union_by_name = true, hive_partitioning = false)"
_EVENTS = f"""select rows.* replace (coalesce(bike_alias.bike_as, rows.bike) as bike)
from (
    select * from {_FILES}
    union all by name
    select * from event_shape
) as rows
inner join shop_asked
    on rows.shop = shop_asked.shop
    and rows.seq <= shop_asked.shop_known_seq
    and rows.occurred_at <= shop_asked.shop_as_at
left join bike_alias on rows.shop = bike_alias.shop and rows.bike = bike_alias.bike"""
_STRIKES = f"""select rows.target_id, rows.seq
from {_FILES} as rows
inner join shop_asked
    on rows.shop = shop_asked.shop and rows.seq <= shop_asked.shop_known_seq
where rows.kind = 'event_struck'"""


class ManyEngine:
    """Runs relations over the files of several books, each of a shop of its own."""

    def __init__(self, books: Mapping[str, Files]) -> None:
        """`books` give reading sets by shop; they are asked at each question."""
        self._books = {shop: (files, Held()) for shop, files in books.items()}
        self._connection = duckdb.connect(":memory:")
        self._connection.execute("set global TimeZone = 'UTC'")
        self._connection.execute("set global parquet_metadata_cache = true")
        self._unbound = bound(self._connection, self)

    def close(self) -> None:
        """Let go of the connection and what it holds in memory, and in its temporary folder."""
        self._connection.close()
        self._unbound()

    def whole_table(
        self,
        relation: str,
        asked: Mapping[str, Asked],
        aliases: Aliases,
        tables: Mapping[str, pa.Table] | None = None,
    ) -> pa.Table:
        """Give a relation over the books of the shops that are asked, as one Arrow table.

        Not `timeline`, which is of one bike and tells of strikes that came later. Joined tags go by
        the first of them in each shop. `tables` are other small tables the
        relation needs. Raises BookDamaged where a file does not hold what belongs in its place,
        and LedgerError where one holds events of another shop.
        """
        small = {
            "event_shape": EVENT_SCHEMA.empty_table(),
            "shop_asked": _asked_table(asked),
            "bike_alias": _alias_table(aliases, asked),
            **(tables or {}),
        }
        latest = max((one.as_at for one in asked.values()), default=None)
        bound: dict[str, Any] = {"as_at": latest, "known_seq": _EVERYTHING}

        def ask(_: object) -> pa.Table:
            paths = self._paths(asked)
            held, source, strikes = small, _EVENTS, _STRIKES
            if not paths:
                nothing = EVENT_SCHEMA.empty_table()
                held = {**held, "events": nothing, "strikes": nothing.select(["target_id", "seq"])}
                source, strikes = "", ""
            text = sql.compose(relation, source=source, strikes=strikes)
            cursor = self._connection.cursor()
            for name, table in held.items():
                cursor.register(name, table)
            values = {**bound, "files": paths}
            used = {name: value for name, value in values.items() if f"${name}" in text}
            return cursor.sql(text, params=used).to_arrow_table()

        return asked_again(lambda: [path for shop in asked for path in self._books[shop][0]()], ask)

    def _paths(self, asked: Mapping[str, Asked]) -> list[str]:
        """Give the files of the books asked, once each was seen to hold what belongs there."""
        books = {shop: [str(path) for path in self._books[shop][0]()] for shop in asked}
        new = [
            path for shop, paths in books.items() for path in self._books[shop][1].unknown(paths)
        ]
        told = told_by_duckdb(self._connection, new) if new else {}
        if new:
            self._check_shops(books, new)
        for shop, paths in books.items():
            self._books[shop][1].check(lambda _: told, paths)
        return [path for paths in books.values() for path in paths]

    def _check_shops(self, books: Mapping[str, Sequence[str]], new: Sequence[str]) -> None:
        text = f"select distinct filename, shop from {_FILES.replace(')', ', filename = true)')}"
        found = self._connection.cursor().execute(text, {"files": list(new)}).fetchall()
        of = {path: shop for shop, paths in books.items() for path in paths}
        for path, shop in found:
            if shop != of[path]:
                raise LedgerError(
                    f"{path} is in the book of {of[path]} and holds events of the shop {shop}. "
                    "Put that file back where it belongs, or restore the book from a backup."
                )


def _asked_table(asked: Mapping[str, Asked]) -> pa.Table:
    rows = [(shop, one.as_at, one.known_seq) for shop, one in asked.items()]
    return _table(rows, _ASKED)


def _alias_table(aliases: Aliases, asked: Mapping[str, Asked]) -> pa.Table:
    rows = [
        (shop, tag, min(tags))
        for shop in asked
        for tag, tags in sorted(aliases.get(shop, {}).items())
    ]
    return _table(rows, _ALIAS)


def _table(rows: Sequence[tuple[Any, ...]], schema: pa.Schema) -> pa.Table:
    columns = list(zip(*rows, strict=True)) if rows else [()] * len(schema)
    arrays = [pa.array(column, field.type) for column, field in zip(columns, schema, strict=True)]
    return pa.table(arrays, schema=schema)
