"""Home in a real browser: three people find their answer from it in at most three clicks."""

from __future__ import annotations

from pathlib import Path

import home_book
import pytest
from home_book import ON_THE_BENCH, WAITING
from kept_screens import keep
from playwright.sync_api import Browser, Page, expect
from real_browser import Watched, in_browser, served
from signed_in import page_of
from test_bike_in_browser import LOOKS, _overflowing
from until import until

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_1")]

BENCH = "2 bikes on the bench, 1 past its promised time"
DUE = "To call: 1 overdue"
WAITS = (
    "1 unsafe finding open",
    "1 job past its promised time",
    "1 clock left running",
    "1 quote without an answer",
    "1 pressing advice without an answer",
)
MOST_CLICKS = 3
BAND = """() => {
    const band = getComputedStyle(document.querySelector(".stApp"), "::after");
    return band.content.includes("No line to the book") ? band.visibility : "hidden";
}"""
"""Whether the band that says the line is lost is to be seen."""
PRESSED = ".lk-jobs a, .lk-waits a, .lk-month a, .lk-ways a, summary"


class Walk:
    """Somebody who sets out from home, and whose clicks are counted."""

    def __init__(self, seen: Watched, address: str) -> None:
        self.seen, self.page, self.clicks = seen, seen.page, 0
        at_home(seen, address)

    def click(self, name: str, within: str = ".stApp") -> None:
        """Click a link or a summary by its words."""
        one = self.page.locator(within).locator("a, summary").filter(has_text=name)
        one.locator("visible=true").first.click()
        self.clicks += 1

    def arrives(self, words: str, within: str = ".stApp") -> None:
        """See the answer, in at most three clicks."""
        answer = self.page.locator(within).get_by_text(words).first
        expect(answer).to_be_visible(timeout=30_000)
        self.seen.settle()
        assert self.clicks <= MOST_CLICKS


def at_home(seen: Watched, address: str) -> Page:
    """Open home, and wait until who is due stands there: it comes last."""
    seen.page.goto(address)
    expect(seen.page.get_by_role("heading", name=DUE)).to_be_visible(timeout=60_000)
    seen.settle()
    return seen.page


def test_home_says_what_is_on_the_bench_and_what_waits(shop: str, watched: Watched) -> None:
    """Jobs with who is on them, what needs a decision, and the three figures of the month."""
    page = at_home(watched, shop)
    expect(page.get_by_role("heading", name=BENCH)).to_be_visible()
    jobs = page.locator(".lk-jobs li")
    expect(jobs).to_have_count(2)
    expect(jobs.nth(0)).to_contain_text("past its time")
    expect(jobs.nth(0)).to_contain_text("ada on brakes, clock forgotten since")
    expect(jobs.nth(1)).to_contain_text("waits for part")
    expect(jobs.nth(1)).to_contain_text("tom on brakes since today")
    for waits in WAITS:
        expect(page.locator(".lk-waits").get_by_text(waits)).to_be_visible()
    expect(page.locator(".lk-month dt")).to_have_count(3)


def test_each_figure_leads_to_its_rows(shop: str, watched: Watched) -> None:
    """What waits is one click away, row by row, and home is one click back."""
    page = at_home(watched, shop)
    for waits in WAITS:
        page.locator(".lk-waits a").filter(has_text=waits).click()
        expect(page.get_by_role("heading", name=waits)).to_be_visible(timeout=30_000)
        expect(page.locator(f".lk-rows a[href*='{ON_THE_BENCH}']")).to_have_count(1)
        page.locator(".lk-path a").filter(has_text="Home").click()
        expect(page.get_by_role("heading", name=BENCH)).to_be_visible(timeout=30_000)


def test_the_owner_finds_what_a_full_service_earns_an_hour(shop: str, watched: Watched) -> None:
    """From home to the figure of the tier."""
    walk = Walk(watched, shop)
    walk.click("Earnings", ".lk-ways")
    walk.arrives("Full service", ".lk-table")
    row = watched.page.locator(".lk-table tr").filter(has_text="Full service").first
    expect(row).to_contain_text("€")


def test_the_owner_finds_the_jobs_behind_the_month(shop: str, watched: Watched) -> None:
    """A figure of the month leads to the page it is from, over the same days."""
    walk = Walk(watched, shop)
    watched.page.locator(".lk-month a").first.click()
    walk.clicks += 1
    walk.page.wait_for_url("**/earnings?since=*")


def test_the_mechanic_finds_a_bikes_whole_history(shop: str, chromium: Browser) -> None:
    """On a phone, from the bench to everything that happened to a bike on it."""
    with in_browser(chromium, 390, "dark") as seen:
        walk = Walk(seen, shop)
        job = walk.page.locator(".lk-jobs li").filter(has_text="waits for part")
        job.get_by_role("link", name="History").click()
        walk.clicks += 1
        walk.arrives("Everything that happened")
        assert f"bike?tag={WAITING}" in walk.page.url


def test_the_desk_finds_whom_to_call(shop: str, watched: Watched) -> None:
    """From home to the name, the part and the ready message."""
    walk = Walk(watched, shop)
    expect(watched.page.locator(".lk-waits").get_by_text("Tilde Moen")).to_be_visible()
    walk.click("Whom to call, and about what")
    walk.arrives("Tilde Moen, tilde@moen.invalid", ".lk-calls")


def test_the_desk_finds_who_runs_chains_too_long(shop: str, chromium: Browser) -> None:
    """On a phone the page stands under More."""
    with in_browser(chromium, 390, "light") as seen:
        walk = Walk(seen, shop)
        walk.click("More", ".lk-ways")
        walk.click("Chains", ".lk-more")
        walk.arrives("Tilde Moen")


def test_the_pages_are_reached_by_keyboard_on_a_phone(shop: str, chromium: Browser) -> None:
    """Tab reaches More, Enter unfolds it, and Tab goes on to the pages in it; little is covered."""
    with in_browser(chromium, 390, "light") as seen:
        page = at_home(seen, shop)
        bar = page.locator(".st-key-masthead").bounding_box()
        assert bar and bar["height"] <= 900 / 4
        page.locator(".lk-more summary").focus()
        page.keyboard.press("Enter")
        page.keyboard.press("Tab")
        focused = page.evaluate("document.activeElement.closest('.lk-more a')?.textContent")
        assert focused == "Bikes"
        assert page.evaluate("document.documentElement.scrollWidth") <= 390


@pytest.mark.parametrize("width", [390, 640, 700, 768, 800, 1280])
def test_the_bar_ends_with_the_page(shop: str, chromium: Browser, width: int) -> None:
    """The field to find a bike by stays within its column, and never stands a third row below."""
    with in_browser(chromium, width, "light") as seen:
        page = at_home(seen, shop)
        bar = page.locator(".st-key-masthead").bounding_box()
        find = page.locator(".st-key-masthead [data-testid=stTextInput]").bounding_box()
        assert bar and find
        assert find["x"] + find["width"] <= bar["x"] + bar["width"]
        assert width < 768 or find["y"] - bar["y"] < 100


def test_a_lost_line_is_said_in_our_words(chromium: Browser, tmp_path: Path) -> None:
    """Where the server is gone a band says so and what to look at; no notice of the framework's."""
    home_book.home_book(tmp_path / "book")
    with served(tmp_path / "book", tmp_path) as address:
        page = page_of(chromium, theme="dark")
        page.goto(f"{address}/bikes")
        expect(page.locator(".lk-list")).to_be_visible(timeout=30_000)
        assert page.evaluate(BAND) == "hidden"
    until(page, f"({BAND})() === 'visible'")
    expect(page.get_by_test_id("stDialog")).not_to_be_visible()
    page.close()


def test_home_fits_its_screen(shop: str, watched: Watched, tmp_path: Path) -> None:
    """Turned to each width nothing runs off the side, and what is pressed is 44 px high."""
    watched.look(*LOOKS[0])
    page = at_home(watched, shop)
    for width, theme in watched.looks(LOOKS):
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert _overflowing(watched) == []
        for one in page.locator(PRESSED).locator("visible=true").all():
            box = one.bounding_box()
            assert box and (not box["height"] or box["height"] >= 43.5), one.inner_text()
        whole = page.locator("[data-testid='stMainBlockContainer']").bounding_box()
        assert whole
        page.set_viewport_size({"width": width, "height": min(int(whole["height"]), 4000)})
        watched.settle()
        name = f"home-{width}-{theme}.png"
        keep(page.screenshot(path=tmp_path / name), name)
