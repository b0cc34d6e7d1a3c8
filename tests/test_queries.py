"""What can be asked of a book, over its real files."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from functools import partial
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger import queries
from ledger.asking import OWNER
from ledger.book import Book
from ledger.engines.duckdb import Asked, DuckEngine
from ledger.engines.tables import bike_alias, position_effects
from ledger.errors import UnknownBike
from ledger.riders import Rider
from ledger.state import fold
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from ledger.view import BikeView
from ledger.vocabulary import standard
from tests.strategies import Life, lives

GULL, TERN, LONE = "7K3M9QXA", "2B4D6F8H", "9Z8Y7X6W"
NOW = datetime(2026, 3, 20, 10, 0, tzinfo=UTC)


class Clock:
    """A clock that a test sets."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        return self.now


def of(kind: str, day: int, *, bike: str | None = GULL, **data: Any) -> dict[str, Any]:
    """Give a draft of an event at noon of a day in March 2026."""
    draft = {
        "kind": kind,
        "actor": "m1",
        "occurred_at": f"2026-03-{day:02}T12:00:00Z",
        "data": {name: value for name, value in data.items() if name != "job"},
    }
    return (
        draft | ({"bike": bike} if bike else {}) | ({"job": data["job"]} if "job" in data else {})
    )


def km(figure: int) -> dict[str, str]:
    """Give a distance as entered."""
    return {"value": str(figure), "unit": "km"}


@pytest.fixture
def clock() -> Clock:
    """Give the clock of the book."""
    return Clock()


@pytest.fixture
def book(tmp_path: Path, clock: Clock) -> Book:
    """Give a book with two bikes, a chain that moved between them, and a strike."""
    book = Book.init(tmp_path / "book", shop="quayside", time_zone="UTC", clock=clock)
    book.append([of("bike_registered", 1, make="Tidemark", model="Gull", bike_kind="city")])
    book.append([of("bike_registered", 1, bike=TERN, make="Ordwick")])
    book.append(
        [
            of("distance_read", 2, odometer=km(100)),
            of("part_fitted", 2, position="chain", part="A", model="Keel 9"),
            of("noted", 2, position="rear_brake.pads", text="squeals when wet"),
        ]
    )
    book.append([of("distance_read", 5, odometer=km(600))])
    book.append([of("part_removed", 6, position="chain", part="A", reason="rotated")])
    book.append(
        [
            of("distance_read", 6, bike=TERN, odometer=km(40)),
            of("part_fitted", 7, bike=TERN, position="chain", part="A"),
            of("distance_read", 9, bike=TERN, odometer=km(90)),
        ]
    )
    return book


def test_a_bike_is_seen_as_at_any_date(book: Book) -> None:
    """The chain is on it while it was fitted, with the distance it has gone since."""
    view = queries.bike_view(book, GULL, book.instant("2026-03-05"))
    assert [(part.part, part.distance_since_fitted_km) for part in view.fitted] == [("A", 500)]
    assert view.distance_km == 600
    assert queries.bike_view(book, GULL, book.instant("2026-03-06")).fitted == ()
    assert queries.bike_view(book, GULL, book.instant("2026-02-01")).events_used == 0


@pytest.mark.parametrize("is_told_again", [False, True])
def test_a_figure_stays_in_its_unit_though_its_terms_are_struck(
    book: Book, is_told_again: bool
) -> None:
    """However a bike is asked for, and as known at any time since the reading."""
    girth = {"code": "girth", "label": "girth", "unit": "mm", "digits": 1}
    told = {"from_on": "2026-01-01", "quantities": [{**girth, "lowest": "0", "highest": "99"}]}
    terms = book.append([of("terms_set", 1, bike=None, **told)]).events[0]
    reading = {"position": "chain", "quantity": "girth", "value": {"value": "1", "unit": "cm"}}
    book.append([of("measured", 15, bike=TERN, **reading)])
    read = book.head.size
    book.strike(terms.id, "spelled wrong", "m1")
    if is_told_again:
        book.append([of("terms_set", 2, bike=None, **told)])
    for known in range(read, book.head.size + 1):
        every = {view.bike: view for view in queries.bike_views(book, None, known)}
        asked = TERN, None, known
        views = [queries.bike_view(book, *asked), queries.bike_view_by_relations(book, *asked)]
        for view in (*views, every[TERN]):
            found = [one for one in view.readings if one.quantity == "girth"]
            assert [(one.value, one.unit) for one in found] == [(Decimal("10"), "mm")]


def test_a_struck_event_is_gone_once_the_strike_is_known_and_there_before(book: Book) -> None:
    """As known before the strike the bike had the chain at any date; afterwards it never did."""
    removal = next(
        entry for entry in queries.timeline(book, TERN, asker=OWNER) if entry.kind == "part_fitted"
    )
    before = book.head.size
    book.strike(removal.id, "wrong bike", "m1")
    assert queries.bike_view(book, TERN).fitted == ()
    assert [part.part for part in queries.bike_view(book, TERN, None, before).fitted] == ["A"]
    struck = {entry.id: entry for entry in queries.timeline(book, TERN, asker=OWNER)}[removal.id]
    assert struck.is_struck
    assert struck.struck_by == queries.timeline(book, TERN, asker=OWNER)[-1].id
    kinds = [
        entry.kind for entry in queries.timeline(book, TERN, include_struck=False, asker=OWNER)
    ]
    assert kinds == ["bike_registered", "distance_read", "distance_read"]
    earlier = {
        entry.id: entry for entry in queries.timeline(book, TERN, known_seq=before, asker=OWNER)
    }
    assert not earlier[removal.id].is_struck


def test_now_is_never_before_what_the_book_holds(book: Book, clock: Clock) -> None:
    """A book kept by a clock that ran ahead shows its newest events without a date being given."""
    clock.now = datetime.now(UTC) + timedelta(hours=5)
    late = {"kind": "noted", "bike": GULL, "actor": "m1", "data": {"position": "fork", "text": "x"}}
    book.append([late], confirm_clock=True)
    assert queries.bike_view(book, GULL).events_used == 7


def test_an_unknown_tag_is_refused_with_the_nearest(book: Book) -> None:
    """Every question about one bike says which tag was not found."""
    timeline = partial(queries.timeline, asker=OWNER)
    for ask in (queries.bike_view, timeline, queries.part_spells, queries.part_distances):
        with pytest.raises(UnknownBike, match=GULL):
            ask(book, "7K3M9QXB")


def test_a_timeline_is_in_order_and_opens_free_text(book: Book) -> None:
    """By the time things occurred, then seq; what was sealed is read back."""
    book.append([of("noted", 1, position="front_brake.lever", text="bent")])
    entries = queries.timeline(book, GULL, asker=OWNER)
    assert [(entry.occurred_at.day, entry.kind) for entry in entries] == [
        (1, "bike_registered"),
        (1, "noted"),
        (2, "distance_read"),
        (2, "part_fitted"),
        (2, "noted"),
        (5, "distance_read"),
        (6, "part_removed"),
    ]
    assert entries[1].data["text"] == "bent"
    assert entries[1].event.data.text.sealed
    assert [entry.system for entry in entries] == [
        None,
        "front_brake",
        None,
        "drivetrain",
        "rear_brake",
        None,
        "drivetrain",
    ]
    of_brake = queries.timeline(book, GULL, system="rear_brake", asker=OWNER)
    assert [entry.data["text"] for entry in of_brake] == ["squeals when wet"]
    early = queries.timeline(book, GULL, as_at=book.instant("2026-03-01"), asker=OWNER)
    assert [entry.kind for entry in early] == ["bike_registered", "noted"]


def test_bikes_are_listed_by_what_people_type(book: Book) -> None:
    """Any part of the tag, make or model in any case, or the whole id of a rider."""
    book.riders.add([Rider("r-77")])
    book.append([of("rider_changed", 10, bike=TERN, rider="r-77")])
    assert [row.bike for row in queries.bikes(book, "R-77")] == [TERN]
    assert [row.bike for row in queries.bikes(book)] == [TERN, GULL]
    assert [row.bike for row in queries.bikes(book, limit=1)] == [TERN]
    for search in ("7k3m", "TIDEMARK", "mark gu"):
        assert [row.bike for row in queries.bikes(book, search)] == [GULL]
    assert queries.bikes(book, "nothing like it") == []
    row = queries.bikes(book, "gull")[0]
    assert (row.make, row.model, row.bike_kind) == ("Tidemark", "Gull", "city")
    assert (row.distance_km, row.last_seen_at.day, row.events_used) == (Decimal(600), 6, 6)


def test_a_part_has_gone_what_it_went_on_every_bike(book: Book) -> None:
    """Its distance is its own, whichever bike is asked about."""
    expected = Decimal(550)
    for asked in (None, GULL, TERN):
        found = queries.part_distances(book, asked)
        assert [(row.part, row.distance_km, row.count_bikes) for row in found] == [
            ("A", expected, 2)
        ]
        assert found[0].bike == TERN
    spell = queries.part_spells(book, GULL)[0]
    assert (spell.distance_km, spell.end_reason) == (Decimal(500), "rotated")


def test_a_shop_is_counted(book: Book) -> None:
    """Every stored event counts as an event; bikes and jobs are those that count still."""
    book.append([of("job_opened", 10, job="J1"), of("job_opened", 10, bike=TERN, job="J2")])
    book.append([of("job_closed", 11, job="J1")])
    summary = queries.shop_summary(book)
    assert summary.events == book.head.size
    assert (summary.bikes, summary.jobs, summary.jobs_open) == (2, 2, 1)


def test_an_empty_book_answers_with_nothing(tmp_path: Path) -> None:
    """Lists are empty, counts are zero, and a tag is unknown."""
    book = Book.init(tmp_path / "book", shop="quayside")
    assert queries.bikes(book) == []
    assert queries.part_distances(book) == []
    assert list(queries.bike_views(book)) == []
    assert queries.shop_summary(book).events == 0
    with pytest.raises(UnknownBike):
        queries.bike_view(book, GULL)


def joined(book: Book, first: str, second: str) -> None:
    """Say that two tags are one bike."""
    ends = {"first": {"bike": first}, "second": {"bike": second}}
    book.append([of("bike_linked", 12, bike=None, **ends)])


def test_joined_tags_are_one_bike_under_the_tag_asked_for(book: Book) -> None:
    """From when the link is known on; a third tag joined to the second joins both."""
    book.append([of("bike_registered", 10, bike=LONE, make="Salt")])
    before = book.head.size
    joined(book, LONE, TERN)
    for tag in (LONE, TERN):
        view = queries.bike_view(book, tag)
        assert (view.bike, view.distance_km, view.events_used) == (tag, Decimal(90), 5)
        assert [part.part for part in view.fitted] == ["A"]
        assert {entry.bike for entry in queries.timeline(book, tag, asker=OWNER)} == {LONE, TERN}
    assert queries.bike_view(book, LONE, None, before).fitted == ()
    assert [row.bike for row in queries.bikes(book)] == [TERN, GULL]
    views = {view.bike: view for view in queries.bike_views(book)}
    assert views == {tag: queries.bike_view(book, tag, views[tag].as_at) for tag in (TERN, GULL)}


def folded(book: Book, bike: str, as_at: datetime, known_seq: int) -> BikeView:
    """Give the bike by the oracle."""
    tags = book.aliases(known_seq).get(bike, frozenset({bike}))
    return fold(
        [event for event in book.events() if event.bike in tags],
        shop="quayside",
        bike=bike,
        as_at=as_at,
        known_seq=known_seq,
        vocabulary=book.vocabulary,
    )


def test_both_folds_agree_over_joined_tags(book: Book) -> None:
    """At every known seq, before and after the link and after the link was struck."""
    book.append([of("bike_registered", 10, bike=LONE, make="Salt")])
    joined(book, LONE, TERN)
    link = book.book_events()[-1]
    book.append([of("distance_read", 13, bike=LONE, odometer=km(95))])
    book.strike(link.id, "two bikes after all", "m1")
    as_at = book.instant("2026-03-19")
    for known in range(book.head.size + 1):
        for tag in (GULL, TERN, LONE):
            for ask in (queries.bike_view, queries.bike_view_by_relations):
                assert ask(book, tag, as_at, known) == folded(book, tag, as_at, known)


def test_the_book_may_grow_between_questions(book: Book) -> None:
    """A commit made by anybody is in the next answer."""
    assert queries.bike_view(book, GULL).distance_km == 600
    Book.open(book.path, clock=lambda: NOW).append([of("distance_read", 15, odometer=km(700))])
    assert queries.bike_view(book, GULL).distance_km == 700
    assert queries.bikes(book, "gull")[0].distance_km == 700


def test_threads_may_ask_at_the_same_time(book: Book) -> None:
    """Each gets the answer to its own question."""
    as_at = book.instant("2026-03-19")
    expected = {tag: queries.bike_view(book, tag, as_at) for tag in (GULL, TERN)}
    with ThreadPoolExecutor(8) as pool:
        asked = [GULL, TERN] * 20
        found = list(pool.map(lambda tag: queries.bike_view(book, tag, as_at), asked))
    assert found == [expected[tag] for tag in asked]


def test_files_without_newer_columns_are_read(book: Book, tmp_path: Path) -> None:
    """A file of an earlier release lacks columns; what they would say is null."""
    old, *new = book.files()[:3]
    table = pq.read_table(old).drop_columns(["bike_kind", "is_found", "outcome"])
    pq.write_table(table, tmp_path / "old.parquet")
    engine = DuckEngine(lambda: [tmp_path / "old.parquet", *new])
    tables = {"position_effects": position_effects(standard())}
    rows = list(engine.all_bikes("bike_summary", Asked(NOW, 99), tables))
    assert (GULL, "Tidemark", None) in [
        (row["bike"], row["make"], row["bike_kind"]) for row in rows
    ]
    engine.close()


def test_joined_tags_go_by_the_first_of_them() -> None:
    """Among all bikes a joined bike has one name, whichever tag was linked first."""
    together = frozenset({TERN, LONE})
    table = bike_alias({LONE: together, TERN: together})
    assert table.to_pylist() == [
        {"bike": TERN, "bike_as": TERN},
        {"bike": LONE, "bike_as": TERN},
    ]


def kept(life: Life, folder: Path) -> Book:
    """Put a life into a real book, some events a commit."""
    book = Book.init(folder / "book", shop="quayside")
    log = Log(LocalStore(book.path / "events"))
    for first in range(0, len(life.events), 3):
        log.commit(lambda head, first=first: life.events[first : first + 3])
    return Book.open(book.path)


@settings(max_examples=4, deadline=None, derandomize=True)
@given(lives(most_events=20), st.randoms(use_true_random=False))
def test_both_folds_agree_on_what_the_rules_accept(
    tmp_path_factory: pytest.TempPathFactory, life: Life, chance: Any
) -> None:
    """One bike and all bikes at once, over a real book, at dates and known seqs by chance."""
    book = kept(life, tmp_path_factory.mktemp("life"))
    tags = sorted({event.bike for event in life.events if event.bike})
    for _ in range(6):
        as_at, known = chance.choice(life.instants()), chance.randint(0, len(life.events))
        expected = {tag: folded(book, tag, as_at, known) for tag in tags}
        for ask in (queries.bike_view, queries.bike_view_by_relations):
            assert {tag: ask(book, tag, as_at, known) for tag in tags} == expected
        views = {view.bike: view for view in queries.bike_views(book, as_at, known)}
        assert views == {tag: view for tag, view in expected.items() if view.events_used}
