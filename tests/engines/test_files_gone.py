"""Questions of files that a compaction takes away between being listed and being read."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import duckdb
import pytest

from ledger import queries
from ledger.book import Book
from ledger.engines import duckdb as one_engine
from ledger.engines import held
from ledger.engines import many as many_engine
from ledger.engines.duckdb import Asked, DuckEngine
from ledger.engines.many import ManyEngine
from ledger.storage import compaction

TAG = "7K3M9QXA"
ASKED = Asked(datetime(2100, 1, 1, tzinfo=UTC), 1 << 40)


@pytest.fixture
def path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A book of nine commits, of which eight will be merged when asked."""
    monkeypatch.setattr("ledger.book.compact_quietly", lambda *_, **__: None)
    monkeypatch.setattr(compaction, "BLOCKS", (8, 64))
    book = Book.init(tmp_path / "book", shop="quayside")
    book.append([{"kind": "bike_registered", "bike": TAG, "actor": "mia", "data": {}}])
    for km in range(8):
        odometer = {"value": str(km), "unit": "km"}
        entry = {"kind": "distance_read", "bike": TAG, "actor": "mia"}
        book.append([{**entry, "data": {"odometer": odometer}}])
    return book.path


def merge(path: Path) -> None:
    Book.open(path).compact(grace=timedelta(0))


def listed_then_merged(path: Path) -> Callable[[], list[Path]]:
    """Give what lists a book's files; they are merged right after the first look."""
    book, looks = Book.open(path), []

    def files() -> list[Path]:
        found = list(book.files())
        looks.append(len(found))
        if len(looks) == 1:
            merge(path)
        return found

    return files


def merged_before_they_are_counted(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let DuckDB look for the first time at files that are gone by then."""
    merges = [merge]

    def late(connection: duckdb.DuckDBPyConnection, paths: Any) -> held.Told:
        while merges:
            merges.pop()(path)
        return held.told_by_duckdb(connection, paths)

    for engine in (one_engine, many_engine):
        monkeypatch.setattr(engine, "told_by_duckdb", late)


@pytest.mark.parametrize(
    "ask",
    [
        lambda engine: list(engine.all_bikes("live_events", ASKED, {})),
        lambda engine: engine.asking("live_events", ASKED, {})().to_pylist(),
        lambda engine: engine.events_of([TAG], ["seq"]).to_pylist(),
        lambda engine: [*range(4), *engine.paths()],
    ],
    ids=["rows", "table", "columns", "paths"],
)
def test_a_question_is_asked_again_of_what_took_their_place(
    path: Path, ask: Callable[[DuckEngine], list[Any]]
) -> None:
    """Every event is there, whichever way it is asked for."""
    assert len(Book.open(path).files()) == 9
    found = ask(DuckEngine(listed_then_merged(path)))
    assert len(Book.open(path).files()) == 2
    assert len(found) in (9, 4 + 2)


def test_a_table_asked_for_in_another_thread_is_asked_again(path: Path) -> None:
    """Files may go between the listing and the asking too."""
    ask = DuckEngine(Book.open(path).files).asking("live_events", ASKED, {})
    merge(path)
    assert len(ask()) == 9


@pytest.mark.parametrize(
    "ask",
    [
        lambda book: [view.events_used for view in queries.bike_views(book)],
        lambda book: [len(queries.whole_table(book, "live_events"))],
        lambda book: [
            len(ManyEngine({"quayside": book.files}).whole_table(
                "live_events", {"quayside": ASKED}, {}
            ))
        ],
    ],
    ids=["every bike", "whole table", "several books"],
)  # fmt: skip
def test_files_that_go_before_they_were_counted_are_looked_for_again(
    path: Path, monkeypatch: pytest.MonkeyPatch, ask: Callable[[Book], list[int]]
) -> None:
    """What takes their place is counted, and answers."""
    book = Book.open(path)
    merged_before_they_are_counted(path, monkeypatch)
    assert ask(book) == [9]
    assert len(book.files()) == 2


def test_what_cannot_be_read_and_stays_is_not_asked_for_again(path: Path) -> None:
    """A file that is listed and not there is an error, at once."""
    looks = []

    def files() -> list[Path]:
        looks.append(1)
        return [path / "events" / "c-000000000099.parquet"]

    with pytest.raises(duckdb.IOException, match="c-000000000099"):
        DuckEngine(files).paths()
    assert len(looks) == 2
