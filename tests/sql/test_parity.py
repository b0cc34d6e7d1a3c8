"""The two folds are one: the SQL relations against the plain Python oracle."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import fields, is_dataclass, replace
from datetime import datetime, timedelta
from typing import Any

import lives
import pyarrow as pa
import pytest
import shelf
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.engines.duckdb import Asked, DuckEngine
from ledger.engines.views import RELATIONS, make_view
from ledger.events import Event
from ledger.state import fold
from ledger.view import BikeView
from ledger.vocabulary import standard
from tests.long import times

HERE = Asked(datetime.fromisoformat("2026-01-01T00:00:00+00:00"), 1_000)


def _moved(value: Any, later: timedelta) -> Any:
    """Give a view with its own times moved and its event ids those of copy 0."""
    if isinstance(value, tuple):
        return tuple(_moved(one, later) for one in value)
    if not is_dataclass(value):
        return value
    changed: dict[str, Any] = {}
    for field in fields(value):
        inner = getattr(value, field.name)
        if field.name == "event":
            changed[field.name] = shelf.plain_id(inner)
        elif isinstance(inner, datetime) and field.name != "promised_at":
            changed[field.name] = inner + later
        else:
            changed[field.name] = _moved(inner, later)
    return replace(value, **changed)


Question = tuple[list[Event], Asked]


def _questions(books: list[list[Event]]) -> list[Question]:
    """Give every date and every known seq of every book."""
    return [
        (events, Asked(as_at, known))
        for events in books
        for as_at in shelf.dates_of(events)
        for known in range(len(events) + 1)
    ]


def _copies(questions: list[Question]) -> pa.Table:
    """Give each question's book as a shop of its own, moved so that all are one question."""
    tables = {id(events): shelf.columns_of(events) for events, _ in questions}
    return pa.concat_tables(
        shelf.shifted(
            tables[id(events)],
            f"ask-{number}",
            number,
            HERE.as_at - ask.as_at,
            HERE.known_seq - ask.known_seq,
        )
        for number, (events, ask) in enumerate(questions)
    )


def _views(books: pa.Table) -> Iterator[BikeView]:
    # As a table: moved in seq, the copies are no files that any book could have.
    engine = DuckEngine(lambda: [])
    tables = {"position_effects": shelf.effects()}
    found: dict[tuple[str, str], dict[str, list[Any]]] = {}
    for relation, rows in engine.one_bike(RELATIONS, HERE, books, tables).items():
        for row in rows:
            found.setdefault((row["shop"], row["bike"]), {}).setdefault(relation, []).append(row)
    engine.close()
    for key, rows in found.items():
        yield make_view(*key, HERE.as_at, HERE.known_seq, rows)


def _folded(events: list[Event], bike: str, asked: Asked) -> BikeView:
    return fold(
        [event for event in events if event.bike == bike],
        shop=lives.SHOP,
        bike=bike,
        as_at=asked.as_at,
        known_seq=asked.known_seq,
        vocabulary=standard(),
    )


def _compare(books: list[list[Event]]) -> None:
    """Hold both folds equal for every bike of every book, at every date and every known seq."""
    questions = _questions(books)
    by_key = {(view.shop, view.bike): view for view in _views(_copies(questions))}
    for number, (events, asked) in enumerate(questions):
        for bike in lives.bikes_of(events):
            expected = _folded(events, bike, asked)
            found = by_key.pop((f"ask-{number}", bike), None)
            if found is None:
                assert expected.events_used == 0
                continue
            moved = _moved(found, asked.as_at - HERE.as_at)
            assert replace(moved, shop=lives.SHOP, as_known=asked.known_seq) == expected
    assert not by_key


@settings(max_examples=12, deadline=None, derandomize=True)
@given(st.lists(lives.lives(at_least=6, at_most=12), min_size=4, max_size=4))
def test_both_folds_agree_at_every_date_and_every_known_seq(books: list[list[Event]]) -> None:
    """Whatever happened, SQL and Python see the same bikes at every point of both times."""
    _compare(books)


@pytest.mark.slow
@settings(max_examples=times(25, usual=10), deadline=None, derandomize=True)
@given(st.lists(lives.lives(at_least=8, at_most=25), min_size=4, max_size=4))
def test_both_folds_agree_on_long_lives(books: list[list[Event]]) -> None:
    """Long lives, with more to void and to strike, are seen the same by SQL and Python."""
    _compare(books)
