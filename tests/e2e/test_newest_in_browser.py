"""A page left open learns of what somebody else records, in a real browser."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime, timedelta

import home_book
import pytest
from playwright.sync_api import Browser, expect
from real_browser import in_browser, served

from ledger.book import Book

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_1")]

NEW, NEXT = "5H2NP7WD", "5H2NP7WK"
NOTE = ".lk-newer button"


@pytest.fixture(scope="module")
def own_shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Book]]:
    """A server over a shop's book that is written to, and the book; each test has its own bike."""
    folder = tmp_path_factory.mktemp("newest")
    book = home_book.home_book(folder / "book")
    with served(folder / "book", folder) as address:
        yield address, Book.open(book.path)


def booked_in(book: Book, bike: str, job: str) -> None:
    at = (datetime.now(UTC) - timedelta(minutes=5)).isoformat()
    told = {"bike": bike, "actor": "ada", "occurred_at": at}
    drafts = [{"kind": "job_opened", "job": job, "data": {"tier": "full_service"}, **told}]
    if bike not in book.bikes():
        drafts.insert(0, {"kind": "bike_registered", "data": {"make": "Kestrel"}, **told})
    book.append(drafts)


def test_home_shows_what_was_recorded_elsewhere(
    chromium: Browser, own_shop: tuple[str, Book]
) -> None:
    """A list that hangs on the wall is drawn anew by itself; nobody presses anything."""
    address, book = own_shop
    with in_browser(chromium, 1280, "light") as seen:
        seen.open(address, until=".lk-jobs")
        assert seen.page.locator(f"a[href*='{NEW}']").count() == 0
        booked_in(book, NEW, "J-new")
        expect(seen.page.locator(f"a[href*='{NEW}']").first).to_be_visible(timeout=15_000)
        seen.settle()
        assert seen.page.locator(NOTE).count() == 0


def test_another_page_offers_to_be_drawn_anew(
    chromium: Browser, own_shop: tuple[str, Book]
) -> None:
    """What somebody reads does not move under their eyes: a press brings it, and the offer goes."""
    address, book = own_shop
    with in_browser(chromium, 390, "dark") as seen:
        page = seen.page
        page.goto(f"{address}/bikes")
        page.wait_for_selector(".lk-drawn", state="attached")
        seen.settle()
        expect(page.locator(NOTE)).to_have_count(0)
        booked_in(book, NEXT, "J-one")
        expect(page.locator(NOTE)).to_be_visible(timeout=15_000)
        assert page.get_by_text(NEXT).count() == 0
        page.locator(NOTE).click()
        expect(page.get_by_text(NEXT).first).to_be_visible(timeout=15_000)
        expect(page.locator(NOTE)).to_have_count(0)
        booked_in(book, NEXT, "J-two")
        expect(page.locator(NOTE)).to_be_visible(timeout=15_000)
