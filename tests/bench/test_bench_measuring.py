"""What is measured, what stands beside it, and the verdict before anything is written."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from stand_book import bench, new_book, open_job

from ledger.bench import drafts
from ledger.bench.drafts import Hand, amount, new_id
from ledger.bench.measuring import item_for, item_named, judged, limited_at
from ledger.bench.telling import sentences
from ledger.book import Book
from ledger.errors import Refused
from ledger.vocabulary import standard

PLACES = (
    ("chain", "elongation", "%", 0, 200),
    ("rear_brake.pads", "thickness", "mm", 0, 400),
    ("rear_brake.rotor", "thickness", "mm", 100, 200),
    ("front_wheel.tyre", "tread_depth", "mm", 0, 300),
    ("rear_wheel", "runout", "mm", 0, 3000),
    ("stem", "gap", "mm", 0, 1000),
)
"""Position, quantity, unit, and what the figure lies between in hundredths."""


@pytest.fixture(scope="module")
def at_work(tmp_path_factory: pytest.TempPathFactory) -> tuple[Book, Hand]:
    """A book whose rotor has its maker's own limit."""
    book = new_book(tmp_path_factory.mktemp("judged") / "book")
    hand = open_job(book)
    limits = [{"quantity": "thickness", "limit": amount("1.6", "mm")}]
    book.append([drafts.fitted(hand, new_id(), "rear_brake.rotor", None, limits=limits)])
    return book, hand


@st.composite
def readings(draw: st.DrawFn) -> dict[str, Any]:
    """A reading as it may be typed: exact, by marks, in inches, with a plate, with a limit."""
    position, quantity, unit, low, high = draw(st.sampled_from(PLACES))

    def figure() -> str:
        return str(draw(st.integers(low, high)) / 100)

    how = draw(st.sampled_from(("value", "value", "marks", "low", "high", "inches")))
    given_: dict[str, Any] = {"position": position, "quantity": quantity}
    if how == "inches" and unit == "mm":
        given_["value"] = amount("0.05", "in")
    elif how == "marks":
        ends = sorted([float(figure()), float(figure())])
        given_ |= {"low": amount(str(ends[0]), unit), "high": amount(str(ends[1]), unit)}
    else:
        given_["value" if how == "inches" else how] = amount(figure(), unit)
    if position.endswith(".pads"):
        given_["has_backing_plate"] = draw(st.sampled_from((None, True, False)))
    if draw(st.integers(0, 4)) == 0:
        given_["limit"] = amount(figure(), unit)
    if draw(st.integers(0, 6)) == 0:
        given_["verdict"] = "watch"
    return given_


@settings(max_examples=150, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(reading=readings())
def test_what_is_judged_is_what_is_stored(
    at_work: tuple[Book, Hand], reading: dict[str, Any]
) -> None:
    """The verdict shown for a typed figure is the one the book then stores, or refuses with."""
    book, hand = at_work
    event_id = new_id()
    draft = drafts.measured(hand, event_id, **reading)
    before = book.head.size
    said = judged(book, bench(book), draft)
    assert book.head.size == before
    try:
        book.append([draft])
    except Refused as refused:
        assert said.problems == sentences(refused.problems, "refused")
        return
    stored = book.find([event_id])[event_id].data
    assert said.problems == ()
    assert said.verdict == stored.verdict
    assert (str(said.limit) if said.limit is not None else None) == (
        stored.limit.canonical if stored.limit else None
    )
    for mine, theirs in (
        (said.canonical, stored.value),
        (said.canonical_low, stored.low),
        (said.canonical_high, stored.high),
    ):
        assert (None if mine is None else str(mine)) == (theirs.canonical if theirs else None)


def test_a_figure_that_cannot_be_read_is_told_and_not_judged(at_work: tuple[Book, Hand]) -> None:
    """A length for a pressure, text for a figure: a problem in words, no verdict."""
    book, hand = at_work
    for value, unit in (("0.7", "bar"), ("worn", "%"), ("", "%")):
        draft = drafts.measured(
            hand, new_id(), "chain", "elongation", value=amount(value, unit)
        )  # fmt: skip
        said = judged(book, bench(book), draft)
        assert said.verdict is None and said.problems


def test_a_torque_outside_the_makers_range_is_warned_of(at_work: tuple[Book, Hand]) -> None:
    """The same check before writing tells of a torque above the maker's highest."""
    book, hand = at_work
    high = {"maker_low": amount("4", "N·m"), "maker_high": amount("5", "N·m")}
    draft = drafts.torqued(hand, new_id(), "stem", amount("7", "N·m"), **high)
    said = judged(book, bench(book), draft)
    assert any("above the maker's highest" in warning for warning in said.warnings)


def test_an_item_has_last_value_limit_unit_and_gauges_beside_it(tmp_path: Path) -> None:
    """The unit last entered, the last figure and its day, the limit, and who can read it."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    where = ("front_wheel.tyre", "tread_depth")
    book.append(
        [drafts.measured(hand, new_id(), *where, value=amount("0.1", "in"), gauge="caliper")]
    )
    item = next(one for one in bench(book).measures if one.key == "front_wheel.tyre tread_depth")
    assert (item.unit, item.canonical_unit) == ("in", "mm")
    assert item.last is not None and str(item.last.value) == "2.540"
    assert item.limit is not None and (str(item.limit.due), item.limit.direction) == (
        "0.500",
        "below",
    )
    assert [(gauge.gauge, gauge.is_last_used) for gauge in item.gauges] == [("caliper", True)]
    assert item.done == item.last


def test_sprockets_are_asked_one_by_one_where_they_were_measured_so(tmp_path: Path) -> None:
    """By tooth count, smallest first, and not as a whole cassette beside them."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    for point in ("21T", "9T", "11T"):
        worn = amount("0.3", "mm")
        book.append(
            [drafts.measured(hand, new_id(), "cassette", "tooth_wear", value=worn, point=point)]
        )
    keys = [one.key for one in bench(book).measures if one.position == "cassette"]
    assert keys == ["cassette tooth_wear 9T", "cassette tooth_wear 11T", "cassette tooth_wear 21T"]


def test_marks_and_backing_plates_are_offered_as_they_were_entered(tmp_path: Path) -> None:
    """A chain read by go/no-go marks is asked so again; pads remember their plate."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    marks = {"low": amount("0.5", "%"), "high": amount("0.75", "%")}
    book.append([drafts.measured(hand, new_id(), "chain", "elongation", **marks)])
    pads = {"value": amount("3.4", "mm"), "has_backing_plate": True}
    book.append([drafts.measured(hand, new_id(), "rear_brake.pads", "thickness", **pads)])
    by_key = {one.key: one for one in bench(book).measures}
    chain, worn = by_key["chain elongation"], by_key["rear_brake.pads thickness"]
    assert chain.is_by_marks and not worn.is_by_marks
    assert worn.has_backing_plate is True and worn.limit is None
    assert by_key["front_brake.pads thickness"].has_backing_plate is False
    assert chain.has_backing_plate is None


def test_a_makers_limit_stands_before_the_vocabularys(tmp_path: Path) -> None:
    """What the fitted rotor's maker says is the limit shown, and said to be the maker's."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    limits = [{"quantity": "thickness", "limit": amount("1.6", "mm")}]
    book.append([drafts.fitted(hand, new_id(), "rear_brake.rotor", None, limits=limits)])
    item = next(one for one in bench(book).measures if one.position == "rear_brake.rotor")
    assert item.limit is not None and item.limit.is_makers and str(item.limit.due) == "1.600"


def test_a_reading_of_a_part_that_came_off_is_shown_as_one(tmp_path: Path) -> None:
    """After a new chain the old reading is still there to see, and is not this chain's."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    worn = amount("0.9", "%")
    book.append([drafts.measured(hand, new_id(), "chain", "elongation", value=worn)])
    book.append([drafts.fitted(hand, new_id(), "chain", None, make="Quay")])
    item = next(one for one in bench(book).measures if one.key == "chain elongation")
    assert item.is_of_an_earlier_part and item.last is not None and str(item.last.value) == "0.900"
    assert item.done is None


def test_anything_else_can_be_measured_too(tmp_path: Path) -> None:
    """An item that is not on the list has its unit and gauges as those on it have."""
    book = new_book(tmp_path / "book")
    open_job(book)
    item = item_for(book, bench(book), "rear_brake.rotor", "thickness")
    assert (item.unit, item.last, [gauge.gauge for gauge in item.gauges]) == (
        "mm",
        None,
        ["caliper"],
    )
    assert item.limit is not None and str(item.limit.due) == "1.550"


def test_any_reading_can_be_named(at_work):
    """By position, quantity and point; what the vocabulary does not have names nothing."""
    seen = bench(book := at_work[0])
    assert item_named(book, seen, seen.measures[0].key) is seen.measures[0]
    ring = item_named(book, seen, "chainring.outer tooth_wear 38T")
    assert ring is not None
    assert (ring.position, ring.quantity, ring.point) == ("chainring.outer", "tooth_wear", "38T")
    for wild in ("", "chain", "chain noise", "engine elongation", "elongation chain"):
        assert item_named(book, seen, wild) is None


@pytest.mark.parametrize(
    ("position", "quantities"),
    [
        ("front_wheel.tyre", ("pressure", "tread_depth")),
        ("chain", ("elongation",)),
        ("chainring.outer", ("tooth_wear",)),
        ("fork", ("pressure",)),
        ("saddle", ()),
    ],
)
def test_a_part_has_the_makers_limits_of_its_place(position, quantities):
    """What wears there, and first a highest pressure where there is air."""
    assert limited_at(standard(), position) == quantities
