"""The readings of a book, with how far each part had gone by then."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from naive_readings import Walk

from ledger.analysis.readings import DISTANCES, PARTS, READINGS
from ledger.analysis.usage import fit_usage
from ledger.book import Book
from ledger.figures.readings import BookReadings, book_readings
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from tests.bike_moves import Move
from tests.long import times
from tests.strategies import Life, life_of, lives

GULL, TERN = "7K3M9QXA", "2B4D6F8H"
START = datetime(2025, 3, 1, 12, tzinfo=UTC)

Entry = tuple[int, str, str, dict[str, Any]]


def book_of(folder: Path, *entries: Entry) -> Book:
    """Give a book of two bikes in which things happen: (day, bike, kind, payload)."""
    book = Book.init(folder / "book", shop="quayside", clock=lambda: START + timedelta(days=900))
    rows: list[Entry] = [(0, GULL, "bike_registered", {"speeds": 11, "riding": "commute"})]
    rows += [(0, TERN, "bike_registered", {"speeds": 9, "riding": "touring"}), *entries]
    for day, bike, kind, data in rows:
        at = (START + timedelta(days=day)).isoformat()
        book.append(
            [{"kind": kind, "bike": bike, "actor": "mia", "occurred_at": at, "data": data}],
            confirm_clock=True,
        )
    return book


def km(figure: int, **more: Any) -> dict[str, Any]:
    return {"odometer": {"value": str(figure), "unit": "km"}, **more}


def at(position: str, part: str | None = None, **more: Any) -> dict[str, Any]:
    return {"position": position, **({"part": part} if part else {}), **more}


def wear(figure: str, **more: Any) -> dict[str, Any]:
    value = {"value": figure, "unit": "%"}
    return {"position": "chain", "quantity": "elongation", "value": value, **more}


def gone(found: BookReadings) -> list[tuple[str, float | None, str]]:
    """Give (part, km rounded to the metre, source) of every reading."""
    return [
        (row["part"], None if row["distance_km"] is None else round(row["distance_km"], 3),
         row["distance_source"])
        for row in found.readings.to_pylist()
    ]  # fmt: skip


def test_the_tables_have_the_columns_they_promise(tmp_path: Path) -> None:
    """An empty book gives three empty tables of the declared schemas."""
    found = book_readings(Book.init(tmp_path / "book", shop="quayside"))
    assert (found.readings.schema, found.parts.schema) == (READINGS, PARTS)
    assert found.distances.schema == DISTANCES
    assert len(found.readings) == len(found.parts) == len(found.distances) == 0


def test_a_chain_that_moves_between_bikes_keeps_its_own_distance(tmp_path: Path) -> None:
    """Every bike it sat on counts, and nothing of the time it lay on a shelf."""
    book = book_of(
        tmp_path,
        (1, GULL, "distance_read", km(1000)),
        (1, GULL, "part_fitted", at("chain", "A")),
        (30, GULL, "distance_read", km(1600)),
        (30, GULL, "part_removed", at("chain", reason="rotated")),
        (60, GULL, "distance_read", km(9000)),
        (70, TERN, "distance_read", km(50)),
        (70, TERN, "part_fitted", at("chain", "A")),
        (90, TERN, "distance_read", km(350)),
        (90, TERN, "measured", wear("0.3")),
    )
    found = book_readings(book)
    assert gone(found) == [("A", 900.0, "read")]
    (row,) = found.readings.to_pylist()
    assert row["days"] == pytest.approx(29 + 20)
    assert (row["is_from_new"], row["distance_error_km"]) == (True, 0.0)
    (part,) = found.parts.to_pylist()
    assert (part["bike"], part["is_fitted"], part["distance_km"]) == (TERN, True, 900.0)


def test_a_distance_between_two_readings_goes_by_time(tmp_path: Path) -> None:
    """A chain read a quarter of the way in time has gone a quarter, with an error."""
    book = book_of(
        tmp_path,
        (1, GULL, "distance_read", km(1000)),
        (1, GULL, "part_fitted", at("chain", "A")),
        (26, GULL, "measured", wear("0.1")),
        (101, GULL, "distance_read", km(2000)),
    )
    (row,) = book_readings(book).readings.to_pylist()
    assert (round(row["distance_km"], 6), row["distance_source"]) == (250.0, "between")
    # The gamma bridge: 1000 km, a quarter of 100 days, scatter of 30 days.
    assert row["distance_error_km"] == pytest.approx(1000 * (0.25 * 0.75 / (100 / 30 + 1)) ** 0.5)


def test_beyond_the_last_reading_the_bikes_own_rate_goes_on(tmp_path: Path) -> None:
    """The further past the last reading, the less sure; a bike never read has no distance."""
    book = book_of(
        tmp_path,
        (1, GULL, "distance_read", km(0)),
        (1, GULL, "part_fitted", at("chain", "A")),
        (301, GULL, "distance_read", km(3000)),
        (311, GULL, "measured", wear("0.3")),
        (361, GULL, "measured", wear("0.4")),
        (361, TERN, "part_fitted", at("chain", "B")),
        (371, TERN, "measured", wear("0.1")),
    )
    near, far, never = book_readings(book).readings.to_pylist()
    assert near["distance_source"] == far["distance_source"] == "beyond"
    assert 3060 < near["distance_km"] < 3140
    assert 3400 < far["distance_km"] < 3800
    assert 0 < near["distance_error_km"] < far["distance_error_km"]
    assert (never["distance_km"], never["distance_source"]) == (None, "unknown")
    assert (never["days"], never["is_from_new"]) == (10.0, False)


def test_a_replaced_computer_goes_on_from_the_highest_of_the_one_before(tmp_path: Path) -> None:
    """What both computers counted is summed; what neither counted is an error, not a distance."""
    book = book_of(
        tmp_path,
        (1, GULL, "distance_read", km(5000)),
        (1, GULL, "part_fitted", at("chain", "A")),
        (101, GULL, "distance_read", km(6000)),
        (201, GULL, "distance_read", km(0, computer_replaced=True)),
        (301, GULL, "distance_read", km(1000)),
        (301, GULL, "measured", wear("0.4")),
    )
    (row,) = book_readings(book).readings.to_pylist()
    assert (row["distance_km"], row["distance_source"]) == (2000.0, "read")
    # It rides about 10 km a day, and nobody counted for 100 days.
    assert 800 < row["distance_error_km"] < 1200


def test_a_struck_reading_of_the_distance_counts_no_more(tmp_path: Path) -> None:
    """Once struck it is gone from the answer, but not from what was known before."""
    book = book_of(
        tmp_path,
        (1, GULL, "distance_read", km(1000)),
        (1, GULL, "part_fitted", at("chain", "A")),
        (100, GULL, "distance_read", km(4000)),
        (100, GULL, "measured", wear("0.3")),
    )
    slip = next(e for e in book.events() if e.kind == "distance_read" and e.seq == 5)
    known = book.head.size
    book.strike(slip.id, "a digit too many", "mia")
    right = km(1400)
    when = (START + timedelta(days=100)).isoformat()
    book.append(
        [
            {
                "kind": "distance_read",
                "bike": GULL,
                "actor": "mia",
                "occurred_at": when,
                "data": right,
            }
        ]
    )
    assert gone(book_readings(book)) == [("A", 400.0, "read")]
    assert gone(book_readings(book, known_seq=known)) == [("A", 3000.0, "read")]


def test_what_is_read_where_no_part_is_known_is_a_found_part(tmp_path: Path) -> None:
    """It begins at the first reading, ends when something is fitted there, and is not from new."""
    book = book_of(
        tmp_path,
        (1, GULL, "distance_read", km(1000)),
        (1, GULL, "measured", wear("0.2")),
        (50, GULL, "distance_read", km(1500)),
        (50, GULL, "measured", wear("0.4")),
        (51, GULL, "part_fitted", at("chain", "B")),
        (90, GULL, "distance_read", km(2000)),
        (90, GULL, "measured", wear("0.1")),
    )
    found = book_readings(book)
    first = found.readings.to_pylist()[0]
    made_up = f"part-{first['event']}"
    assert gone(found) == [(made_up, 0.0, "read"), (made_up, 500.0, "read"), ("B", 500.0, "read")]
    assert found.readings["is_from_new"].to_pylist() == [False, False, True]
    parts = {row["part"]: row for row in found.parts.to_pylist()}
    assert parts[made_up]["is_found"] and parts[made_up]["end_reason"] == "replaced"


def test_a_chain_read_off_the_bike_by_its_name_keeps_its_distance(tmp_path: Path) -> None:
    """A reading that names a part already taken off is that part's, as far as it had gone."""
    book = book_of(
        tmp_path,
        (1, GULL, "distance_read", km(0)),
        (1, GULL, "part_fitted", at("chain", "A")),
        (50, GULL, "distance_read", km(700)),
        (50, GULL, "part_removed", at("chain", reason="rotated")),
        (50, GULL, "part_fitted", at("chain", "B")),
        (80, GULL, "distance_read", km(900)),
        (80, GULL, "measured", wear("0.2", part="A")),
    )
    assert gone(book_readings(book)) == [("A", 700.0, "read")]


def test_a_rim_goes_with_the_wheel_that_is_replaced(tmp_path: Path) -> None:
    """A new wheel is another rim, though nobody recorded the rim by itself."""
    thickness = {"position": "rear_wheel.rim", "quantity": "wall_thickness"}
    book = book_of(
        tmp_path,
        (1, GULL, "measured", {**thickness, "value": {"value": "1.6", "unit": "mm"}}),
        (30, GULL, "part_fitted", at("rear_wheel", "W")),
        (60, GULL, "measured", {**thickness, "value": {"value": "2.1", "unit": "mm"}}),
    )
    old, new = book_readings(book).readings.to_pylist()
    assert (new["part"], old["part"]) == ("W", f"part-{old['event']}")
    assert (new["direction"], new["limit"]) == (-1, 1.0)


def test_a_second_hand_part_does_not_count_from_new(tmp_path: Path) -> None:
    """Second hand and found parts have gone further than anybody knows."""
    rows: list[Entry] = [(1, GULL, "distance_read", km(0))]
    for position, more in (
        ("chain", {"origin": "second hand"}),
        ("cassette", {"origin": "unknown", "is_found": True}),
        ("chainring.outer", {"origin": "warranty"}),
    ):
        rows.append((1, GULL, "part_fitted", at(position, f"p-{position}", **more)))
    found = book_readings(book_of(tmp_path, *rows))
    assert {row["part"]: row["is_from_new"] for row in found.parts.to_pylist()} == {
        "p-chain": False,
        "p-cassette": False,
        "p-chainring.outer": True,
    }


def test_a_length_between_rollers_has_its_own_zero_and_limit(tmp_path: Path) -> None:
    """With its length when new, the limit is that much longer by the bike's chain limit."""
    span = {"position": "chain", "quantity": "roller_span", "value": {"value": "133", "unit": "mm"}}
    new = {"length_when_new": {"value": "132.4", "unit": "mm"}}
    book = book_of(
        tmp_path,
        (1, GULL, "measured", span),
        (2, GULL, "measured", {**span, **new}),
        (3, TERN, "measured", {**span, **new}),
        (4, TERN, "measured", wear("0.5", over_pitches=10, value={"value": "127.7", "unit": "mm"},
                                   length_when_new={"value": "127.1", "unit": "mm"})),
        (5, TERN, "measured", wear("0.5")),
    )  # fmt: skip
    rows = book_readings(book).readings.to_pylist()
    assert [row["start"] for row in rows] == [None, 132.4, 132.4, 0.0, None]
    # 0.5 % for 11 sprockets and 0.75 % for 9: common practice, as the vocabulary has it.
    expected = [None, 132.4 * 1.005, 132.4 * 1.0075, 0.75, 0.75]
    assert [row["limit"] for row in rows] == [
        e if e is None else pytest.approx(e) for e in expected
    ]
    assert [row["direction"] for row in rows] == [1, 1, 1, 1, 1]


def test_a_pad_with_its_backing_plate_is_a_series_of_its_own(tmp_path: Path) -> None:
    """Friction material alone and with the plate are never taken for one wear."""
    pad = {"position": "rear_brake.pads", "quantity": "thickness"}
    plate = {"with_backing_plate": True, "value": {"value": "3.9", "unit": "mm"}}
    bare = {"with_backing_plate": False, "value": {"value": "2.1", "unit": "mm"}}
    book = book_of(
        tmp_path,
        (1, GULL, "part_fitted", at("rear_brake.pads", "P")),
        (2, GULL, "measured", {**pad, **plate}),
        (2, GULL, "measured", {**pad, **bare}),
        (2, GULL, "measured", {"position": "rear_wheel", "quantity": "runout",
                               "value": {"value": "0.4", "unit": "mm"}}),
    )  # fmt: skip
    rows = book_readings(book).readings.to_pylist()
    assert [(row["series"], row["limit"]) for row in rows] == [
        ("P/thickness/with backing plate", None),
        ("P/thickness", 1.0),
    ]


def test_joined_tags_are_one_bike(tmp_path: Path) -> None:
    """A part fitted under one tag has gone what was read under the other."""
    book = book_of(
        tmp_path,
        (1, GULL, "distance_read", km(100)),
        (1, GULL, "part_fitted", at("chain", "A")),
        (40, TERN, "distance_read", km(800)),
        (40, TERN, "measured", wear("0.2")),
    )
    link = {"kind": "bike_linked", "actor": "mia", "occurred_at": START.isoformat()}
    book.append([{**link, "data": {"first": {"bike": GULL}, "second": {"bike": TERN}}}])
    assert gone(book_readings(book)) == [("A", 700.0, "read")]


def worn_lives(most_moves: int) -> st.SearchStrategy[Life]:
    """Lives of two bikes in which hardly anything happens but riding, fitting and measuring."""
    kinds = ["distance_read", "distance_read", "part_fitted", "part_removed", "measured", "swapped"]
    move = st.builds(
        Move,
        kind=st.sampled_from([*kinds, "measured", "measured", "event_struck", "restored"]),
        bike=st.sampled_from((0, 0, 1)),
        # Chains and pads by their place in the list of positions; more is more kilometres.
        pick=st.sampled_from((0, 3, 9, 90, 180, 270, 351, 363)),
        other=st.integers(0, 59),
        hours=st.sampled_from((0, 1, 5, 30, 500, 1500, 4000)),
        back=st.sampled_from((0, 0, 0, 0, 0, 1, 2, 5)),
    )
    return st.lists(move, min_size=most_moves // 2, max_size=most_moves).map(life_of)


def kept(life: Life, folder: Path) -> Book:
    """Put a life into a real book."""
    book = Book.init(folder / "book", shop="quayside")
    Log(LocalStore(book.path / "events")).commit(lambda head: life.events)
    return Book.open(book.path)


def check(book: Book, as_at: datetime, known_seq: int) -> int:
    """Hold the book's readings equal to a plain walk; gives how many there are."""
    found = book_readings(book, as_at, known_seq)
    usage = fit_usage(found.distances)
    ridings = {row["bike"]: row["riding"] for row in found.readings.to_pylist()}

    def rate(bike: str) -> float:
        return float(usage.of([bike], [ridings.get(bike)])[0][0])

    walked = Walk(list(book.events()), as_at, known_seq).readings(rate)
    rows = {row["event"]: row for row in found.readings.to_pylist()}
    assert rows.keys() == walked.keys()
    for event, row in rows.items():
        one = walked[event]
        assert row["part"] == one.part
        assert row["distance_source"] == one.source
        assert row["is_from_new"] == one.is_from_new
        assert row["days"] == pytest.approx(one.days, abs=1e-6)
        assert row["distance_km"] == (one.km if one.km is None else pytest.approx(one.km, abs=1e-4))
        assert row["distance_error_km"] >= 0
    return len(rows)


@settings(max_examples=25, deadline=None, derandomize=True)
@given(life=worn_lives(40), chance=st.randoms(use_true_random=False))
def test_distances_are_those_of_a_plain_walk(
    tmp_path_factory: pytest.TempPathFactory, life: Life, chance: Any
) -> None:
    """Over random books, at dates and known seqs by chance, arrays and loops agree."""
    book = kept(life, tmp_path_factory.mktemp("life"))
    check(book, life.instants()[-1], len(life.events))
    for _ in range(3):
        check(book, chance.choice(life.instants()), chance.randint(0, len(life.events)))


@pytest.mark.slow
@settings(max_examples=times(80, usual=30), deadline=None, derandomize=True)
@given(
    life=st.one_of(worn_lives(90), lives(most_events=80)), chance=st.randoms(use_true_random=False)
)
def test_distances_are_those_of_a_plain_walk_in_long_lives(
    tmp_path_factory: pytest.TempPathFactory, life: Life, chance: Any
) -> None:
    """The same over many longer lives."""
    book = kept(life, tmp_path_factory.mktemp("life"))
    for _ in range(4):
        check(book, chance.choice(life.instants()), chance.randint(0, len(life.events)))


def test_tables_hold_what_the_schema_says_cannot_be_null(tmp_path: Path) -> None:
    """No column that is never null holds one, whatever is missing in the book."""
    book = book_of(
        tmp_path,
        (1, GULL, "measured", wear("0.2")),
        (2, TERN, "part_fitted", at("cassette", "C")),
        (3, TERN, "distance_read", km(3)),
    )
    found = book_readings(book)
    for table in (found.readings, found.parts, found.distances):
        assert isinstance(table, pa.Table) and len(table)
        wrong = [f.name for f in table.schema if not f.nullable and table[f.name].null_count]
        assert wrong == []
