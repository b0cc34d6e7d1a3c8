"""Time through the app's entry point: the answer, the rows, the jobs behind them, one job."""

from __future__ import annotations

from pathlib import Path

import paid_book
import pytest
import small_book
from app_page import Opener, shown
from paid_book import AS_AT, ON_THE_BENCH
from test_faults_page import rows_with, words_of

from ledger.book import Book
from ledger.figures.labour_shapes import LABOUR_BY


@pytest.fixture(scope="module")
def paid(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book of fourteen closed jobs and one open."""
    path = tmp_path_factory.mktemp("paid") / "book"
    paid_book.paid_book(path)
    return path


def test_the_answer_comes_first_in_three_figures(paid: Path, opened: Opener) -> None:
    """By hand: ratios 1.0 to 1.9 and three of 1.0; the middle one of 13 is 1.3, 7 are over 1.2."""
    words = words_of(opened(paid, page="time", as_at=AS_AT))
    assert "The middle one of 13 jobs took 30 % more than quoted" in words
    assert "Worked over quoted 1.30 ×" in words
    assert "Over by more than 20 % 54 %" in words
    assert "At the bench 16 h 0.5 h found later, 0 h unpaid" in words
    assert "Furthest over: full service; half took over 1.45 × the quote" in words


@pytest.mark.parametrize("by", LABOUR_BY)
def test_every_way_of_comparing_is_drawn(paid: Path, opened: Opener, by: str) -> None:
    """Rows with a ratio are drawn, months in order; nothing is nonsense, and nobody is ranked."""
    app = opened(paid, page="time", as_at=AS_AT, by=by)
    words = words_of(app)
    rows = rows_with(app, "row", "quarter_low")
    medians = {
        "tier": [("full_service", 1.45), ("quick_check", 1.0)],
        "task": [("brakes", 1.45), ("drivetrain", 1.45), ("inspection", 1.0)],
        "month": [("2025-04", 1.45), ("2025-05", 1.0)],
        "kind": [("city", 1.3)],
    }
    assert [(row["row"], pytest.approx(row["median"])) for row in rows] == medians[by]
    assert "ada" not in words


def test_a_row_lists_its_jobs_furthest_over_first(paid: Path, opened: Opener) -> None:
    """The tenth service took 114 minutes of 60; each job leads to its own steps."""
    page = shown(opened(paid, page="time", as_at=AS_AT, row="full_service"))
    assert page.index("service-9") < page.index("service-8") < page.index("service-1")
    assert f'href="time?as_at={AS_AT}&amp;job=service-9"' in page
    assert "114\u00a0min" in page
    assert "1.90\u00a0×" in page


def test_a_job_is_shown_step_by_step_in_minutes_and_money(paid: Path, opened: Opener) -> None:
    """By hand: 60 quoted and 30 found later are 90 minutes, and 60.00 and 30.00 are 90.00."""
    app = opened(paid, page="time", as_at=AS_AT, job="service-0")
    words = words_of(app)
    assert "Quoted 60 minutes, worked 90 minutes; quoted €60.00, charged €90.00." in words
    steps = rows_with(app, "label", "is_whole")
    assert [row["said"] for row in steps] == [
        "60\u00a0min", "0\u00a0min", "0\u00a0min", "+\u206030\u00a0min", "90\u00a0min"
    ]  # fmt: skip
    assert "Brakes found after the first quote yes" in words
    assert "Bike 7K3M9Q00" in words


def test_an_unknown_job_is_said(paid: Path, opened: Opener) -> None:
    """A job nobody knows is said, and its name is no markup."""
    page = shown(opened(paid, page="time", as_at=AS_AT, job="<b>odd</b>"))
    assert "There is no such job" in page
    assert "<b>odd</b>" not in page


def test_days_narrow_the_figures(paid: Path, opened: Opener) -> None:
    """In May there were three quick checks alone: too few to judge."""
    asked = {"since": "2025-05-01", "until": "2025-05-31"}
    words = words_of(opened(paid, page="time", as_at=AS_AT, **asked))
    assert "3 jobs closed, 3 with minutes quoted and worked: too few to judge" in words
    assert "Worked over quoted – too few jobs to judge" in words
    nothing = words_of(
        opened(paid, page="time", as_at=AS_AT, since="2024-01-01", until="2024-02-01")
    )
    assert "No job was closed in these days" in nothing


def test_an_empty_book_says_how_to_begin(tmp_path: Path, opened: Opener) -> None:
    """Where no job was closed the page says so, and how minutes are recorded."""
    small_book.empty_book(tmp_path / "book")
    words = words_of(opened(tmp_path / "book", page="time", clock="1"))
    assert "No job was closed in these days" in words
    assert "lockring clock log" in words
    assert "Nobody works here yet" in words


def test_every_table_is_offered_as_files(paid: Path, opened: Opener) -> None:
    """Rows, jobs, found-later work and variances: each as CSV and as XLSX."""
    app = opened(paid, page="time", as_at=AS_AT, row="full_service")
    keys = {button.key for button in app.get("download_button")}
    for name in ("time-by-tier", "time-jobs-tier-full_service", "found-later", "variances-by-tier"):
        assert {f"file-{name}-CSV", f"file-{name}-XLSX"} <= keys, keys


def test_a_clock_is_started_and_stopped_on_the_page(tmp_path: Path, opened: Opener) -> None:
    """A press starts the clock named in the form, another stops it; both are in the book."""
    paid_book.paid_book(tmp_path / "book", opened=paid_book.yesterday())
    app = opened(tmp_path / "book", page="time", clock="1")
    app.button(key="clock_press").click().run()
    assert "Say who, on which bike, and at what." in words_of(app)
    app.selectbox(key="clock_task").select("brakes")
    app.button(key="clock_press").click().run()
    assert "1 clock runs" in words_of(app)
    assert "ada on brakes, quoted, bike" in words_of(app)
    stop = next(button for button in app.button if str(button.key).startswith("stop-"))
    stop.click().run()
    assert "The clock is stopped." in words_of(app)
    kinds = [e.kind for e in Book.open(tmp_path / "book").bike_events(ON_THE_BENCH)]
    assert kinds[-2:] == ["labour_started", "labour_stopped"]
