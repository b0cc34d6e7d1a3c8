"""The keys each relation declares hold on generated books."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given, settings
from lives import lives
from shelf import columns_of, effects

from ledger import sql
from ledger.engines.duckdb import Asked, DuckEngine
from ledger.events import Event
from tests.long import times


def broken_keys(events: list[Event], asked: Asked) -> list[str]:
    """Give what is wrong with the keys of any relation over these events."""
    engine = DuckEngine(lambda: [])
    tables = {"position_effects": effects()}
    found = engine.one_bike(list(sql.relations()), asked, columns_of(events), tables)
    engine.close()
    wrong = []
    for name, rows in found.items():
        relation = sql.relation(name)
        keys = Counter(tuple(row[key] for key in relation.keys) for row in rows)
        wrong += [f"{name}: {key} {count} times" for key, count in keys.items() if count > 1]
        for place, column in enumerate(relation.keys):
            if column not in relation.nullable and any(key[place] is None for key in keys):
                wrong.append(f"{name}: {column} is null")
    return wrong


@settings(max_examples=12, deadline=None, derandomize=True)
@given(lives(at_least=8, at_most=40))
def test_declared_keys_are_unique_and_not_null(events: list[Event]) -> None:
    """Each relation has one row for each value of its keys, and no key is null."""
    last = max(event.occurred_at for event in events)
    assert broken_keys(events, Asked(last, len(events))) == []


@pytest.mark.slow
@settings(max_examples=times(100, usual=40), deadline=None, derandomize=True)
@given(lives(at_least=20, at_most=80))
def test_declared_keys_hold_on_long_lives(events: list[Event]) -> None:
    """The same on many longer lives."""
    last = max(event.occurred_at for event in events)
    assert broken_keys(events, Asked(last, len(events))) == []
