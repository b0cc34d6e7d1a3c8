"""What came back in small books: windows, distances, and who says which job answers which."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from fault_books import (
    CROW,
    GULL,
    TERN,
    Draft,
    book_of,
    cured,
    event,
    found,
    registered,
    squeal_twice,
    terms,
    visit,
)

from ledger.book import Book
from ledger.figures.come_backs import WindowAsked
from ledger.figures.matching import Matching, matched
from ledger.queries import bike_tables


def km(day: str, figure: int, bike: str = GULL, **more: Any) -> Draft:
    odometer = {"value": str(figure), "unit": "km"}
    return event(day, "distance_read", bike, {"odometer": odometer, **more})


def twice(first: str, again: str, fault: str = "squeal", **opened: Any) -> list[Draft]:
    """Give a fault put right on one day and found again on another."""
    return [
        *visit(first, GULL, "one", found(fault), cured(fault)),
        *visit(again, GULL, "two", found(fault), **opened),
    ]


def judged(day: str, job: str, answers: str | None) -> Draft:
    is_back = answers is not None
    data = {"is_come_back": is_back, **({"answers": answers} if is_back else {})}
    return event(day, "come_back_judged", GULL, data, job)


def come_backs(book: Book, **more: Any) -> list[tuple[Any, ...]]:
    """Give (days, km, is_come_back, source) of what was found again."""
    rows = matched(book, **more).repeats.to_pylist()
    return [
        (round(row["days"]), row["km"] and round(row["km"]), row["is_come_back"], row["source"])
        for row in rows
    ]


def links(book: Book) -> list[tuple[Any, ...]]:
    rows = matched(book).jobs.to_pylist()
    return [(row["job"], row["answers"], row["source"], row["is_come_back"]) for row in rows]


def test_an_empty_book_matches_nothing(tmp_path: Path) -> None:
    """Every table is there, and empty."""
    found_none = matched(Book.init(tmp_path / "book", shop="quay"))
    for name in ("found", "episodes", "again", "repeats", "jobs"):
        assert len(getattr(found_none, name)) == 0


@pytest.mark.parametrize(
    ("again", "expected"),
    [("2026-05-30", (90, None, True, "matched")), ("2026-05-31", (91, None, False, None))],
)
def test_without_distances_only_the_days_count(
    tmp_path: Path, again: str, expected: tuple[Any, ...]
) -> None:
    """90 days after it was put right a fault has still come back, a day later it has not."""
    book = book_of(tmp_path, registered(GULL), twice("2026-03-01", again))
    assert come_backs(book) == [expected]


@pytest.mark.parametrize(("figure", "is_back"), [(1990, True), (2010, False)])
def test_the_window_is_the_days_or_the_km_whichever_ends_later(
    tmp_path: Path, figure: int, is_back: bool
) -> None:
    """Past its 90 days a fault still comes back within 1,000 km of the repair."""
    book = book_of(
        tmp_path,
        registered(GULL),
        [km("2025-09-01", 1000), km("2026-03-01", figure)],
        twice("2025-09-01", "2026-03-01"),
    )
    source = "matched" if is_back else None
    assert come_backs(book) == [(181, figure - 1000, is_back, source)]


def test_beyond_its_readings_a_bike_goes_its_own_kilometres_a_day(tmp_path: Path) -> None:
    """200 km in 100 days are 2 km a day, before the first reading and beyond the last."""
    read = [km("2025-06-01", 1000), km("2025-09-09", 1200)]
    book = book_of(tmp_path, registered(GULL), read, twice("2025-09-19", "2026-02-06"))
    assert come_backs(book) == [(140, 280, True, "matched")]


def test_too_few_days_between_readings_tell_nothing(tmp_path: Path) -> None:
    """A bike read twice in 29 days, or on two computers, has no rate to go beyond them."""
    read = [km("2025-06-01", 1000), km("2025-06-30", 1200),
            km("2025-10-01", 5, computer_replaced=True)]  # fmt: skip
    book = book_of(tmp_path, registered(GULL), read, twice("2025-09-01", "2026-02-06"))
    assert come_backs(book) == [(158, None, False, None)]


def test_the_window_is_the_one_in_force_on_the_day_of_the_repair(tmp_path: Path) -> None:
    """Terms from a later day on, or of another fault, change nothing of earlier repairs."""
    own = {"fault": "squeal", "days": 10, "distance_km": 1}
    book = book_of(
        tmp_path,
        terms("2026-03-05", windows=[own]),
        registered(GULL),
        twice("2026-03-01", "2026-03-20"),
        visit("2026-03-21", GULL, "three", cured("squeal")),
        visit("2026-04-10", GULL, "four", found("squeal"), found("play")),
    )
    assert come_backs(book) == [(19, None, True, "matched"), (20, None, False, None)]
    assert matched(book).found["window_days"].to_pylist() == [90, 10, None, None]


def test_a_window_asked_for_goes_before_the_shops(tmp_path: Path) -> None:
    """On the page and the command any window can be tried."""
    book = book_of(tmp_path, registered(GULL), squeal_twice())
    assert come_backs(book, window=WindowAsked(39, 0)) == [(40, None, False, None)]
    assert come_backs(book, window=WindowAsked(41, 0)) == [(40, None, True, "matched")]


def test_an_end_that_is_not_asked_for_stays_each_faults_own(tmp_path: Path) -> None:
    """The shop's days or km of that fault on that day stand beside the end asked for."""
    own = {"fault": "squeal", "days": 10, "distance_km": 700}
    book = book_of(
        tmp_path,
        terms("2026-03-05", windows=[own]),
        registered(GULL),
        twice("2026-03-01", "2026-03-20"),
        visit("2026-03-21", GULL, "three", cured("squeal")),
    )
    said = {
        (asked.days, asked.distance_km): windows(book, asked)
        for asked in (WindowAsked(), WindowAsked(30), WindowAsked(None, 50), WindowAsked(3, 4))
    }
    assert said == {
        (None, None): [(90, 1000), (10, 700)],
        (30, None): [(30, 1000), (30, 700)],
        (None, 50): [(90, 50), (10, 50)],
        (3, 4): [(3, 4), (3, 4)],
    }


def windows(book: Book, asked: WindowAsked) -> list[tuple[int, float]]:
    """Give the days and km of each repair's window, by day of the repair."""
    found = matched(book, window=asked).found.sort_by("put_right_at")
    rows = found.select(["window_days", "window_km"]).to_pylist()
    return [(row["window_days"], row["window_km"]) for row in rows if row["window_days"]]


def test_a_midnight_is_the_shops_own(tmp_path: Path) -> None:
    """Terms hold from the first minute of their day in the book's zone."""
    own = {"fault": "squeal", "days": 10, "distance_km": 1}
    late = [event("2026-05-01T22:30", "treated", GULL, cured("squeal")[1])]
    days = {}
    for zone in ("Europe/Lisbon", "Europe/Helsinki"):
        book = book_of(
            tmp_path / zone, terms("2026-05-02", windows=[own]), registered(GULL), late,
            time_zone=zone,
        )  # fmt: skip
        days[zone] = matched(book).found["window_days"].to_pylist()
    assert days == {"Europe/Lisbon": [90], "Europe/Helsinki": [10]}


def test_what_is_judged_goes_before_what_is_said_and_that_before_what_matches(
    tmp_path: Path,
) -> None:
    """A link is matched, unless booking-in said so, unless somebody judged it since."""
    plain = book_of(tmp_path / "a", registered(GULL), twice("2026-03-01", "2026-04-01"))
    assert links(plain) == [("two", "one", "matched", True)]
    said = [*visit("2026-02-01", GULL, "older"),
            *twice("2026-03-01", "2026-04-01", come_back_of="older")]  # fmt: skip
    told = book_of(tmp_path / "b", registered(GULL), said)
    assert links(told) == [("two", "older", "said at booking-in", True)]
    denied = book_of(tmp_path / "c", registered(GULL), said, [judged("2026-05-01", "two", None)])
    assert links(denied) == [("two", None, "judged", False)]
    assert come_backs(denied) == [(31, None, False, None)]
    again = [judged("2026-05-01", "two", None), judged("2026-05-02", "two", "one")]
    last = book_of(tmp_path / "d", registered(GULL), said, again)
    assert links(last) == [("two", "one", "judged", True)]
    assert come_backs(last) == [(31, None, True, "matched")]


def test_a_job_said_to_answer_a_repair_brings_it_back_past_its_window(tmp_path: Path) -> None:
    """Whoever booked it in knows better than a window; of another job's repair it says nothing."""
    late = twice("2025-03-01", "2026-04-01", come_back_of="one")
    book = book_of(tmp_path, registered(GULL), late)
    assert come_backs(book) == [(396, None, True, "said at booking-in")]


def test_a_job_answers_the_latest_of_the_repairs_that_came_back(tmp_path: Path) -> None:
    """Two faults of two jobs found again in one visit link it to the later job."""
    book = book_of(
        tmp_path,
        registered(GULL),
        visit("2026-03-01", GULL, "one", found("squeal"), cured("squeal")),
        visit("2026-03-10", GULL, "two", found("play"), cured("play")),
        visit("2026-04-01", GULL, "three", found("squeal"), found("play")),
    )
    assert links(book) == [("three", "two", "matched", True)]


def test_what_was_known_then_is_that_of_the_visit(tmp_path: Path) -> None:
    """Tier, riding and model are as on the day it was put right, not as they are now."""
    part = {"position": "rear_brake.pads", "part": "P1", "model": "Old"}
    book = book_of(
        tmp_path,
        terms("2025-01-01", tiers=[{"code": "quick", "label": "quick"}]),
        registered(GULL),
        visit("2026-03-01", GULL, "one", ("part_fitted", part), found("squeal"), cured("squeal"),
              tier="quick", riding="courier"),
        visit("2026-04-01", GULL, "two", found("squeal"),
              ("part_fitted", {**part, "part": "P2", "model": "New", "replaces": "P1",
                               "puts_right": {"fault": "squeal"}}), riding="family"),
    )  # fmt: skip
    first, second = matched(book).episodes.to_pylist()
    names = ("put_right_tier", "put_right_riding", "put_right_model", "found_model", "found_tier")
    assert [first[name] for name in names] == ["quick", "courier", "Old", "Old", "quick"]
    assert [second[name] for name in names] == [None, "family", "New", "Old", None]
    (again,) = matched(book).repeats.to_pylist()
    assert (again["first_model"], again["first_tier"], again["again_tier"]) == (
        "Old",
        "quick",
        None,
    )


def test_one_bike_read_alone_gives_what_the_whole_book_gives_of_it(tmp_path: Path) -> None:
    """No figure of a bike leans on another's: neither its distances nor its links."""
    read = [km(day, figure, bike) for bike, figure in ((GULL, 500), (TERN, 4000))
            for day in ("2025-06-01", "2025-12-01")]  # fmt: skip
    both = [
        *squeal_twice(GULL),
        *squeal_twice(TERN),
        *visit("2026-05-01", CROW, "x", found("play")),
    ]
    book = book_of(tmp_path, registered(GULL, TERN, CROW), read, both)
    whole = matched(book)
    for bike in (GULL, TERN, CROW):
        own = matched(book, read=lambda name, bike=bike: bike_tables(book, bike, [name])[name])
        for table in ("episodes", "repeats", "jobs"):
            assert rows(own, table, bike) == rows(whole, table, bike)
    assert len(rows(whole, "repeats", TERN)) == 1


def rows(matching: Matching, table: str, bike: str) -> list[dict[str, Any]]:
    found_rows = [row for row in getattr(matching, table).to_pylist() if row["bike"] == bike]
    return sorted(found_rows, key=repr)
