"""Faults that come back in a real browser: from a bar to its bikes to one bike, by hand and key."""

from __future__ import annotations

from pathlib import Path

import pytest
from came_back_book import AS_AT, many_tags
from kept_screens import keep
from playwright.sync_api import Locator, Page, expect
from real_browser import Watched
from until import until

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_1")]

DAY = f"as_at={AS_AT}"
LAST, LAST_SURE = "What these figures rest on", "Does small unbilled work pay?"
SQUEALS, NOISES = (f"{fault}: 20 bikes it came back on" for fault in ("Squeal", "Noise"))
BIKE = many_tags(2)[1]
"""The first that squeals."""
NARROW, MIDDLE, WIDE = ((width, "light") for width in (390, 768, 1280))
PAGES = {
    "faults": (f"row=squeal&tag={BIKE}", LAST, (NARROW, MIDDLE, WIDE)),
    "faults_sure": ("sure=1&curves=riding", LAST_SURE, (NARROW, WIDE)),
    "faults_bike": (f"tag={BIKE}", "Faults of Varde Tourer 28", ((768, "dark"),)),
}
"""What the address asks for, the title that stands last, and how it is looked at, by name."""

HOLDS_ITS_CHART = """() => [...document.querySelectorAll("[class*='st-key-reading-']")]
    .every(card => [...card.querySelectorAll("svg.marks")].every(chart =>
        chart.getBoundingClientRect().right <= card.getBoundingClientRect().right))"""
"""Whether every chart ends within its card: it is drawn anew when the window changes."""


def opened(seen: Watched, address: str, last: str = LAST) -> Page:
    """Go to an address and wait until a title stands there, and every chart."""
    seen.page.goto(address)
    arrived(seen, last)
    return seen.page


def arrived(seen: Watched, title: str) -> None:
    """Wait until a title stands there and nothing runs any more."""
    heading = seen.page.get_by_role("heading", name=title, exact=True)
    expect(heading).to_be_visible(timeout=30_000)
    seen.settle()


def bars(page: Page) -> Locator:
    """Give what is pressed of each row of the Pareto: it lies over the whole of it."""
    return page.locator(".st-key-reading-pareto g.mark-rect").last.locator("path")


def test_from_a_bar_to_its_bikes_to_one_bike_and_back(many: str, watched: Watched) -> None:
    """Each press on a bar lists its bikes, one on a bike unfolds its faults, and back goes back."""
    page = opened(watched, f"{many}/faults?{DAY}")
    for number, title in ((0, SQUEALS), (1, NOISES), (0, SQUEALS)):
        bars(page).nth(number).click()
        arrived(watched, title)
    assert "row=squeal" in page.url
    page.get_by_role("button", name=BIKE).click()
    story = page.get_by_role("heading", name="Rear brake pads, squeal came back 7 times")
    expect(story).to_be_visible()
    watched.settle()
    assert f"tag={BIKE}" in page.url
    expect(page.locator(".st-key-reading-lanes .mark-symbol path")).to_have_count(8)
    expect(page.get_by_role("link", name=f"The page of bike {BIKE}")).to_be_visible()
    page.go_back()
    expect(story).to_be_hidden()
    page.go_back()
    arrived(watched, NOISES)


def test_the_same_way_by_keyboard(many: str, watched: Watched) -> None:
    """The list by the chart chooses a row and Enter unfolds a bike, or a command, unpointed."""
    page = opened(watched, f"{many}/faults?{DAY}")
    page.get_by_role("combobox", name="Bikes of a fault").focus()
    page.keyboard.type("squ")
    page.keyboard.press("Enter")
    arrived(watched, SQUEALS)
    page.get_by_role("button", name=BIKE).focus()
    page.keyboard.press("Enter")
    expect(page.get_by_role("link", name=f"The page of bike {BIKE}")).to_be_visible()
    watched.settle()
    page.locator(".lk-message summary", has_text="Say otherwise").first.focus()
    page.keyboard.press("Enter")
    expect(page.get_by_text("record come_back_judged").first).to_be_visible()


def test_how_sure_unfolds_by_key_and_shows_no_mechanic(many: str, watched: Watched) -> None:
    """Unfolded by keyboard, it has its charts; mechanics come with the owner's switch alone."""
    page = opened(watched, f"{many}/faults?{DAY}")
    page.locator(".st-key-sure summary").focus()
    page.keyboard.press("Enter")
    arrived(watched, LAST_SURE)
    assert "sure=1" in page.url
    mechanics = page.locator(".st-key-reading-funnel-mechanic")
    expect(mechanics).to_have_count(0)
    page.get_by_text("Show mechanics (for the owner)").click()
    expect(mechanics.locator("g.mark-symbol path")).to_have_count(2)
    assert "owner" not in page.url


@pytest.mark.parametrize("name", PAGES)
def test_the_page_fits_its_screen(many: str, watched: Watched, tmp_path: Path, name: str) -> None:
    """From the address alone all is drawn; nothing runs off the side, and nothing goes wrong."""
    asked, last, looks = PAGES[name]
    watched.look(*looks[0])
    page = opened(watched, f"{many}/faults?{asked}&{DAY}", last)
    for width, theme in watched.looks(looks):
        lanes = page.locator(".st-key-reading-lanes .mark-symbol path")
        assert lanes.count() == (0 if name == "faults_sure" else 8)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert _overflowing(page) == []
        whole = page.locator("[data-testid='stMainBlockContainer']").bounding_box()
        assert whole
        page.set_viewport_size({"width": width, "height": min(int(whole["height"]), 5000)})
        watched.settle()
        until(page, HOLDS_ITS_CHART)
        file = f"{name}-{width}-{theme}.png"
        unfolded = page.locator(".st-key-sure")
        shot = unfolded if name == "faults_sure" else page
        keep(shot.screenshot(path=tmp_path / file), file)


def test_a_chart_measured_too_wide_still_ends_within_its_card(many: str, watched: Watched) -> None:
    """A card that narrows before its chart is measured anew holds the chart all the same."""
    page = opened(watched, f"{many}/faults?{DAY}")
    widened = page.evaluate(
        """() => [...document.querySelectorAll("[class*='st-key-reading-'] svg.marks")]
        .map(chart => chart.setAttribute("width", 2000)).length"""
    )
    assert widened > 0
    assert page.evaluate(HOLDS_ITS_CHART)


def test_what_is_pressed_is_large_enough_for_a_finger(many: str, watched: Watched) -> None:
    """Choices, fields, bikes and rows of the chart are at least 44 px high.

    Source: WCAG 2.2, target size (enhanced).
    """
    page = opened(watched, f"{many}/faults?row=squeal&{DAY}")
    pressed = [
        *page.locator(".lk-choices a, .lk-message summary").all(),
        *page.locator(".st-key-behind button:visible").all(),
        *page.locator(".st-key-faults_asked [data-testid='stNumberInputContainer']").all(),
        *bars(page).all(),
    ]
    assert len(pressed) >= 14
    for one in pressed:
        box = one.bounding_box()
        assert box and box["height"] >= 43.5, one


def _overflowing(page: Page) -> list[str]:
    """Give our own elements that reach past the right edge of the window."""
    found: list[str] = page.evaluate(
        """[...document.querySelectorAll('[class^="lk-"], [class*=" lk-"]')]
        .filter(e => e.getBoundingClientRect().right > innerWidth + 1)
        .map(e => e.className)"""
    )
    return found
