"""Figures over a whole book are the same figures, whichever engine reads its relations."""

from __future__ import annotations

import json
import shutil
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow as pa
import pytest
from typer.testing import CliRunner

from ledger import queries
from ledger.book import Book
from ledger.engines.duckdb import Asked
from ledger.engines.spark import SparkEngine

if TYPE_CHECKING:
    from pyspark.sql import SparkSession

pytestmark = [pytest.mark.spark, pytest.mark.xdist_group("spark")]

WHEN = ("--as-at", "2026-09-30", "--json")
COMMANDS = (
    ("wear",),
    ("due",),
    ("chains",),
    ("faults",),
    ("labour",),
    ("margin",),
    ("foresee", "--task", "brakes=45"),
)
"""Each figure over a whole book, as its command prints it."""


class Noted:
    """Spark over one book, that notes what it was asked and answers the same only once."""

    def __init__(self, engine: SparkEngine) -> None:
        self._engine = engine
        self.told: dict[str, pa.Table] = {}

    def asking(
        self,
        relation: str,
        asked: Asked,
        tables: Mapping[str, pa.Table],
        *,
        ending: str = "",
        values: Mapping[str, Any] | None = None,
    ) -> Callable[[], pa.Table]:
        """Give what asks Spark, or what it said."""
        key = repr((relation, asked, sorted(tables), ending, values))

        def ask() -> pa.Table:
            if key not in self.told:
                asks = self._engine.asking(relation, asked, tables, ending=ending, values=values)
                self.told[key] = asks()
            return self.told[key]

        return ask


@pytest.fixture(scope="module")
def workshop(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The book of a workshop of the demo's generator: slips, late lists, joined tags and all."""
    from demo_events.generate import write
    from demo_events.spool import Plan
    from ledger.cli.app import app

    folder = tmp_path_factory.mktemp("workshop")
    write(Plan.of_events(5_000, 5, None), folder)
    book = folder / "book"
    done = CliRunner().invoke(app, ["demo", "--from", str(folder), "--book", str(book)])
    assert done.exit_code == 0, done.output
    return book


def _printed(book: Path) -> dict[str, str]:
    """Give what each command prints of a book."""
    from ledger.cli.app import app

    printed = {}
    for command in COMMANDS:
        result = CliRunner().invoke(app, [*command, *WHEN, "--book", str(book)])
        assert result.exit_code == 0, result.output
        printed[command[0]] = result.stdout
    return printed


def _leaves(told: Any) -> list[Any]:
    """Give every name and every value of what a command printed, in order."""
    if isinstance(told, dict):
        return [leaf for name, part in told.items() for leaf in (name, *_leaves(part))]
    if isinstance(told, list):
        return [leaf for part in told for leaf in _leaves(part)]
    return [told]


def test_every_figure_of_a_workshop_is_the_same(
    spark: SparkSession, workshop: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What wear, due, chains, faults, labour, margin print is the same text; foresee to 1e-6."""
    by_duckdb = _printed(Path(shutil.copytree(workshop, tmp_path / "one" / "book")))
    other = Path(shutil.copytree(workshop, tmp_path / "two" / "book"))
    noted = Noted(SparkEngine(spark, Book.open(other).files))
    monkeypatch.setattr(queries, "_whole_engine", lambda book: noted)
    by_spark = _printed(other)
    forecasts = by_duckdb.pop("foresee"), by_spark.pop("foresee")
    assert all(len(printed) > 500 for printed in (*by_duckdb.values(), *forecasts))
    for command, printed in by_duckdb.items():
        assert by_spark[command] == printed, command
    assert _leaves(json.loads(forecasts[1])) == [
        # Fitted step by step, over sums of floats in the order in which rows came.
        pytest.approx(leaf, rel=1e-6) if isinstance(leaf, float) else leaf
        for leaf in _leaves(json.loads(forecasts[0]))
    ]
    assert len(noted.told) > 12


def test_every_bikes_view_is_the_same(spark: SparkSession, workshop: Path) -> None:
    """Every bike of a book as at now, joined tags as one, is what DuckDB gives."""
    book = Book.open(workshop)
    by_duckdb = list(queries.bike_views(book, known_seq=4_000))
    with queries.asked_through(book, SparkEngine(spark, book.files)):
        by_spark = list(queries.bike_views(book, known_seq=4_000))
    assert len(by_duckdb) > 50
    again = [(view.bike, view.fitted, view.readings, view.faults_open) for view in by_duckdb]
    assert [(v.bike, v.fitted, v.readings, v.faults_open) for v in by_spark] == again
