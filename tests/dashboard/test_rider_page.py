"""The rider's page on the bike's own page: offered for the newest visit, made when asked for."""

from __future__ import annotations

import io
from datetime import UTC, datetime
from pathlib import Path

import pikepdf
from app_page import Opener, shown
from small_book import NEW_TAG, TAG
from streamlit.testing.v1 import AppTest

from dashboard.entries import Entry
from dashboard.rider_page import LABEL, newest_visit, page_of
from ledger.book import Book


def offered(app: AppTest) -> list[str]:
    shown(app)
    return [each.proto.label for each in app.get("download_button")]


def opening(job: str, day: int, *, is_struck: bool = False) -> Entry:
    at = datetime(2026, 3, day, tzinfo=UTC)
    return Entry(
        job, day, "job_opened", at, job, "ada", None, None, None, "", "", is_struck, "", {}
    )


def test_the_bikes_page_offers_the_riders_page(quay: Path, opened: Opener) -> None:
    """A bike with a visit has the button; one that was never booked in has none."""
    assert LABEL in offered(opened(quay, "bike", tag=TAG))
    assert LABEL not in offered(opened(quay, "bike", tag=NEW_TAG))


def test_before_the_first_visit_there_is_nothing_to_offer(quay: Path, opened: Opener) -> None:
    """As at a day before the first visit, the page of that day has no button."""
    registered = min(event.occurred_at for event in Book.open(quay).bike_events(TAG))
    day = registered.date().isoformat()
    app = opened(quay, "bike", tag=TAG, as_at=day)
    is_visited = any(
        event.kind == "job_opened" and event.occurred_at.date() == registered.date()
        for event in Book.open(quay).bike_events(TAG)
    )
    assert (LABEL in offered(app)) == is_visited


def test_the_newest_visit_by_a_day_is_meant() -> None:
    """A later visit and a struck one are not."""
    visits = [opening("a", 1), opening("b", 5), opening("c", 7, is_struck=True), opening("d", 9)]
    found = newest_visit(visits, datetime(2026, 3, 8, tzinfo=UTC))
    assert found is not None and found.job == "b"
    assert newest_visit(visits, datetime(2026, 2, 1, tzinfo=UTC)) is None


def test_what_is_downloaded_is_one_sheet(quay: Path) -> None:
    """The button's file is the page of that visit, made from the book as it stands."""
    book = Book.open(quay)
    pdf = pikepdf.open(io.BytesIO(page_of(book, TAG, "job-1")))
    assert len(pdf.pages) == 1
    with pdf.open_metadata() as told:
        assert TAG in str(told["dc:title"])
