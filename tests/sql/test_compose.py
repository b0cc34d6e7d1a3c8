"""Relations put together into one query."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger import sql
from ledger.sql.table import table, written_into


def test_a_relation_comes_after_everything_it_uses() -> None:
    """Parts in use come first, so that each step only reads what stands above it."""
    order = sql.needed("bike_summary")
    assert order[-1] == "bike_summary"
    for place, name in enumerate(order):
        assert set(sql.relation(name).uses) - sql.BASE <= set(order[:place])


def test_a_relation_that_is_given_is_not_written_out_again() -> None:
    """An engine that has a relation as a table already is only asked for the rest."""
    assert "live_events as (" in sql.compose("riders_now")
    assert "live_events as (" not in sql.compose("riders_now", given=frozenset({"live_events"}))


def test_a_source_stands_for_the_events() -> None:
    """Where an engine has no table of events, the query says where they come from."""
    query = sql.compose("live_events", source="select * from elsewhere", ending="order by seq")
    assert query.startswith("with events as (\nselect * from elsewhere\n),")
    assert query.endswith("select * from live_events order by seq")


def test_an_unknown_relation_is_a_key_error() -> None:
    """There are only the relations of the folder."""
    with pytest.raises(KeyError, match="no_such_relation"):
        sql.compose("no_such_relation")


@pytest.mark.parametrize("name", sql.relations())
def test_every_relation_says_its_grain_and_keys(name: str) -> None:
    """Grain, keys and what it gives are declared, and only what exists is used."""
    relation = sql.relation(name)
    assert relation.grain
    assert relation.gives
    assert relation.keys or name == "shop_summary"
    assert set(relation.uses) <= sql.BASE | set(sql.relations())
    assert relation.nullable <= set(relation.keys)


def test_the_contributors_table_of_relations_is_as_declared() -> None:
    """Grain and keys in DEVELOPERS.md are those in the files; `python -m ledger.sql.table`."""
    text = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text("utf-8")
    assert table() in text
    assert written_into(text) == text
