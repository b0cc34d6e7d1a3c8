"""The bike page in a real browser: found, deep linked, slid through time, filtered."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from kept_screens import SCREENS, keep
from playwright.sync_api import expect
from real_browser import Watched

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_2")]

TAG, NEW_TAG = "7K3M9QXA", "7K3M9QXB"
KEPT = re.compile(r"bike-|(home_quiet|unknown|one_event)-(390-light|768-dark)")
LOOKS = tuple((width, theme) for width in (390, 768, 1280) for theme in ("light", "dark"))
PAGES = (
    ("bike", f"/bike?tag={TAG}", ".lk-answer"),
    ("one_event", f"/bike?tag={NEW_TAG}", ".lk-answer"),
    ("unknown", "/bike?tag=7K3M9QX8", ".lk-list"),
    ("home_quiet", "/", ".lk-list"),
)
"""(name, address, what stands there last)."""


def test_a_bike_is_found_by_letters_and_opened(quay: str, watched: Watched) -> None:
    """Letters of the model list the bike, and its plate leads to its page."""
    page = watched.open(quay, until=".lk-list")
    page.get_by_role("textbox", name="Find a bike").fill("tour")
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_have_text("1 bike matches tour")
    page.get_by_role("link", name="Varde Tourer 28").click()
    expect(page.locator("h1")).to_have_text("Varde Tourer 28")
    assert f"bike?tag={TAG}" in page.url


def test_a_whole_tag_opens_its_bike(quay: str, watched: Watched) -> None:
    """A tag typed in lower case with a dash opens the bike and stands whole in the address."""
    page = watched.open(quay, until=".lk-list")
    page.get_by_role("textbox", name="Find a bike").fill("7k3m-9qxa")
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_have_text("Varde Tourer 28")
    assert page.url.endswith(f"/bike?tag={TAG}")


def test_a_deep_link_opens_a_date(quay: str, watched: Watched) -> None:
    """The address alone gives the bike as at its date, and survives a reload."""
    page = watched.open(f"{quay}/bike?tag={TAG}&as_at=2023-12-01")
    for _ in range(2):
        expect(page.locator(".lk-asat strong")).to_have_text("1 Dec 2023")
        expect(page.locator(".lk-section", has_text="Fitted")).to_contain_text("C10")
        page.reload()
        page.wait_for_selector(".lk-answer")
    assert page.title() == f"{TAG} · Lockring"


def test_sliding_the_date_by_keyboard_changes_what_is_fitted(quay: str, watched: Watched) -> None:
    """The slider is reached and moved by keyboard; the page and the address follow."""
    page = watched.open(f"{quay}/bike?tag={TAG}&as_at=2024-03-05")
    fitted = page.locator(".lk-section", has=page.locator("h2", has_text="Fitted"))
    expect(fitted).to_contain_text("Halm K10")
    page.get_by_role("slider").focus()
    page.keyboard.press("ArrowLeft")
    expect(page.locator(".lk-asat strong")).to_have_text("4 Mar 2024")
    expect(fitted).not_to_contain_text("Halm K10")
    expect(fitted).to_contain_text("C10")
    assert "as_at=2024-03-04" in page.url


def test_visits_are_stepped_through_by_buttons(quay: str, watched: Watched) -> None:
    """The visit before today's view is the last one, and Today leads back."""
    page = watched.open(f"{quay}/bike?tag={TAG}")
    page.get_by_role("button", name="Visit before").click()
    expect(page.locator(".lk-asat strong")).to_have_text("2 Apr 2025")
    page.get_by_role("button", name="Today").click()
    expect(page.locator(".lk-asat strong")).to_contain_text("today")
    expect(page).not_to_have_url(re.compile("as_at"))


def test_the_back_button_goes_back_in_what_was_looked_at(quay: str, watched: Watched) -> None:
    """Back leads from a date to the one before it, and from a bike to what was looked for."""
    page = watched.open(quay, until=".lk-list")
    page.get_by_role("textbox", name="Find a bike").fill("tour")
    page.keyboard.press("Enter")
    expect(page.locator("h1")).to_have_text("1 bike matches tour")
    page.get_by_role("link", name="Varde Tourer 28").click()
    date = page.locator(".lk-asat strong")
    expect(date).to_contain_text("today")
    page.get_by_role("button", name="Visit before").click()
    expect(date).to_have_text("2 Apr 2025")
    page.go_back()
    expect(date).to_contain_text("today")
    page.go_back()
    expect(page.locator("h1")).to_have_text("1 bike matches tour")


def test_the_date_under_the_thumb_is_seen_while_it_is_dragged(quay: str, watched: Watched) -> None:
    """A thumb held with the mouse shows its day, and letting go looks at that day."""
    page = watched.open(f"{quay}/bike?tag={TAG}")
    value = page.get_by_test_id("stSliderThumbValue")
    expect(value).to_be_hidden()
    thumb = value.locator("..").bounding_box()
    assert thumb
    page.mouse.move(thumb["x"] + thumb["width"] / 2, thumb["y"] + thumb["height"] / 2)
    page.mouse.down()
    page.mouse.move(640, thumb["y"] + 5, steps=6)
    expect(value).to_be_visible()
    page.mouse.up()
    expect(page.locator(".lk-asat strong")).not_to_contain_text("today")
    assert "as_at=" in page.url


def test_what_is_pressed_is_large_enough_for_a_finger(quay: str, watched: Watched) -> None:
    """Buttons, fields and systems are at least 44 px high, the slider's thumb 24 px.

    Source: WCAG 2.2, target size (enhanced) and (minimum).
    """
    page = watched.open(f"{quay}/bike?tag={TAG}")
    steps = page.locator(".st-key-steps").get_by_test_id("stBaseButton-secondary")
    systems = page.get_by_test_id("stButtonGroup").locator("button")
    fields = page.get_by_test_id("stTextInputRootElement")
    for pressed in (*steps.all(), *systems.all(), *fields.all()):
        box = pressed.bounding_box()
        assert box and box["height"] >= 44, pressed
    thumb = page.get_by_test_id("stSliderThumbValue").locator("..").bounding_box()
    assert thumb and min(thumb["width"], thumb["height"]) >= 24


def test_the_timeline_is_filtered(quay: str, watched: Watched) -> None:
    """A system leaves its own entries, words narrow further, and struck ones say why."""
    page = watched.open(f"{quay}/bike?tag={TAG}")
    timeline = page.locator(".lk-timeline")
    expect(timeline).to_contain_text("struck: Typed on the wrong bike")
    page.get_by_role("button", name="Rear brake", exact=True).click()
    expect(timeline).not_to_contain_text("Chain")
    expect(timeline).to_contain_text("Rear brake looked at: squeal")
    page.get_by_role("textbox", name="Words").fill("thickness")
    page.keyboard.press("Enter")
    expect(timeline).not_to_contain_text("squeal")
    expect(timeline.locator("li")).to_have_count(3)


def test_each_reading_draws_its_limit(quay: str, watched: Watched) -> None:
    """Every reading card holds a drawn chart with a dashed limit line."""
    page = watched.open(f"{quay}/bike?tag={TAG}")
    charts = page.locator("[class*='st-key-reading-'] svg.marks")
    expect(charts).to_have_count(2)
    expect(charts.first.locator("path[stroke-dasharray='5,3']")).to_have_count(1)


def test_an_unknown_tag_leads_to_the_nearest(quay: str, watched: Watched) -> None:
    """The nearest tags are offered as links that work."""
    page = watched.open(f"{quay}/bike?tag=7K3M9QX8", until=".lk-list")
    expect(page.locator("h1, h2").first).to_have_text("No bike has the tag 7K3M9QX8")
    page.locator(f".lk-list a[href$='{NEW_TAG}']").click()
    expect(page.locator("h1")).to_have_text("Varde Solo")


def test_an_empty_book_says_how_to_begin(empty: str, watched: Watched) -> None:
    """An empty book greets with the two ways to fill it."""
    page = watched.open(empty, until=".lk-blank")
    expect(page.locator(".lk-blank")).to_contain_text("lockring record --follow")


def test_nothing_of_the_frameworks_own_furniture_is_left(quay: str, watched: Watched) -> None:
    """No menu, deploy button, toolbar or footer of the server's is to be seen."""
    page = watched.open(f"{quay}/bike?tag={TAG}")
    for own in ("stHeader", "stToolbar", "stMainMenu", "stAppDeployButton", "stSidebar"):
        expect(page.get_by_test_id(own)).not_to_be_visible()
    assert page.locator("link[rel='shortcut icon']").get_attribute("href") != "./favicon.png"


@pytest.mark.parametrize(("name", "path", "until"), PAGES)
def test_every_page_fits_its_screen(
    quay: str, watched: Watched, tmp_path: Path, name: str, path: str, until: str
) -> None:
    """Turned to each width, light and dark, nothing runs off the side and nothing goes wrong."""
    watched.look(*LOOKS[0])
    page = watched.open(f"{quay}{path}", until)
    for width, theme in watched.looks(LOOKS):
        at = f"{name}-{width}-{theme}"
        across = page.evaluate("document.documentElement.scrollWidth")
        assert across <= width, at
        assert _overflowing(watched) == [], at
        whole = page.locator("[data-testid='stMainBlockContainer']").bounding_box()
        assert whole
        page.set_viewport_size({"width": width, "height": min(int(whole["height"]), 4000)})
        watched.settle()
        assert _blank_charts(watched) == [], at
        picture = page.screenshot(path=tmp_path / f"{at}.png")
        _keep(picture, f"{at}.png")


def _overflowing(seen: Watched) -> list[str]:
    """Give our own elements that reach past the right edge of the window."""
    found: list[str] = seen.page.evaluate(
        """[...document.querySelectorAll('[class^="lk-"], [class*=" lk-"], .st-key-masthead input')]
        .filter(e => e.getBoundingClientRect().right > innerWidth + 1)
        .map(e => e.className)"""
    )
    return found


def _blank_charts(seen: Watched) -> list[str]:
    """Give the titles of the reading cards whose chart shows no reading or no limit line."""
    found: list[str] = seen.page.evaluate(
        """[...document.querySelectorAll("[class*='st-key-reading-']")]
        .filter(card => !card.querySelector("svg .mark-symbol path")
            || !card.querySelector("path[stroke-dasharray='5,3']"))
        .map(card => card.querySelector("h3").textContent)"""
    )
    return found


def _keep(picture: bytes, name: str) -> None:
    if KEPT.match(name):
        keep(picture, name)


def test_kept_screens_are_small() -> None:
    """The pictures kept beside the tests are PNGs under 150 kB each."""
    kept = sorted(SCREENS.glob("*"))
    assert len(kept) >= 6
    assert all(each.suffix == ".png" and each.stat().st_size < 150_000 for each in kept)
