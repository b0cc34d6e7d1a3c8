"""What stands behind the counts of faults: come-backs by row and bike, and what is not counted."""

from __future__ import annotations

from pathlib import Path

import pytest
from fault_books import (
    CROW,
    GULL,
    PADS,
    TERN,
    book_of,
    cured,
    found,
    registered,
    squeal_twice,
    visit,
    wages,
    worked,
)

from ledger.asking import OWNER
from ledger.figures.fault_behind import (
    come_backs_behind,
    first_found_at,
    newest_carried,
    newest_gone,
    newest_immature,
)
from ledger.figures.faults import BookFaults, faults_of


@pytest.fixture
def three(tmp_path: Path) -> BookFaults:
    """Two bikes whose squeal came back, 25 unpaid minutes each, and one with a look and no work."""
    clear = ("inspected", {"position": PADS, "verdict": "within limit", "fault": "rub"})
    book = book_of(
        tmp_path,
        registered(GULL, TERN, CROW),
        wages("2025-01-01", mia=2400),
        squeal_twice(GULL),
        squeal_twice(TERN),
        visit("2026-01-05", CROW, "c-1", found("rub"), found("loose", "headset")),
        visit("2026-02-05", CROW, "c-2", clear, found("noise", "chain"), cured("noise", "chain")),
    )
    return faults_of(book, asker=OWNER)


def test_a_come_back_tells_what_was_put_right_and_found_again(three: BookFaults) -> None:
    """By hand: cleaned on 1 March, found again 40 days later in the next job; 25 minutes, 10.00."""
    (one,) = come_backs_behind(three, "fault", "squeal", [GULL])
    assert (one.bike, one.position, one.fault, one.put_right_by) == (
        GULL,
        PADS,
        "squeal",
        "cleaned",
    )
    assert (one.put_right_job, one.again_job, one.source) == (f"{GULL}-1", f"{GULL}-2", "matched")
    assert (round(one.days), one.km, one.minutes, one.minor) == (40, None, 25, 1000)


def test_only_the_row_and_the_bikes_asked_for_are_given(three: BookFaults) -> None:
    """Other rows and bikes have nothing; a tier that was never told is a row of its own."""
    both = come_backs_behind(three, "system", "rear_brake", [GULL, TERN])
    assert sorted(one.bike for one in both) == sorted([GULL, TERN])
    assert come_backs_behind(three, "system", "drivetrain", [GULL, TERN]) == ()
    assert come_backs_behind(three, "fault", "squeal", [CROW]) == ()
    assert come_backs_behind(three, "fault", "squeal", []) == ()
    assert len(come_backs_behind(three, "tier", None, [GULL, TERN])) == 2


def test_what_was_carried_or_gone_is_given_newest_first(three: BookFaults) -> None:
    """Both faults of the third bike were there when its first job closed; one is open still."""
    carried = newest_carried(three, 9)
    assert [(one.fault, one.count_jobs_carried) for one in carried] == [("loose", 2), ("rub", 1)]
    assert [one.fault for one in newest_carried(three, 1)] == ["loose"]
    (gone,) = newest_gone(three, 9)
    assert (gone.fault, gone.ended_at is None, carried[0].ended_at) == ("rub", False, None)


def test_repairs_not_to_be_judged_yet_are_given_newest_first(three: BookFaults) -> None:
    """The last repairs of each bike were followed for hours alone, of 90 days."""
    waiting = newest_immature(three, 9)
    assert [one.bike for one in waiting][-1] == CROW
    assert {one.window_days for one in waiting} == {90}
    assert all(one.days_followed < 1 for one in waiting)
    assert newest_immature(three, 1) == waiting[:1]


def test_the_first_fault_is_told(three: BookFaults, tmp_path: Path) -> None:
    """The earliest find of all bikes; none in a book with no fault."""
    first = first_found_at(three)
    assert first is not None
    assert first.date().isoformat() == "2026-01-05"
    (tmp_path / "none").mkdir()
    assert (
        first_found_at(faults_of(book_of(tmp_path / "none", registered(GULL)), asker=OWNER)) is None
    )


def test_minutes_of_no_wage_are_in_no_money(tmp_path: Path) -> None:
    """Where no wage is told a come-back has its minutes and no cost; one without cost nothing."""
    visits = [
        *visit("2026-03-01", GULL, "g-1", found("squeal"), cured("squeal")),
        *visit("2026-03-09", GULL, "g-2", found("squeal"), cured("squeal"), worked(12)),
        *visit("2026-03-19", GULL, "g-3", found("squeal"), cured("squeal")),
    ]
    faults = faults_of(book_of(tmp_path, registered(GULL), visits), asker=OWNER)
    last, first = come_backs_behind(faults, "fault", "squeal", [GULL])
    assert (first.minutes, first.minor) == (12, None)
    assert (last.minutes, last.minor) == (0, 0)
