"""Time, earnings and quotes in a real browser: by hand and key, to a file and into the book."""

from __future__ import annotations

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import openpyxl
import paid_book
import pytest
from kept_screens import keep
from paid_book import AS_AT, ON_THE_BENCH
from playwright.sync_api import Locator, Page, expect
from real_browser import Watched, served
from test_faults_in_browser import HOLDS_ITS_CHART, _overflowing, arrived, opened
from until import until

from ledger.book import Book

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_2")]

DAY = f"as_at={AS_AT}"
RESTS = "What these figures rest on"
SERVICES = "Full service: 10 jobs, furthest over first"
JOB = "Quoted 60 minutes, worked 114 minutes; quoted €60.00, charged €60.00."
PART = "Service a part, or fit a new one?"
NARROW, MIDDLE, WIDE = (390, "light"), (768, "dark"), (1280, "light")
PAGES = {
    "time": ("time?row=full_service", RESTS, (NARROW, WIDE)),
    "time_month": ("time?by=month", RESTS, (MIDDLE,)),
    "time_job": (
        "time?job=service-0", "Every line that was quoted, and its answer", (MIDDLE, WIDE)
    ),
    "earnings": ("earnings?what_if=full_service:10:-5", RESTS, (NARROW, MIDDLE, WIDE)),
    "quote": (
        "quote?tier=full_service&tasks=brakes:45&price=90&sure=1", PART, (NARROW, WIDE)
    ),
}  # fmt: skip
"""What the address asks for, the title that stands last, and how it is looked at, by name."""
PRESSED = """.lk-choices a, .lk-sums a, [data-testid='stBaseButton-secondary'],
    [data-testid='stDownloadButton'] button, [data-testid='stNumberInputContainer'],
    [data-testid='stExpander'] summary, [data-testid='stDateInputField']"""
"""What is pressed on these pages."""


@dataclass(frozen=True)
class Served:
    """A book, and the address of the server over it."""

    book: Path
    address: str


@pytest.fixture(scope="module")
def paid(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """A server over a book of fourteen closed jobs and one that is open since yesterday."""
    folder = tmp_path_factory.mktemp("paid")
    paid_book.paid_book(folder / "book", opened=paid_book.yesterday())
    with served(folder / "book", folder) as address:
        yield Served(folder / "book", address)


def rows(page: Page, card: str) -> Locator:
    """Give what is pressed of each row of a chart: it lies over the whole of it."""
    return page.locator(f".st-key-reading-{card} g.mark-rect").last.locator("path")


def test_from_a_row_to_its_jobs_to_one_job_and_back(paid: Served, watched: Watched) -> None:
    """A press on a row lists its jobs, one on a job shows its steps, and back goes back."""
    page = opened(watched, f"{paid.address}/time?{DAY}", RESTS)
    rows(page, "spread-tier").first.click()
    arrived(watched, SERVICES)
    assert "row=full_service" in page.url
    page.get_by_role("link", name="service-9").click()
    arrived(watched, JOB)
    assert "job=service-9" in page.url
    words = page.locator(".st-key-reading-steps-minutes svg text").all_text_contents()
    assert "114\u00a0min" in words
    page.go_back()
    arrived(watched, SERVICES)


def test_the_same_way_by_keyboard(paid: Served, watched: Watched) -> None:
    """The list by the chart chooses a tier, Enter opens a job, and a slider moves by its keys."""
    page = opened(watched, f"{paid.address}/time?{DAY}", RESTS)
    page.get_by_role("combobox", name="Jobs of a tier").focus()
    page.keyboard.type("full")
    page.keyboard.press("Enter")
    arrived(watched, SERVICES)
    page.get_by_role("link", name="service-9").focus()
    page.keyboard.press("Enter")
    arrived(watched, JOB)
    page = opened(watched, f"{paid.address}/earnings?{DAY}", RESTS)
    page.get_by_role("slider", name="Price of full service").focus()
    for said in ("€168.01: €6.00", "€174.01: €12.00", "€180.01: €18.00"):
        page.keyboard.press("ArrowRight")
        expect(page.get_by_text(f"The margin would have been {said} more.")).to_be_visible()
        watched.settle()
    assert "what_if=full_service" in page.url
    page.reload()
    expect(page.get_by_text(f"The margin would have been {said} more.")).to_be_visible()


def test_a_clock_started_and_stopped_on_the_page_is_in_the_book(
    paid: Served, watched: Watched
) -> None:
    """Start, pause, resume and stop, and minutes entered afterwards: each is an event."""
    page = opened(watched, f"{paid.address}/time", "No job was closed in these days")
    page.get_by_text("Start a clock, or enter minutes").click()
    page.get_by_role("combobox", name="Task").click()
    page.keyboard.type("gears")
    page.keyboard.press("Enter")
    watched.settle()
    for press, said in (
        ("Start the clock", "1 clock runs"),
        ("Pause", "1 clock is paused"),
        ("Resume", "1 clock runs"),
        ("Stop", "The clock is stopped."),
    ):
        page.get_by_role("button", name=press, exact=True).click()
        expect(page.locator(".st-key-clocks").get_by_text(said)).to_be_visible()
        watched.settle()
    page.get_by_label("Minutes, where entered afterwards").fill("25")
    page.keyboard.press("Enter")
    page.get_by_role("button", name="Enter 25 minutes").click()
    expect(page.get_by_text("The minutes are in the book.")).to_be_visible()
    events = list(Book.open(paid.book).bike_events(ON_THE_BENCH))[-5:]
    started = ["labour_started", "labour_stopped"]
    assert [event.kind for event in events] == [*started, *started, "labour_logged"]
    assert {events[0].data.task, events[2].data.task, events[4].data.task} == {"gears"}
    assert events[4].data.minutes == 25


def test_a_download_gives_the_table(paid: Served, watched: Watched, tmp_path: Path) -> None:
    """Both files of a row's jobs hold every job, figures as figures, as many as are said."""
    page = opened(watched, f"{paid.address}/time?row=full_service&{DAY}", SERVICES)
    under = page.locator(".st-key-files-time-jobs-tier-full_service")
    for label in ("CSV", "XLSX"):
        with page.expect_download() as download:
            under.get_by_role("button", name=label).click()
        download.value.save_as(tmp_path / download.value.suggested_filename)
    name = "time-jobs-tier-full_service"
    with (tmp_path / f"{name}.csv").open(newline="", encoding="utf-8") as file:
        told = list(csv.reader(file))
    assert told[0][:2] == ["Job", "Bike"]
    assert [row[0] for row in told[1:]] == [f"service-{number}" for number in range(9, -1, -1)]
    sheet = openpyxl.load_workbook(tmp_path / f"{name}.xlsx").active
    worked = told[0].index("Worked on it (min)") + 1
    assert [sheet.cell(row, worked).value for row in (2, 11)] == [114, 60]


@pytest.mark.parametrize("name", PAGES)
def test_the_pages_fit_their_screen(
    paid: Served, watched: Watched, tmp_path: Path, name: str
) -> None:
    """From the address alone all is drawn, nothing runs off the side; all is 44 px to press.

    Source: WCAG 2.2, target size (enhanced).
    """
    asked, last, looks = PAGES[name]
    watched.look(*looks[0])
    page = opened(watched, f"{paid.address}/{asked}&{DAY}", last)
    for width, theme in watched.looks(looks):
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert _overflowing(page) == []
        for one in page.locator(PRESSED).locator("visible=true").all():
            box = one.bounding_box()
            assert box and box["height"] >= 43.5, (one.inner_text(), box)
        whole = page.locator("[data-testid='stMainBlockContainer']").bounding_box()
        assert whole
        page.set_viewport_size({"width": width, "height": min(int(whole["height"]), 5000)})
        watched.settle()
        until(page, HOLDS_ITS_CHART)
        file = f"{name}-{width}-{theme}.png"
        keep(page.screenshot(path=tmp_path / file), file)


def test_an_empty_book_says_what_to_record(empty: str, watched: Watched) -> None:
    """Each page stands, says that there is nothing yet, and how to begin."""
    for name, title in (
        ("time", "No job was closed in these days"),
        ("earnings", "No job was closed in these days"),
        ("quote", "What is to be done?"),
    ):
        page = opened(watched, f"{empty}/{name}", title)
        assert page.locator("svg.marks").count() == 0
