"""Earnings through the app's entry point: margins, what if, months, the bench, advice."""

from __future__ import annotations

from pathlib import Path

import paid_book
import pytest
import small_book
from app_page import Opener, shown
from paid_book import AS_AT
from test_faults_page import rows_with, words_of


@pytest.fixture(scope="module")
def paid(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of fourteen closed jobs and one open."""
    path = tmp_path_factory.mktemp("paid") / "book"
    paid_book.paid_book(path)
    return path


def test_the_answer_comes_first_in_three_figures(paid: Path, opened: Opener) -> None:
    """By hand: 755.00 charged, less 25.00 of parts, 384.00 of wages and 183.99 of fixed charge."""
    words = words_of(opened(paid, page="earnings", as_at=AS_AT))
    assert "€755.00 charged net of tax, €162.01 (21 %) left after parts" in words
    assert "€11,807.80 of fixed cost that no hour carried, the shop as a whole lost" in words
    assert "the shop as a whole lost €11,645.79" in words
    assert "Left after the costs jobs carried €162.01 21 % of €755.00 charged" in words
    assert "it takes €47.50 to break even" in words
    assert "Fixed cost no hour carried €11,807.80" in words


def test_a_tier_below_break_even_is_named_and_drawn(paid: Path, opened: Opener) -> None:
    """630.00 in 15 hours are 42.00 an hour, below 47.50; three quick checks are too few."""
    app = opened(paid, page="earnings", as_at=AS_AT)
    words = words_of(app)
    rows = {row["row"]: row for row in rows_with(app, "row", "earned")}
    assert rows["full_service"]["earned"] == pytest.approx(42.0)
    assert rows["full_service"]["value"] == pytest.approx(18.0)
    assert rows["quick_check"]["is_few"]
    assert "Full service earns less than the €47.50 an hour it takes to break even" in words
    assert "€68.25" in words, "the lowest worthwhile price: (47.50 × 15 − 630) / 10 more"
    assert "too few to judge: 3 of 8 jobs" in words


def test_a_tier_lists_its_jobs_least_margin_first(paid: Path, opened: Opener) -> None:
    """The longest service left least; each job leads to its steps on the page of time."""
    page = shown(opened(paid, page="earnings", as_at=AS_AT, row="full_service"))
    assert page.index("service-9") < page.index("service-8") < page.index("service-1")
    assert f'href="time?as_at={AS_AT}&amp;job=service-9"' in page


def test_sliders_move_the_figures_and_the_address(paid: Path, opened: Opener) -> None:
    """Ten per cent on 600.00 of services is 60.00 more; nobody stays away in it."""
    app = opened(paid, page="earnings", as_at=AS_AT)
    assert "The margin stays at €162.01." in words_of(app)
    app.slider(key="what_if-full_service-0").set_value(10).run()
    assert app.query_params["what_if"] == "full_service:10:0"
    words = words_of(app)
    assert "The margin would have been €222.01: €60.00 more." in words
    assert "Nobody stays away" in words


def test_changes_stand_in_the_address(paid: Path, opened: Opener) -> None:
    """An address with changes shows them, and what cannot be changed so is left alone."""
    app = opened(paid, page="earnings", as_at=AS_AT, what_if="full_service:10:0,odd:5:5")
    assert app.slider(key="what_if-full_service-0").value == 10
    assert "The margin would have been €222.01" in words_of(app)


def test_advice_that_came_back_dearer_leads_to_its_bike(paid: Path, opened: Opener) -> None:
    """A chain for 20.00 turned down came to 50.00."""
    app = opened(paid, page="earnings", as_at=AS_AT)
    words = words_of(app)
    assert "Advice not taken came back dearer 1 time: €30.00 more" in words
    assert f'href="bike?tag={paid_book.TAGS[5]}&amp;as_at={AS_AT}"' in shown(app)


def test_the_bench_says_what_is_booked_ahead(paid: Path, opened: Opener) -> None:
    """One open service of 60 minutes in 20 sellable hours a week."""
    app = opened(paid, page="earnings", as_at=AS_AT)
    words = words_of(app)
    assert "0.1 weeks booked ahead" in words
    weeks = rows_with(app, "starts_on", "charged")
    assert sum(week["bench"] for week in weeks) == pytest.approx(16.0)
    assert "No job was held in this" in words


def test_every_table_is_offered_as_files(paid: Path, opened: Opener) -> None:
    """Tiers, what if, months, weeks, open jobs, advice and the jobs of a tier, each twice."""
    app = opened(paid, page="earnings", as_at=AS_AT, row="quick_check")
    keys = {button.key for button in app.get("download_button")}
    names = ("earnings-by-tier", "what-if", "earnings-by-month", "bench-weeks", "open-jobs",
             "advice-dearer", "earnings-jobs-quick_check")  # fmt: skip
    for name in names:
        assert {f"file-{name}-CSV", f"file-{name}-XLSX"} <= keys, keys


def test_an_empty_book_says_how_to_begin(tmp_path: Path, opened: Opener) -> None:
    """Where no job was closed the page says so, and what to tell."""
    small_book.empty_book(tmp_path / "book")
    words = words_of(opened(tmp_path / "book", page="earnings"))
    assert "No job was closed in these days" in words
    assert "lockring record terms_set" in words
