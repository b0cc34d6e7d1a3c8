"""Apache Spark over the Parquet files of one book or of many: for what outgrows one machine.

The relations are the same files in `ledger/sql/`, translated (`ledger.sql.translate`), and give
the same rows as DuckDB. Needs the optional extra `spark`, and Java 17. One bike is never asked
of Spark: DuckDB answers that from one row group in milliseconds.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator, Mapping, Sequence
from datetime import UTC, datetime
from importlib.util import find_spec
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING, Any
from urllib.parse import unquote

import pyarrow as pa

from ledger.engines.duckdb import Asked, Row
from ledger.engines.held import Held, Told
from ledger.errors import LedgerError
from ledger.storage.schema import EVENT_SCHEMA

if TYPE_CHECKING:
    from pyspark.sql import Column, DataFrame, SparkSession

Files = Callable[[], Sequence[Path | str]]
"""Gives the reading set of one book: paths here, or URIs such as `s3a://bucket/book/events/…`."""

_SETTINGS = {
    # As DuckDB: what overflows or does not fit is an error, never null.
    "spark.sql.ansi.enabled": "true",
    "spark.sql.session.timeZone": "UTC",
    "spark.sql.timestampType": "TIMESTAMP_LTZ",
    # What is in a query is what was written, whatever the session was set to.
    "spark.sql.ansi.enforceReservedKeywords": "false",
    "spark.sql.ansi.doubleQuotedIdentifiers": "false",
    "spark.sql.parser.escapedStringLiterals": "false",
    "spark.sql.variable.substitute": "false",
    "spark.sql.execution.arrow.useLargeVarTypes": "false",
}


def missing() -> str:
    """Give in one sentence what Spark lacks to run here; empty where it can."""
    for name in ("pyspark", "sqlglot"):
        if find_spec(name) is None:
            return f"{name} is not installed: run `make setup-spark`."
    home = os.environ.get("JAVA_HOME")
    if not (shutil.which("java") or (home and Path(home, "bin", "java").is_file())):
        return "No Java was found: Spark needs Java 17, on the PATH or named by JAVA_HOME."
    return ""


def files_at(files: Files, address: str) -> Files:
    """Give a reading set as every executor finds it: `s3a://bucket/book` for a book kept there.

    `files` gives it as it lies here, such as the mirror's `Book.files`.
    """
    folder = address.rstrip("/")
    return lambda: [f"{folder}/events/{Path(path).name}" for path in files()]


def spark_session(master: str = "local[2]", **settings: str) -> SparkSession:
    """Give the session of this process, made with `settings` (`spark_ui_enabled="false"`, …).

    `master` is `local[2]` (two threads here), `local-cluster[2,1,1024]` (two executors of one
    core and 1,024 MB each, as processes of their own), or a cluster's address. Raises
    LedgerError where pyspark or Java is missing.
    """
    if lacks := missing():
        raise LedgerError(lacks)
    import pyspark
    from pyspark.sql import SparkSession

    # Executors are started from here; pip's pyspark does not say where it lies.
    os.environ.setdefault("SPARK_HOME", str(Path(pyspark.__file__).parent))
    builder = SparkSession.builder.master(master).appName("lockring")
    for name, value in settings.items():
        builder = builder.config(name.replace("_", "."), value)
    return builder.getOrCreate()


class SparkEngine:
    """Runs relations over the Parquet files of one book, or of several as one.

    Of several books each is of a shop of its own, and `known_seq` counts in each by itself.
    """

    def __init__(self, session: SparkSession, *books: Files) -> None:
        """Each of `books` gives a reading set as it stands now; it is asked at each query."""
        self._session = session
        self._books = [(files, Held()) for files in books]
        self._shops: dict[str, frozenset[str]] = {}
        self._looking = Lock()

    def all_bikes(
        self,
        relation: str,
        asked: Asked,
        tables: Mapping[str, pa.Table],
        *,
        ending: str = "",
        values: Mapping[str, Any] | None = None,
    ) -> Iterator[Row]:
        """Give the rows of a relation over all books; arguments as of `DuckEngine.all_bikes`."""
        table = self.asking(relation, asked, tables, ending=ending, values=values)()
        for batch in table.to_batches(max_chunksize=10_000):
            yield from batch.to_pylist()

    def asking(
        self,
        relation: str,
        asked: Asked,
        tables: Mapping[str, pa.Table],
        *,
        ending: str = "",
        values: Mapping[str, Any] | None = None,
    ) -> Callable[[], pa.Table]:
        """Give what asks for a relation over all books, as one Arrow table, when called.

        The reading set is looked up now, so any thread may call it; arguments as of `all_bikes`.
        The driver has to hold the table: what is too large for that, `frame` writes out.
        """
        asked_for = self.frame(relation, asked, tables, ending=ending, values=values)
        return lambda: asked_for.toArrow()

    def frame(
        self,
        relation: str,
        asked: Asked,
        tables: Mapping[str, pa.Table],
        *,
        ending: str = "",
        values: Mapping[str, Any] | None = None,
    ) -> DataFrame:
        """Give a relation over all books as a Spark frame, to be written out by the executors.

        Joined tags (`bike_alias`, with a column `shop` where there are several books) are one
        bike. Raises BookDamaged where a file does not hold the events that belong in its place,
        and LedgerError where two books are of one shop, or an ending cannot be translated.
        """
        from ledger.sql.translate import to_spark

        text = to_spark(relation, ending)
        # Apart from what else runs in that session: names of tables, and settings.
        own = self._session.newSession()
        for name, value in _SETTINGS.items():
            own.conf.set(name, value)
        events = self._events(own, tables.get("bike_alias"))
        events.createOrReplaceTempView("events")
        strikes = events.where("kind = 'event_struck'").select("target_id", "seq")
        strikes.createOrReplaceTempView("strikes")
        for name, table in tables.items():
            own.createDataFrame(table).createOrReplaceTempView(name)
        bound = {"as_at": asked.as_at, "known_seq": asked.known_seq, **(values or {})}
        return own.sql(text, _literals(text, bound))

    def _events(self, own: SparkSession, alias: pa.Table | None) -> DataFrame:
        """Give the events of all books by the declared columns: one added later is null."""
        paths = self._paths(own)
        if not paths:
            return own.createDataFrame([], _declared())
        events = _read(own, paths)
        if alias is None:
            return events
        from pyspark.sql import functions

        by = [name for name in ("shop", "bike") if name in alias.column_names]
        joined = events.join(functions.broadcast(own.createDataFrame(alias)), by, "left")
        return joined.withColumn("bike", functions.coalesce("bike_as", "bike")).select(
            *EVENT_SCHEMA.names
        )

    def _paths(self, own: SparkSession) -> list[str]:
        """Give the files of all books, once each was seen to hold what belongs in its place."""
        with self._looking:
            books = [([str(path) for path in files()], held) for files, held in self._books]
            new = [path for paths, held in books for path in held.unknown(paths)]
            told = self._told(own, new) if new else {}
            for paths, held in books:
                held.check(lambda _: told, paths)
            self._check_shops([paths for paths, _ in books])
        return [path for paths, _ in books for path in paths]

    def _told(self, own: SparkSession, new: Sequence[str]) -> Told:
        from pyspark.sql import functions

        events = _read(own, new).withColumn("file", functions.col("_metadata.file_path"))
        counts = events.groupBy("file").agg(
            functions.count("*"), functions.sum("seq"), functions.collect_set("shop")
        )
        rows = {_place(row[0]): row for row in counts.collect()}
        found = {path: rows[_place(path)] for path in new if _place(path) in rows}
        self._shops |= {path: frozenset(row[3]) for path, row in found.items()}
        return {path: (row[1], row[2]) for path, row in found.items()}

    def _check_shops(self, books: Sequence[Sequence[str]]) -> None:
        seen: set[str] = set()
        for paths in books:
            shops = frozenset().union(*(self._shops.get(path, frozenset()) for path in paths))
            if twice := sorted(shops & seen):
                raise LedgerError(
                    f"Two of the books are of the shop {twice[0]!r}: its bikes would count twice. "
                    "Give each shop's book once."
                )
            seen |= shops


def _place(path: str) -> str:
    """Give a path as Spark tells it and as it was given in one form."""
    if not path.startswith("file:"):
        return path
    return "/" + unquote(path.removeprefix("file:")).lstrip("/")


def _read(own: SparkSession, paths: Sequence[str]) -> DataFrame:
    reader = own.read.schema(_declared())
    # As they are: a folder called `shop=x` is no column, and `*` in a name is a star.
    reader = reader.option("recursiveFileLookup", "true").option("__globPaths__", "false")
    return reader.parquet(*paths)


def _declared() -> str:
    return ", ".join(f"`{field.name}` {_kind(field.type)}" for field in EVENT_SCHEMA)


def _kind(kind: pa.DataType) -> str:
    """Give Spark's word for one of the declared types; raises KeyError for any other."""
    if pa.types.is_decimal(kind):
        return f"decimal({kind.precision}, {kind.scale})"
    if pa.types.is_list(kind):
        return f"array<{_kind(kind.value_type)}>"
    if pa.types.is_struct(kind):
        return f"struct<{', '.join(f'`{part.name}`: {_kind(part.type)}' for part in kind)}>"
    if pa.types.is_fixed_size_binary(kind) or pa.types.is_binary(kind):
        return "binary"
    if pa.types.is_timestamp(kind):
        return "timestamp"
    return {
        pa.string(): "string",
        pa.bool_(): "boolean",
        pa.int16(): "smallint",
        pa.int32(): "int",
        pa.int64(): "bigint",
    }[kind]


def _literals(text: str, values: Mapping[str, Any]) -> dict[str, Any]:
    """Give the values a text names as typed literals: Spark binds them, nothing is pasted."""
    from pyspark.sql import functions

    def literal(value: Any) -> Column:
        if isinstance(value, list):
            return functions.array(*map(functions.lit, value))
        return functions.lit(value.astimezone(UTC) if isinstance(value, datetime) else value)

    return {name: literal(value) for name, value in values.items() if f":{name}" in text}
