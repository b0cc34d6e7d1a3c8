"""Pressures and the lowest maximum of tyre, rim and insert."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from stand_book import bench, new_book, open_job

from ledger.bench import drafts
from ledger.bench.drafts import Hand, amount, new_id
from ledger.bench.measuring import judged
from ledger.bench.pressures import over_maximum
from ledger.bench.shapes import PressureItem
from ledger.book import Book

FRONT = "front_wheel.tyre"


def front(book: Book) -> PressureItem:
    return next(one for one in bench(book).pressures if one.position == FRONT)


def fit(book: Book, hand: Hand, position: str, *most: tuple[str, str]) -> None:
    limits = [{"quantity": "pressure", "limit": amount(*figure)} for figure in most]
    book.append([drafts.fitted(hand, new_id(), position, None, limits=limits)])


def test_the_lowest_maximum_says_whose_it_is(tmp_path: Path) -> None:
    """Of tyre, rim and insert the lowest counts; what nobody entered is told as unknown."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    assert (front(book).maximum, front(book).set_by) == (None, None)
    assert front(book).unknown == ("front_wheel.tyre", "front_wheel.rim")
    fit(book, hand, FRONT, ("80", "psi"))
    fit(book, hand, "front_wheel.rim", ("4", "bar"))
    fit(book, hand, "front_wheel.insert")
    item = front(book)
    assert (item.maximum, item.set_by) == (Decimal("4.000"), "front_wheel.rim")
    assert item.unknown == ("front_wheel.insert",)
    known = {one.position: one.maximum for one in item.sources}
    assert known[FRONT] == Decimal("5.516")  # 80 psi × 0.0689476 bar


@pytest.mark.parametrize(
    ("value", "unit", "is_over"),
    [("4.0", "bar", False), ("4.001", "bar", True), ("58", "psi", False), ("58.1", "psi", True)],
)
def test_more_air_than_the_lowest_maximum_is_warned_of(
    tmp_path: Path, value: str, unit: str, is_over: bool
) -> None:
    """Above it the page and the book both warn, naming the part; at it neither does. It is
    recorded all the same: the figure was set, and the book says what was."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    fit(book, hand, "front_wheel.rim", ("4", "bar"))
    draft = drafts.pressure_set(hand, new_id(), FRONT, amount(value, unit))
    said = over_maximum(front(book), value, unit)
    assert (said is not None) is is_over
    assert ((said or "") in judged(book, bench(book), draft).warnings) is is_over
    receipt = book.append([draft])
    told = [one for one in receipt.warnings if one.rule == "above_lowest_maximum"]
    assert len(told) == int(is_over)
    assert all("4 bar of the front rim" in one.wrong for one in told)
    assert "safe" not in (said or "").casefold()


@given(st.text(max_size=12), st.sampled_from(("bar", "psi", "mm", "")))
def test_what_is_half_typed_never_breaks(value: str, unit: str) -> None:
    """Whatever stands in the field, asking about it gives a sentence or nothing."""
    item = PressureItem(
        FRONT, "bar", "bar", None, (), Decimal("4"), "front_wheel.rim", (), (), None
    )  # fmt: skip
    assert over_maximum(item, value, unit) is None or "4 bar" in str(
        over_maximum(item, value, unit)
    )


def test_without_a_known_maximum_nothing_is_said(tmp_path: Path) -> None:
    """Not knowing is no leave: there is no caution, and the unknown parts are listed."""
    book = new_book(tmp_path / "book")
    open_job(book)
    assert over_maximum(front(book), "11", "bar") is None
    assert front(book).unknown


def test_a_pressure_is_done_when_this_job_has_set_it(tmp_path: Path) -> None:
    """The last setting and its unit are offered again at the next visit, and not as done."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    book.append([drafts.pressure_set(hand, new_id(), FRONT, amount("60", "psi"), tool="pump")])
    assert front(book).done is not None
    book.append([drafts.closed(hand, new_id(), [], "EUR")])
    open_job(book, "J2")
    item = front(book)
    assert (item.done, item.unit) == (None, "psi")
    assert item.last is not None and item.last.value == Decimal("4.137")


def test_suspension_is_listed_where_it_is_known(tmp_path: Path) -> None:
    """A fork is asked for once one is recorded, bounded by its own maker's figure."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    assert [one.position for one in bench(book).pressures] == [FRONT, "rear_wheel.tyre"]
    fit(book, hand, "fork", ("10", "bar"))
    item = next(one for one in bench(book).pressures if one.position == "fork")
    assert (item.maximum, item.set_by) == (Decimal("10.000"), "fork")
