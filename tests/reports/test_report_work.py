"""What the rider's page says of the work: found, measured, fitted, set, treated."""

from __future__ import annotations

from pathlib import Path

import pytest
from visit_book import NOW, TAG, amount, at_bench, draft, new_book, visited

from ledger.book import Book
from ledger.reports import NoSuchJob, Report, report_of
from ledger.reports.page import LEFT, page_data
from ledger.reports.words import NO_LONGER_KEPT

PADS = {"position": "rear_brake.pads", "quantity": "thickness"}


def report(book: Book, job: str | None = None) -> Report:
    return report_of(book, TAG, job, NOW)


def test_a_look_is_told_with_its_verdict_and_what_became_of_the_fault(book: Book) -> None:
    """A fault that nobody put right is left as it is; one that was is not; the gravest first."""
    visited(
        book,
        at_bench("inspected", position="chain", verdict="watch", fault="corroded"),
        at_bench(
            "treated", position="chain", treatment="lubricated", puts_right={"fault": "corroded"}
        ),
        at_bench("inspected", position="stem", verdict="due", fault="loose"),
    )
    found = report(book)
    assert [(row.what, row.said, row.state, row.verdict) for row in found.found] == [
        ("Stem", "loose", "left as it is", "due"),
        ("Chain", "corroded", "put right or gone", "watch"),
    ]
    assert found.left_open == ("stem, loose: due",)
    assert found.treated == ("chain lubricated: corroded",)


def test_an_unsafe_look_that_names_no_fault_is_left_as_it_is(book: Book) -> None:
    """The keeper said no and the bike went: the page opens with it, and so does its state."""
    warning = {"verdict": "unsafe", "urgency": "now"}
    asked = draft("advised", "2026-03-02 15:00", {"position": "front_brake", **warning})
    asked["id"] = "0195d000-0000-7000-8000-000000000001"
    visited(
        book,
        at_bench("inspected", position="front_brake", verdict="unsafe"),
        at_bench("inspected", position="frame", verdict="due"),
        at_bench("inspected", position="stem", verdict="within limit"),
        asked,
        draft("advice_answered", "2026-03-02 15:05",
              {"advice": asked["id"], "answer": "no", "how": "in person"}),
    )  # fmt: skip
    found = report(book)
    assert found.left_open == ("front brake, nothing named: unsafe", "frame, nothing named: due")
    assert page_data(found)["short"]["lead"] == LEFT
    assert [(row.what, row.state) for row in found.found] == [
        ("Front brake", "left as it is"), ("Frame", "left as it is"), ("Stem", ""),
    ]  # fmt: skip
    book.append([draft("inspected", "2026-03-02 17:30",
                       {"position": "front_brake", "verdict": "within limit"})])  # fmt: skip
    assert report(book).left_open == ("frame, nothing named: due",)


def test_what_was_not_checked_never_reads_as_fine(book: Book) -> None:
    """It keeps its verdict and says why; systems nobody looked at are named."""
    why = "stem bolts seized"
    visited(
        book,
        at_bench("inspected", position="steering", verdict="not checked", why_not_checked=why),
        at_bench("inspected", position="rear_brake", verdict="within limit"),
    )
    found = report(book)
    (unchecked,) = [row for row in found.found if row.verdict == "not checked"]
    assert unchecked.said == f"why: {why}"
    assert found.found[0] == unchecked, "before what is within limit"
    assert "front brake" in found.not_looked_at and "frame" in found.not_looked_at
    assert not {"rear brake", "steering"} & set(found.not_looked_at)


def test_a_reading_has_its_limit_and_its_verdict(book: Book) -> None:
    """Figures are canonical, the limit says which side is past it, the gravest comes first."""
    visited(
        book,
        at_bench("measured", position="chain", quantity="elongation", value=amount("0.2 %")),
        at_bench("measured", **PADS, value=amount("0.4 mm")),
        at_bench("advised", position="rear_brake.pads", verdict="unsafe", urgency="now"),
        draft("released", "2026-03-02 16:00", {
            "is_test_ridden": True,
            "warnings": [{"position": "rear_brake.pads", "warning": "Pads at their end"}],
        }),
        is_closed=False,
    )  # fmt: skip
    assert [(row.what, row.figure, row.limit, row.verdict) for row in report(book).measured] == [
        ("Rear brake pads, thickness", "0.4\u00a0mm", "1\u00a0mm or less", "unsafe"),
        ("Chain wear", "0.2\u00a0%", "0.5\u00a0% or more", "within limit"),
    ]


def test_a_reading_of_a_part_that_was_replaced_says_so(book: Book) -> None:
    """What was read before the new part came is not what is on the bike now."""
    chain = {"position": "chain", "make": "Tolvane", "model": "Ebb 11"}
    visited(
        book,
        at_bench("measured", position="chain", quantity="elongation", value=amount("0.6 %")),
        draft("part_fitted", "2026-03-02 12:00", chain),
        draft("measured", "2026-03-02 13:00",
              {"position": "chain", "quantity": "elongation", "value": amount("0 %")}),
    )  # fmt: skip
    found = report(book)
    assert [row.figure for row in found.measured] == ["0.6\u00a0%, part replaced since", "0\u00a0%"]
    assert found.left_open == ()


def test_a_part_that_was_found_fitted_is_not_told_as_fitted(book: Book) -> None:
    """Fitted and taken off are told, with origin and reason; what was there already is not."""
    visited(
        book,
        at_bench("part_fitted", position="cassette", model="Ebb C11", is_found=True),
        at_bench("part_fitted", position="chain", make="Tolvane", model="Ebb 11",
                 origin="second hand"),
        at_bench("part_removed", position="cassette", reason="damaged", kept="given back"),
    )  # fmt: skip
    assert [(row.what, row.part, row.said) for row in report(book).moved] == [
        ("Chain", "Tolvane Ebb 11", "fitted; second hand"),
        ("Cassette", "taken off", "damaged; given back"),
    ]


def test_what_was_set_stands_beside_the_makers_range(book: Book) -> None:
    """Within, outside, and where the book knows no figure of the maker's."""
    torque = {"position": "stem", "quantity": "torque"}
    visited(
        book,
        at_bench("adjusted", **torque, after=amount("5 N·m"),
                 maker_low=amount("4 N·m"), maker_high=amount("6 N·m")),
        at_bench("adjusted", **torque, point="steerer", after=amount("9 N·m"),
                 maker_high=amount("8 N·m")),
        at_bench("adjusted", position="seatpost", quantity="torque", after=amount("5 N·m")),
    )  # fmt: skip
    assert [(row.figure, row.makers, row.is_outside) for row in report(book).set] == [
        ("5\u00a0N·m", "4\u00a0N·m to 6\u00a0N·m", False),
        ("9\u00a0N·m", "8\u00a0N·m at most", True),
        ("5\u00a0N·m", "not in the book", False),
    ]


def test_a_pressure_is_held_to_the_lowest_maximum_on_its_wheel(book: Book) -> None:
    """The rim's maker allows less than the tyre's: the rim's figure is the maximum."""

    def limited(position: str, most: str) -> dict:
        limits = [{"quantity": "pressure", "limit": amount(most)}]
        return at_bench("part_fitted", position=position, is_found=True, limits=limits)

    visited(
        book,
        limited("rear_wheel.tyre", "6 bar"),
        limited("rear_wheel.rim", "4.5 bar"),
        limited("front_wheel.rim", "3 bar"),
        draft("adjusted", "2026-03-02 12:00",
              {"position": "rear_wheel.tyre", "quantity": "pressure", "after": amount("5 bar")}),
    )  # fmt: skip
    (row,) = report(book).set
    assert (row.makers, row.is_outside) == ("4.5\u00a0bar at most", True)


def test_struck_entries_are_left_out(book: Book) -> None:
    """What was struck stands nowhere on the page."""
    visited(
        book, at_bench("treated", position="drivetrain", treatment="degreased"), is_closed=False
    )
    receipt = book.append([at_bench("part_fitted", position="chain", model="Wrong 11")])
    book.strike(receipt.events[0].id, "beside it", "ada")
    found = report(book)
    assert found.moved == ()
    assert found.treated == ("drivetrain degreased",)


def test_the_newest_visit_is_reported_unless_one_is_named(book: Book) -> None:
    """Without a job the one opened last; with one that; an unknown one is told what there is."""
    visited(book, at_bench("treated", position="chain", treatment="cleaned"))
    book.append([draft("job_opened", "2026-03-20 09:00", {}, "J-2")])
    assert (report(book).job, report(book).is_open) == ("J-2", True)
    assert (report(book, "J-1").job, report(book, "J-1").is_open) == ("J-1", False)
    with pytest.raises(NoSuchJob, match=r"J-9.*J-2, J-1"):
        report(book, "J-9")


def test_a_bike_that_was_never_booked_in_has_no_page(book: Book) -> None:
    """It is said so, with the tag."""
    with pytest.raises(NoSuchJob, match=TAG):
        report(book)


def test_days_and_figures_are_as_the_books_locale_writes_them(tmp_path: Path) -> None:
    """A German book writes the day and the thousands its own way, in its own time zone.

    Source: Unicode CLDR, de: medium date dd.MM.y, grouping with a full stop.
    """
    book = new_book(tmp_path / "book", locale="de_DE")
    visited(book, at_bench("distance_read", odometer=amount("12345 km")))
    found = report(book)
    assert (found.days, found.distance) == ("02.03.2026", "12.345\u00a0km")
    assert found.territory == "DE"


def test_a_distance_nobody_knows_is_said_so(book: Book) -> None:
    """No odometer is an ordinary case."""
    assert report(visited(book)).distance == "no distance known"


def test_words_whose_key_is_gone_are_no_longer_kept(book: Book) -> None:
    """A page of a forgotten rider's visit has no name and none of their words."""
    visited(book, complaint="Rattles past the fish market")
    assert report(book).asked == ("Rattles past the fish market",)
    assert report(book).rider == "Mirren Saltgrove"
    with book.riders._database.write() as connection:
        connection.execute("delete from riders where rider = 'r1'")
        connection.execute("delete from keys where rider = 'r1'")
    forgotten = report(Book.open(book.path, clock=lambda: NOW))
    assert forgotten.asked == (NO_LONGER_KEPT.capitalize(),)
    assert forgotten.rider is None
