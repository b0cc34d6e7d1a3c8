"""Wear, due and chains in a real browser: deep linked, walked through, copied, printed."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
import worn_book
from kept_screens import keep
from playwright.sync_api import Browser, Locator, expect
from real_browser import Watched, in_browser, served
from worn_book import AS_AT, TAGS

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_1")]

LATE = TAGS[9]
SERIES = f"{LATE}-c%2Felongation"
DAY = f"as_at={AS_AT}"
PAGES = (
    ("wear", f"/wear?{DAY}", "Readings left out"),
    ("wear_family", f"/wear?family=chain%20elongation&{DAY}", "How long they last"),
    ("wear_part", f"/wear?series={SERIES}&{DAY}", "Its readings"),
    ("due", f"/due?within=365&{DAY}", "On the bench"),
    ("chains", f"/chains?{DAY}", "What these figures are conditional on"),
)
"""(name, address, the title that stands last on the page)."""
SCREENS = ((390, "light"), (768, "dark"), (1280, "light"))


@pytest.fixture(scope="module")
def worn(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a server over a book of ten bikes."""
    folder = tmp_path_factory.mktemp("worn")
    worn_book.ten_bikes_book(folder / "book")
    with served(folder / "book", folder) as address:
        yield address


def opened(seen: Watched, address: str, last: str) -> None:
    """Go to an address and wait until the title that comes last, and every chart, is there."""
    seen.page.goto(address)
    arrived(seen, last)
    seen.settle()


def arrived(seen: Watched, title: str) -> None:
    """Wait until a title stands there; a page is loaded whole, and may have to be worked out."""
    title_there = seen.page.get_by_role("heading", name=title, exact=True)
    expect(title_there).to_be_visible(timeout=30_000)


def test_from_the_masthead_to_one_part_and_on_to_its_bike(worn: str, watched: Watched) -> None:
    """Links lead from any page to wear, to a family, to a part, and to the part's bike."""
    page = watched.page
    opened(watched, f"{worn}/chains?{DAY}", "What these figures are conditional on")
    page.get_by_role("navigation", name="Pages").get_by_role("link", name="Wear").click()
    arrived(watched, "How fast they usually wear")
    page.get_by_role("navigation", name="Sorts of part").get_by_role(
        "link", name="Chain wear"
    ).click()
    arrived(watched, "How long they last")
    page.locator(f".lk-parts a[href*='{LATE}']").click()
    arrived(watched, "Chain, chain wear")
    page.get_by_role("link", name=f"Bike {LATE}", exact=True).click()
    arrived(watched, "Varde Tourer 28")
    assert f"/bike?tag={LATE}" in page.url
    expect(
        page.get_by_role("link", name="How its parts wear, and when they are due")
    ).to_be_visible()


def test_a_deep_link_draws_the_part_and_survives_a_reload(worn: str, watched: Watched) -> None:
    """The address alone gives the part with its limit, band, line and readings drawn."""
    address = f"{worn}/wear?family=chain%20elongation&series={SERIES}&tag={LATE}&{DAY}"
    for _ in range(2):
        opened(watched, address, "Its readings")
        card = watched.page.locator(".st-key-reading-part")
        expect(card.locator("path[stroke-dasharray='5,3']")).to_have_count(1)
        expect(card.locator(".mark-area path")).to_have_count(2)
        expect(card.locator(".mark-symbol path")).to_have_count(4)


def test_the_message_is_there_to_copy(worn: str, watched: Watched) -> None:
    """Opened by keyboard, the message is a text of its own that can be taken whole."""
    opened(watched, f"{worn}/due?{DAY}", "On the bench")
    page = watched.page
    summary = page.locator(".lk-message summary")
    expect(summary).to_have_count(1)
    summary.focus()
    page.keyboard.press("Enter")
    message = page.get_by_role("textbox", name="Message")
    expect(message).to_be_visible()
    message.focus()
    page.keyboard.press("ControlOrMeta+a")
    taken = message.evaluate("e => e.value.slice(e.selectionStart, e.selectionEnd)")
    assert taken.startswith("Hello Tilde Moen,\n")
    assert taken.count("\n") >= 4


def test_the_calls_print_black_on_white(worn: str, chromium: Browser) -> None:
    """On paper, from a dark screen too: no navigation, no buttons, and every call whole."""
    with in_browser(chromium, 1280, "dark") as seen:
        opened(seen, f"{worn}/due?within=365&{DAY}", "On the bench")
        page = seen.page
        calls = page.locator(".lk-call")
        count = calls.count()
        page.emulate_media(media="print")
        for gone in ("Pages", "Due within", "In order"):
            expect(page.locator(f"nav[aria-label='{gone}']")).to_be_hidden()
        for folded in page.locator("details").all():
            expect(folded).to_be_hidden()
        style = "e => [getComputedStyle(e).color, getComputedStyle(e).backgroundColor]"
        assert calls.nth(0).evaluate(style) == ["rgb(0, 0, 0)", "rgb(255, 255, 255)"]
        assert page.locator(".stApp").evaluate(style)[1] == "rgb(255, 255, 255)"
        paper = page.pdf(format="A4")
        assert count >= 8
        assert paper.startswith(b"%PDF-")
        assert len(re.findall(rb"/Type\s*/Page\b", paper)) >= 2


@pytest.mark.parametrize(("name", "path", "last"), PAGES)
def test_each_page_fits_its_screen(
    worn: str, watched: Watched, tmp_path: Path, name: str, path: str, last: str
) -> None:
    """Turned to each: nothing runs off the side, every chart is drawn, and nothing goes wrong."""
    watched.look(*SCREENS[0])
    opened(watched, f"{worn}{path}", last)
    page = watched.page
    for width, theme in watched.looks(SCREENS):
        assert page.evaluate("document.documentElement.scrollWidth") <= width, name
        assert _overflowing(watched) == [], name
        whole = page.locator("[data-testid='stMainBlockContainer']").bounding_box()
        assert whole
        page.set_viewport_size({"width": width, "height": min(int(whole["height"]), 4000)})
        watched.settle()
        file = f"{name}-{width}-{theme}.png"
        keep(page.screenshot(path=tmp_path / file), file)


def test_the_choice_over_a_worn_chain_stands_by_the_answer(
    worn: str, chromium: Browser, tmp_path: Path
) -> None:
    """On a phone too: what to do about the chain, or what is missing to price it, in one line."""
    with in_browser(chromium, 390, "light") as seen:
        opened(seen, f"{worn}/bike?tag={LATE}&{DAY}", "Everything that happened")
        line = seen.page.locator(".lk-bench p")
        expect(line).to_contain_text(
            "Worn chain: what to do about it is not priced", timeout=30_000
        )
        assert _overflowing(seen) == []
        seen.page.set_viewport_size({"width": 390, "height": 1800})
        seen.settle()
        keep(seen.page.screenshot(path=tmp_path / "worn.png"), "bike_worn-390-light.png")


def test_what_is_pressed_is_large_enough_for_a_finger(worn: str, watched: Watched) -> None:
    """Links to the pages, and what sorts and narrows, are at least 44 px high.

    Source: WCAG 2.2, target size (enhanced).
    """
    opened(watched, f"{worn}/due?{DAY}", "On the bench")
    page = watched.page
    wide = page.locator(".lk-ways a:visible, .lk-choices a:visible, .lk-message summary")
    assert wide.count() >= 12
    _large_enough(wide.all())
    page.set_viewport_size({"width": 390, "height": 844})
    page.locator(".lk-more summary").click()
    folded = page.locator(".lk-ways a:visible, .lk-more summary")
    assert folded.count() >= 9
    _large_enough(folded.all())


def _large_enough(pressed: list[Locator]) -> None:
    for one in pressed:
        box = one.bounding_box()
        assert box and box["height"] >= 44, one


def _overflowing(seen: Watched) -> list[str]:
    """Give our own elements that reach past the right edge of the window."""
    found: list[str] = seen.page.evaluate(
        """[...document.querySelectorAll('[class^="lk-"], [class*=" lk-"]')]
        .filter(e => e.getBoundingClientRect().right > innerWidth + 1)
        .map(e => e.className)"""
    )
    return found
