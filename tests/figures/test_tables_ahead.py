"""A book's tables asked for ahead: the same ones, as at one moment, with their errors."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import duckdb
import pytest
from due_books import GULL, NOW, TERN, book_of, chain, fitted, km, pads, registered

from ledger.figures import ahead
from ledger.figures.ahead import MARKS, OF_DUE, BookTables, Question
from ledger.figures.due import due_list

EVERY = (*OF_DUE, ahead.FITTINGS)


def ridden(bike: str) -> tuple[Any, ...]:
    return (
        registered(bike),
        km("2025-01-01", bike, 0),
        fitted("2025-01-01", bike, "chain", f"{bike}-c"),
        km("2026-01-01", bike, 3000),
        chain("2026-01-01", bike, "0.8"),
    )


def rows(tables: BookTables, question: Question) -> list[Any]:
    return sorted(tables.answer(question).to_pylist(), key=str)


def test_a_table_asked_for_ahead_is_the_one_asked_for_when_needed(tmp_path: Path) -> None:
    """Every table of the call list has the same rows and the same columns either way."""
    limit = {"quantity": "age", "limit": {"value": "730", "unit": "day"}}
    aged = fitted("2025-01-01", GULL, "fork", "F", limits=[limit])
    day, kind, bike, data = pads("2026-01-01", GULL, "4.1")
    plated = day, kind, bike, {**data, "with_backing_plate": True}
    book = book_of(tmp_path, *ridden(GULL), *ridden(TERN), aged, plated)
    before, needed = BookTables(book, NOW).ask(*EVERY), BookTables(book, NOW)
    for question in EVERY:
        assert rows(before, question) == rows(needed, question)
        assert before.answer(question).schema == needed.answer(question).schema
    held = {question: len(before.answer(question)) for question in EVERY}
    assert held[MARKS] == 10 and held[ahead.AGE_LIMITS] == held[ahead.TOLD_APART] == 1


def test_all_tables_are_as_known_to_the_same_seq(tmp_path: Path) -> None:
    """What is recorded after the first was asked for is in none of them, asked ahead or not."""
    book = book_of(tmp_path, *ridden(GULL))
    tables = BookTables(book).ask(MARKS)
    more = [{"kind": "noted", "bike": GULL, "actor": "mia", "occurred_at": "2026-05-01T12:00:00Z",
             "data": {"position": "chain", "text": "waxed"}},
            {"kind": "measured", "bike": GULL, "actor": "mia",
             "occurred_at": "2026-05-01T12:00:00Z",
             "data": {"position": "chain", "quantity": "elongation",
                      "value": {"value": "0.9", "unit": "%"}}}]  # fmt: skip
    book.append(more, confirm_clock=True)
    assert len(tables.answer(MARKS)) == 4
    (bike,) = tables.answer(ahead.SUMMARIES).to_pylist()
    assert bike["events_used"] == 5
    assert len(BookTables(book).answer(MARKS)) == 5


def test_what_went_wrong_is_raised_where_the_table_is_needed(tmp_path: Path) -> None:
    """Asking ahead raises nothing; the answer does, and the other tables still come."""
    wrong = Question("bike_summary", "where no_such_column = 1")
    tables = BookTables(book_of(tmp_path, *ridden(GULL)), NOW).ask(wrong, MARKS)
    with pytest.raises(duckdb.Error, match="no_such_column"):
        tables.answer(wrong)
    assert len(tables.answer(MARKS)) == 4


def test_a_call_list_from_tables_asked_for_ahead_is_the_same(tmp_path: Path) -> None:
    """Whom to call does not depend on when the book was asked; nor in an empty one."""
    book = book_of(tmp_path, *ridden(GULL), *ridden(TERN))
    found = due_list(book, NOW, ahead=BookTables(book, NOW).ask(*OF_DUE))
    assert found == due_list(book, NOW) and found.count_calls == 2
    empty = book_of(tmp_path / "other")
    assert due_list(empty, NOW, ahead=BookTables(empty, NOW).ask(*OF_DUE)).calls == ()
