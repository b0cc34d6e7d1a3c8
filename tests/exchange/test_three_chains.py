"""The published service log, brought in as a workshop would bring in its own.

Source (read): a commuter's published wear test of three chains in rotation on one cassette and
ring, 2016-2017, robobiking.wordpress.com, parts 14, 29, 30, 37, 40 and 41. The lengths between
the rollers, each chain's own distance at each reading, the sums and five of the dates are
published; the rotation between them is not, and is filled in so that the sums agree. The rows
say which is which in their last column.
"""

from __future__ import annotations

import csv
import shutil
from collections import defaultdict
from decimal import Decimal
from pathlib import Path

import pytest
from makers import new_book

from ledger.book import Book
from ledger.exchange.importer import import_log
from ledger.exchange.mapping import read_mapping
from ledger.queries import bike_view, part_distances, part_spells

HERE = Path(__file__).parent
PUBLISHED_READINGS = {
    ("A", 1350): "132.65",
    ("A", 2450): "133.1",
    ("A", 3800): "133.4",
    ("A", 4100): "133.6",
    ("B", 2350): "133.1",
    ("B", 4000): "134.2",
    ("C", 3750): "133.5",
    ("C", 3900): "133.6",
}
"""(chain, its own kilometres) -> millimetres between the rollers."""
PUBLISHED_SUMS = {
    "2016-04-15": 3150,
    "2016-09-02": 6650,
    "2016-09-16": 7150,
    "2017-02-10": 10000,
    "2017-04-20": 11700,
}
"""Day -> kilometres of the cassette and the ring."""


@pytest.fixture(scope="module")
def chains(tmp_path_factory: pytest.TempPathFactory) -> tuple[Book, str]:
    """A book that holds the log, and the tag of its one bike."""
    folder = tmp_path_factory.mktemp("chains")
    book = new_book(folder)
    log = shutil.copy(HERE / "three_chains.csv", folder)
    done = import_log(book, Path(log), read_mapping(HERE / "three_chains.toml"))
    assert (done.count_rows, done.count_recorded, done.count_rejected) == (20, 20, 0)
    (tag,) = book.bikes()
    return book, tag


def own_distances(book: Book, tag: str) -> dict[tuple[str, Decimal], str]:
    """Walk the events in plain Python: each reading with how far its chain had gone by then."""
    gone: dict[str, Decimal] = defaultdict(Decimal)
    fitted: str | None = None
    odometer = Decimal(0)
    found = {}
    for event in book.bike_events(tag):
        if event.kind == "distance_read":
            now = Decimal(event.data.odometer.value)
            if fitted:
                gone[fitted] += now - odometer
            odometer = now
        elif event.kind == "part_fitted":
            fitted = event.data.part
        elif event.kind == "part_removed":
            fitted = None
        elif event.kind == "measured":
            assert event.data.part == fitted
            found[event.data.part.removeprefix("chain-"), gone[event.data.part]] = (
                event.data.value.value
            )
    return found


def test_every_reading_is_at_the_published_distance(chains: tuple[Book, str]) -> None:
    """Each length between rollers stands at the distance its own chain had gone, as published."""
    assert own_distances(*chains) == PUBLISHED_READINGS


def test_each_chains_own_distance(chains: tuple[Book, str]) -> None:
    """The distances by SQL are those of the last readings: A 4,100, B 4,000 and C 3,900 km."""
    book, tag = chains
    found = {part.part: part for part in part_distances(book, tag)}
    assert {name: part.distance_km for name, part in found.items()} == {
        "chain-A": Decimal(4100),
        "chain-B": Decimal(4000),
        "chain-C": Decimal(3900),
    }
    assert all(part.is_complete and not part.is_fitted for part in found.values())
    assert sum(part.count_spells for part in found.values()) == len(part_spells(book, tag)) == 10


@pytest.mark.parametrize(("day", "total"), PUBLISHED_SUMS.items())
def test_the_sums_at_the_published_dates(chains: tuple[Book, str], day: str, total: int) -> None:
    """The bike's distance at each published date is the published sum."""
    book, tag = chains
    assert bike_view(book, tag, book.instant(day)).distance_km == total


def test_the_sums_are_those_of_the_chains(chains: tuple[Book, str]) -> None:
    """At 6,650 km A, B and C had gone 1,950, 2,350 and 2,350; at 11,700: 3,800, 4,000 and 3,900."""
    book, tag = chains
    for day, expected in (("2016-09-02", (1950, 2350, 2350)), ("2017-04-20", (3800, 4000, 3900))):
        at = book.instant(day)
        gone: dict[str, Decimal] = defaultdict(Decimal)
        for spell in part_spells(book, tag, at):
            assert spell.distance_km is not None
            gone[spell.part] += spell.distance_km
        assert tuple(gone[f"chain-{name}"] for name in "ABC") == expected
        assert sum(gone.values()) == PUBLISHED_SUMS[day]


def test_the_end_of_the_log(chains: tuple[Book, str]) -> None:
    """The bike ends at the published 13,000 km, with no chain entered for the last 1,000."""
    book, tag = chains
    view = bike_view(book, tag)
    assert (view.distance_km, view.fitted) == (13000, ())


def test_rows_say_what_is_published_and_what_is_filled_in() -> None:
    """Every row's comment begins with its origin, and every reading is published."""
    with (HERE / "three_chains.csv").open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert {row["Comment"].split(":")[0].split(" so ")[0] for row in rows} == {
        "published",
        "filled in",
    }
    assert all(row["Comment"].startswith("published") for row in rows if row["Work"] == "read")
