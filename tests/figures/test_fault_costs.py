"""What come-backs cost: minutes at wages by date, parts given away, shared out without a rest."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from fault_books import (
    GULL,
    TERN,
    book_of,
    cured,
    event,
    found,
    line,
    registered,
    squeal_twice,
    visit,
    wages,
    worked,
)
from hypothesis import given
from hypothesis import strategies as st

from ledger.asking import OWNER
from ledger.book import Book
from ledger.figures.fault_shapes import Unpaid
from ledger.figures.faults import faults_of
from ledger.figures.shared_out import shared_equally


def of_jobs(book: Book) -> dict[str, Unpaid]:
    return {job.job: job.unpaid for job in faults_of(book, asker=OWNER).jobs}


def test_minutes_are_money_at_the_wage_in_force_when_worked(tmp_path: Path) -> None:
    """25 min at 24.00 an hour are 10.00; the wage of a later day and of another do not count."""
    terms = [*wages("2026-01-01", mia=2400, ben=9900), *wages("2026-04-11", mia=4800)]
    book = book_of(tmp_path, registered(GULL), terms, squeal_twice())
    assert of_jobs(book) == {f"{GULL}-2": Unpaid(minutes=25, minutes_minor=1000)}


def test_a_wage_holds_from_the_start_of_its_day_in_the_books_zone(tmp_path: Path) -> None:
    """At noon in Lisbon on the very day, the new wage is in force; terms since stay in force."""
    terms = [*wages("2026-01-01", mia=2400), *wages("2026-04-10", mia=4800)]
    book = book_of(tmp_path, registered(GULL), terms, squeal_twice(), time_zone="Europe/Lisbon")
    assert of_jobs(book)[f"{GULL}-2"].minutes_minor == 2000


def test_the_last_terms_of_a_day_hold(tmp_path: Path) -> None:
    """A wage told twice from one day on is what was told last."""
    terms = [*wages("2026-01-01", mia=2400), *wages("2026-01-01", mia=3600)]
    book = book_of(tmp_path, registered(GULL), terms, squeal_twice())
    assert of_jobs(book)[f"{GULL}-2"].minutes_minor == 1500


def test_where_no_wage_is_told_there_are_minutes_and_no_money(tmp_path: Path) -> None:
    """Nothing is made up: the money is None, and the words say what is missing."""
    book = book_of(tmp_path, registered(GULL), squeal_twice())
    faults = faults_of(book, asker=OWNER)
    assert faults.unpaid == Unpaid(minutes=25, minutes_without_wage=25)
    assert faults.unpaid.minor is None
    assert "25 minutes nobody paid for" in faults.front and "€" not in faults.front
    assert any("no wage is told" in note for note in faults.notes)


def test_paid_minutes_cost_nothing_goodwill_does(tmp_path: Path) -> None:
    """Of 30 quoted and 12 goodwill minutes in a job that came back, 12 were not paid for."""
    second = visit("2026-04-10", GULL, "j2", found("squeal"), cured("squeal"),
                   worked(30, "quoted"), ("goodwill_given", {"minutes": 12}))  # fmt: skip
    first = visit(
        "2026-03-01", GULL, "j1", found("squeal"), cured("squeal"), worked(40, "goodwill")
    )
    book = book_of(tmp_path, registered(GULL), wages("2026-01-01", mia=2400), first, second)
    assert of_jobs(book) == {"j2": Unpaid(minutes=12, minutes_minor=480)}


def test_half_a_minor_unit_is_rounded_up_once_a_job(tmp_path: Path) -> None:
    """Two stretches of 1 minute at 0.15 an hour make half a cent: 1, and not 0 twice."""
    second = visit("2026-04-10", GULL, "j2", found("squeal"), worked(1), worked(1))
    first = visit("2026-03-01", GULL, "j1", found("squeal"), cured("squeal"))
    book = book_of(tmp_path, registered(GULL), wages("2026-01-01", mia=15), first, second)
    assert of_jobs(book)["j2"].minutes_minor == 1


def test_parts_given_away_are_at_what_they_cost_the_shop(tmp_path: Path) -> None:
    """Goodwill and noughts count, paid lines and labour do not, an untold cost is counted apart."""
    lines = (
        line(1, 1450),
        line(2, 300, net_minor=900, is_goodwill=True),
        line(3, 700, net_minor=1900),
        line(4, 999, line_type="labour"),
        line(5),
    )
    book = book_of(tmp_path, registered(GULL), squeal_twice(lines=lines))
    unpaid = of_jobs(book)[f"{GULL}-2"]
    assert (unpaid.parts_minor, unpaid.parts_without_cost) == (1750, 1)


def test_two_come_backs_in_a_job_share_its_minutes_and_each_takes_its_own_parts(
    tmp_path: Path,
) -> None:
    """25 minutes are 13 and 12; a line goes to its position, then its system, then to all."""
    first = visit("2026-03-01", GULL, "j1", cured("squeal"), cured("skipping", "chain"))
    lines = (
        line(1, 100, position="chain"),
        line(2, 30, position="rear_brake"),
        line(3, 4, position="cassette"),
        line(4, 1001),
        line(5, 6, position="saddle"),
    )
    second = visit("2026-04-10", GULL, "j2", found("squeal"), found("skipping", "chain"),
                   worked(25), lines=lines)  # fmt: skip
    book = book_of(tmp_path, registered(GULL), wages("2026-01-01", mia=6000), first, second)
    rows = {row.key: row.unpaid for row in faults_of(book, asker=OWNER).pareto("system").rows}
    assert {name: (one.minutes, one.minutes_minor) for name, one in rows.items()} == {
        "rear_brake": (13, 1250), "drivetrain": (12, 1250),
    }  # fmt: skip
    assert rows["rear_brake"].parts_minor + rows["drivetrain"].parts_minor == 1141
    assert rows["rear_brake"].parts_minor in (30 + 500 + 3, 30 + 501 + 3)


@given(
    st.lists(st.tuples(st.integers(0, 10_000), st.integers(0, 5)), min_size=1, max_size=8),
    st.randoms(use_true_random=False),
)
def test_what_is_shared_out_adds_up(groups: list[tuple[int, int]], order: object) -> None:
    """Every group with rows gives out all it has, in shares that differ by one at most."""
    totals = np.array([total for total, _ in groups], dtype=np.int64)
    group = np.repeat(np.arange(len(groups)), [count for _, count in groups])
    order.shuffle(group)  # type: ignore[attr-defined]  # a Random
    shares = shared_equally(totals, group)
    for place, (total, count) in enumerate(groups):
        mine = shares[group == place]
        assert mine.sum() == (total if count else 0)
        assert not count or mine.max() - mine.min() <= 1


def test_joined_tags_share_one_bill(tmp_path: Path) -> None:
    """A job under the second tag answers one under the first, with what it took."""
    first = visit("2026-03-01", GULL, "j1", found("squeal"), cured("squeal"))
    second = visit("2026-04-10", TERN, "j2", found("squeal"), worked(25))
    link = event("2026-04-11", "bike_linked", None,
                 {"first": {"bike": GULL}, "second": {"bike": TERN}})  # fmt: skip
    book = book_of(tmp_path, registered(GULL, TERN), first, second, [link])
    assert of_jobs(book)["j2"].minutes == 25
