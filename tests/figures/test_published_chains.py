"""A published service log through the whole way, from the file to the tables of wear.

Source (read): a commuter's published wear test of three chains in rotation on one cassette and
ring, 2016-2017, robobiking.wordpress.com, parts 14, 29, 30, 37, 40 and 41. The rotation between
the published readings is filled in so that the published sums agree.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.book import Book
from ledger.exchange.importer import import_log
from ledger.exchange.mapping import read_mapping
from ledger.figures.readings import book_readings

LOG = Path(__file__).parents[1] / "exchange" / "three_chains.csv"
PUBLISHED = {
    ("chain-A", 132.65): 1350,
    ("chain-A", 133.1): 2450,
    ("chain-A", 133.4): 3800,
    ("chain-A", 133.6): 4100,
    ("chain-B", 133.1): 2350,
    ("chain-B", 134.2): 4000,
    ("chain-C", 133.5): 3750,
    ("chain-C", 133.6): 3900,
}
"""(chain, mm between the rollers) -> its own kilometres, as published."""


def test_each_chain_in_rotation_has_gone_its_published_distance(tmp_path: Path) -> None:
    """Every reading's own distance is the published one, to the kilometre."""
    book = Book.init(tmp_path / "book", shop="quayside", time_zone="Europe/Lisbon")
    import_log(book, LOG, read_mapping(LOG.with_suffix(".toml")))
    rows = book_readings(book).readings.to_pylist()
    found = {(row["part"], row["value"]): row["distance_km"] for row in rows}
    assert found == {key: pytest.approx(km, abs=1e-6) for key, km in PUBLISHED.items()}
    assert {row["distance_source"] for row in rows} == {"read"}
    # A length between rollers without its zero has no limit: it is not 12.7 mm times a number.
    assert {(row["unit"], row["limit"], row["start"]) for row in rows} == {("mm", None, None)}
