"""The Pareto of come-backs: what counts where, in what order, and when there are too few."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from fault_books import (
    CROW,
    GULL,
    TERN,
    book_of,
    cured,
    event,
    found,
    line,
    registered,
    squeal_twice,
    terms,
    visit,
    wages,
    worked,
)
from scipy.stats import beta

from ledger.asking import OWNER
from ledger.book import Book
from ledger.figures.come_backs import WindowAsked
from ledger.figures.fault_pareto import jeffreys
from ledger.figures.fault_shapes import BY, MEASURES, Pareto
from ledger.figures.faults import BookFaults, faults_of


def rows(told: Pareto) -> list[tuple[str | None, int, int]]:
    return [(row.key, row.counts.count_found, row.counts.count_come_back) for row in told.rows]


def of_two_faults(folder: Path) -> Book:
    """One squeal back at 25 minutes, two of three slack chains back at 10 each, a bent frame."""
    skips = [
        visit("2026-03-01", TERN, "t1", cured("skipping", "chain"), tier="quick"),
        visit("2026-03-11", TERN, "t2", found("skipping", "chain"), cured("skipping", "chain"),
              worked(10)),
        visit("2026-03-21", TERN, "t3", found("skipping", "chain"), cured("skipping", "chain"),
              worked(10), lines=(line(1, 900),), tier="full"),
        visit("2026-03-22", CROW, "c1", found("bent", "frame")),
    ]  # fmt: skip
    tiers = [{"code": "quick", "label": "quick check"}, {"code": "full", "label": "full service"}]
    return book_of(
        folder, registered(GULL, TERN, CROW), wages("2026-01-01", mia=6000),
        terms("2025-01-01", tiers=tiers), squeal_twice(), *skips,
    )  # fmt: skip


def test_most_of_the_measure_comes_first(tmp_path: Path) -> None:
    """Skipping came back more often, the squeal took more minutes, skipping cost more."""
    faults = faults_of(of_two_faults(tmp_path), asker=OWNER)
    skipping, squeal, bent = ("skipping", 3, 2), ("squeal", 2, 1), ("bent", 1, 0)
    assert rows(faults.pareto("fault", "count")) == [skipping, squeal, bent]
    assert rows(faults.pareto("fault", "minutes")) == [squeal, skipping, bent]
    assert rows(faults.pareto("fault", "cost")) == [skipping, squeal, bent]
    assert [row.measured for row in faults.pareto("fault", "cost").rows] == [2900, 2500, 0]


def test_come_backs_count_where_the_repair_was_made(tmp_path: Path) -> None:
    """Of two slack chains back, one was put right in a quick check, one in a job of no tier."""
    told = faults_of(of_two_faults(tmp_path), asker=OWNER).pareto("tier")
    back = {row.label: (row.counts.count_found, row.counts.count_put_right,
                        row.counts.count_come_back) for row in told.rows}  # fmt: skip
    assert back == {
        "no tier told": (4, 3, 2), "quick check": (1, 1, 1), "full service": (1, 1, 0)
    }  # fmt: skip


def test_a_part_that_did_not_hold_counts_for_its_model(tmp_path: Path) -> None:
    """The tube that was fitted against the puncture is what came back; make and model in one."""
    tube = {"position": "rear_wheel.tube", "puts_right": {"fault": "puncture"}}
    first = visit(
        "2026-03-01",
        GULL,
        "j1",
        found("puncture", "rear_wheel.tube"),
        ("part_fitted", {**tube, "make": "Rollmark", "model": "Rollmark Tube"}),
    )
    second = visit(
        "2026-03-11",
        GULL,
        "j2",
        found("puncture", "rear_wheel.tube"),
        ("part_fitted", {**tube, "make": "Skerry", "model": "Thick", "replaces": "x"}),
    )
    second[2]["data"].pop("replaces")
    removed = event("2026-03-11T09:30", "part_removed", GULL, {"position": "rear_wheel.tube"}, "j2")
    told = faults_of(
        book_of(tmp_path, registered(GULL), first, [removed], second), asker=OWNER
    ).pareto("model")
    assert {row.label: row.counts.count_come_back for row in told.rows} == {
        "Rollmark Tube": 1, "Skerry Thick": 0, "no part on record": 0,
    }  # fmt: skip


@pytest.mark.parametrize("by", BY)
@pytest.mark.parametrize("measure", MEASURES)
def test_rows_add_up_to_the_whole(tmp_path: Path, by: str, measure: str) -> None:
    """Counts, minutes, money and shares of the rows are those of the book, by whatever."""
    faults = faults_of(of_two_faults(tmp_path), asker=OWNER)
    told = faults.pareto(by, measure)  # type: ignore[arg-type]  # drawn from its words
    for name in ("count_found", "count_put_right", "count_come_back", "count_open"):
        whole = getattr(faults.counts, name)
        assert sum(getattr(row.counts, name) for row in told.rows) == whole, name
    assert sum(row.unpaid.minutes for row in told.rows) == faults.unpaid.minutes == 45
    assert sum(row.unpaid.minor or 0 for row in told.rows) == faults.unpaid.minor == 5400
    assert sum(row.share for row in told.rows) == pytest.approx(1)
    assert [row.cumulative_share for row in told.rows] == pytest.approx(
        np.cumsum([row.share for row in told.rows]).tolist()
    )


def test_a_job_said_to_be_a_come_back_counts_without_a_fault(tmp_path: Path) -> None:
    """Nothing was found again in it: it has a row of its own, with what it took."""
    first = visit("2026-03-01", GULL, "j1", found("squeal"), cured("squeal"))
    second = visit("2026-04-10", GULL, "j2", worked(15), come_back_of="j1")
    faults = faults_of(book_of(tmp_path, registered(GULL), first, second), asker=OWNER)
    row = faults.pareto("fault", "minutes").rows[0]
    assert (row.key, row.counts.count_come_back, row.unpaid.minutes) == (None, 1, 15)
    assert row.label == "said to be a come-back, no fault found again"
    assert faults.counts.count_come_back == 1


def test_few_repairs_are_too_few_to_judge(tmp_path: Path) -> None:
    """Of three repairs followed no rate is told in words, whatever came back."""
    told = faults_of(of_two_faults(tmp_path), asker=OWNER).pareto()
    assert all(row.is_too_few for row in told.rows)
    assert [row.verdict for row in told.rows] == [
        "too few to judge: 2 repairs followed", "too few to judge: 1 repair followed",
        "too few to judge",
    ]  # fmt: skip


def many(folder: Path, back: int, held: int, unseen: int) -> BookFaults:
    """Give a book of so many repairs that came back, held for 200 days, were not seen again."""
    visits = []
    for place in range(back + held + unseen):
        bike = f"{place:04}K3M9"
        visits.append(registered(bike))
        visits.append(visit("2025-06-01", bike, f"{bike}-1", cured("squeal")))
        if place < back:
            visits.append(visit("2025-07-01", bike, f"{bike}-2", found("squeal")))
        elif place < back + held:
            visits.append(visit("2025-12-18", bike, f"{bike}-2", found("loose", "saddle")))
    return faults_of(book_of(folder, *visits), asker=OWNER)


def test_enough_repairs_have_both_rates_with_an_interval(tmp_path: Path) -> None:
    """5 of 25 put right came back, 5 of the 20 followed; 5 were not seen again."""
    faults = many(tmp_path, back=5, held=15, unseen=5)
    (row,) = [row for row in faults.pareto().rows if row.key == "squeal"]
    assert (row.counts.rate_so_far, row.counts.rate_followed) == (0.2, 0.25)
    assert row.verdict == "20 % so far, 25 % of those followed (80 %: 15 to 39 %)"
    assert (row.counts.count_judged, row.counts.count_immature) == (20, 5)
    assert not row.is_too_few


def test_the_interval_is_jeffreys() -> None:
    """Tenths of Beta(count + 1/2, rest + 1/2), closed where none or all came back.

    The rule is that of Brown, Cai and DasGupta 2001, Statistical Science 16, section 3.1.3; the
    quantiles are checked against another routine than the one used.
    """
    low, high = jeffreys(np.array([0.0, 5.0, 20.0]), np.array([20.0, 20.0, 20.0]))
    assert (low[0], high[2]) == (0.0, 1.0)
    assert low[1:] == pytest.approx([beta(5.5, 15.5).ppf(0.1), beta(20.5, 0.5).ppf(0.1)], rel=1e-9)
    assert high[:2] == pytest.approx([beta(0.5, 20.5).ppf(0.9), beta(5.5, 15.5).ppf(0.9)], rel=1e-9)


def test_a_window_asked_for_takes_the_place_of_the_shops(tmp_path: Path) -> None:
    """40 days later is within 90 days, not within 30."""
    book = book_of(tmp_path, registered(GULL), squeal_twice())
    assert faults_of(book, asker=OWNER).counts.count_come_back == 1
    shorter = faults_of(book, window=WindowAsked(30, 0), asker=OWNER)
    assert shorter.counts.count_come_back == 0
    assert (shorter.counts.count_found_again, shorter.count_jobs) == (1, 0)


def test_the_bikes_behind_a_row(tmp_path: Path) -> None:
    """The bike on which most of it came back first, each with what that took."""
    faults = faults_of(of_two_faults(tmp_path), asker=OWNER)
    (tern,) = faults.bikes("fault", "skipping")
    assert (tern.bike, tern.count_found, tern.count_put_right, tern.count_come_back) == (
        TERN, 3, 3, 2)  # fmt: skip
    assert (tern.unpaid.minutes, tern.unpaid.parts_minor) == (20, 900)
    assert tern.last_found_at is not None and tern.last_found_at.day == 21
    assert [one.bike for one in faults.bikes("tier", None)] == [GULL, TERN, CROW]
    assert faults.bikes("fault", "leak") == ()


def test_a_book_without_faults_has_an_empty_pareto(tmp_path: Path) -> None:
    """No bike, or no fault: no rows, and the front says so."""
    faults = faults_of(book_of(tmp_path, registered(GULL)), asker=OWNER)
    assert (faults.pareto().rows, faults.jobs, faults.notes) == ((), (), ())
    assert faults.front == "No fault was found on any bike."


def test_as_at_and_as_known_leave_out_what_came_later(tmp_path: Path) -> None:
    """Before the second visit, and before it was recorded, nothing had come back."""
    book = book_of(tmp_path, registered(GULL), squeal_twice())
    until = book.instant("2026-04-01")
    assert faults_of(book, until, asker=OWNER).counts.count_come_back == 0
    assert faults_of(book, None, 5, asker=OWNER).counts.count_come_back == 0
