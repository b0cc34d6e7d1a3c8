"""Through the sign-in page in a real browser, and what each role then meets on the pages."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from bench_hand import Hand
from bench_server import Server
from kept_screens import keep
from marked_book import MARKS, QUOTED, marked_book
from paid_book import ON_THE_BENCH, TAGS
from PIL import Image
from playwright.sync_api import Browser, Page, expect
from real_browser import Watched, in_browser, watch
from signed_in import DESK, MECHANIC, OWNER, sign_in
from violations import violations

from dashboard.gate import Gate, Rules
from dashboard.gate_page import WRONG
from ledger.book import Book
from ledger.photos import photos_of
from ledger.private import IDLE_S, Private

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_2")]

BIKE = f"/bike?tag={TAGS[0]}"
MEASURE = f"/bench?tag={ON_THE_BENCH}&step=measure"
JOB = "/time?job=squeal-1"
"""A job of the colleague's, with their minutes and what it cost."""
HEADS = ".stApp :is(h1, h2, .lk-headline, .lk-item)"
EARNINGS = "/earnings?since=2025-01-01&until=2025-12-31"
WORDS = """() => {
    const ours = node => node.parentElement.closest("style, script")
        ? NodeFilter.FILTER_REJECT : NodeFilter.FILTER_ACCEPT;
    const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT, ours), found = [];
    while (walker.nextNode()) found.push(walker.currentNode.data);
    return found.join("\\n");
}"""
"""All words that were sent to a page, those folded or out of sight too."""
LEAST = 64
"""Pixels: what a thumb in a glove meets."""


@pytest.fixture(scope="module")
def server(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Server]:
    """A server over a book in which the owner's own figures are told apart at sight."""
    folder = tmp_path_factory.mktemp("sign_in")
    marked_book(folder / "book")
    one = Server(folder / "book", folder)
    one.start()
    yield one
    one.stop()


@pytest.fixture
def nobody(chromium: Browser) -> Iterator[Watched]:
    """A page in which nobody is signed in; the test fails if anything went wrong in it."""
    context = chromium.new_context()
    seen = watch(context.new_page())
    yield seen
    context.close()
    assert seen.wrong == [], seen.wrong
    assert seen.foreign == [], seen.foreign


def asked_to_sign_in(page: Page) -> None:
    """See the sign-in page, with nothing of the book on it."""
    expect(page.get_by_role("heading", name="Sign in", exact=True)).to_be_visible()
    assert "/sign-in" in page.url
    assert TAGS[0] not in page.locator("body").inner_text()


def arrived(seen: Watched, path: str) -> Page:
    """Go to a path and wait until all of its page is drawn."""
    seen.page.goto(path)
    seen.page.wait_for_selector(HEADS, timeout=60_000)
    seen.settle()
    return seen.page


# -- in and out -----------------------------------------------------------------------------------


def test_a_deep_link_is_arrived_at_after_a_wrong_pin_and_the_right_one(
    server: Server, nobody: Watched
) -> None:
    """What is said never tells which part was wrong; Sign out leads back to the sign-in page."""
    page = nobody.page
    page.goto(server.address + BIKE)
    asked_to_sign_in(page)
    sign_in(page, MECHANIC, "918273")
    expect(page.get_by_role("alert")).to_have_text(WRONG)
    expect(page.get_by_label("Who")).to_have_value(MECHANIC)
    expect(page.get_by_label("PIN")).to_have_value("")
    # a refusal is an error to the browser too
    assert all("401" in one and "/sign-in" in one for one in nobody.wrong), nobody.wrong
    nobody.wrong.clear()
    sign_in(page, MECHANIC)
    page.wait_for_url(server.address + BIKE)
    expect(page.locator(HEADS).first).to_be_visible(timeout=60_000)
    nobody.settle()
    expect(page.locator(".lk-who")).to_contain_text("ada, mechanic")
    kept = page.context.cookies()
    page.get_by_role("link", name="Sign out").click()
    expect(page.get_by_role("heading", name="Signed out")).to_be_visible()
    assert not [one for one in page.context.cookies() if one["name"].startswith("lockring")]
    page.get_by_role("link", name="Sign in again").click()
    asked_to_sign_in(page)
    page.context.add_cookies([dict(one) for one in kept])  # type: ignore[misc]  # as they were given
    page.goto(server.address + BIKE)
    asked_to_sign_in(page)


def test_signing_in_by_keyboard_alone(server: Server, nobody: Watched) -> None:
    """The PIN has the focus, the names stand before it, Enter signs in; the focus is to be seen."""
    page = nobody.page
    page.goto(f"{server.address}/due")
    expect(page.get_by_label("PIN")).to_be_focused()
    page.keyboard.press("Shift+Tab")
    expect(page.get_by_label("Who")).to_be_focused()
    assert page.evaluate("getComputedStyle(document.activeElement).outlineWidth") == "3px"
    page.keyboard.type("olga")
    expect(page.get_by_label("Who")).to_have_value(OWNER)
    page.keyboard.press("Tab")
    page.keyboard.type("482913")
    page.keyboard.press("Enter")
    page.wait_for_url(f"{server.address}/due")
    expect(page.locator(".lk-who")).to_contain_text("olga, owner", timeout=60_000)


def test_a_sign_in_that_is_over_or_never_was_leads_to_the_sign_in_page(
    server: Server, nobody: Watched
) -> None:
    """Forged, left unused too long, or ended by the owner while its page is open."""
    private, rules = Private(server.book), Rules(server.port, is_sign_in=True)
    gate, now = Gate(private, rules), Gate(private, rules).clock()
    value = gate.cookie_of(private.begin(DESK, now))
    unused = gate.cookie_of(private.begin(DESK, now - IDLE_S - 60))
    page, context = nobody.page, nobody.page.context
    for one in (value[:-3] + "AAA", unused):
        context.add_cookies([_cookie(server, rules, one)])
        page.goto(f"{server.address}/bikes")
        asked_to_sign_in(page)
    context.add_cookies([_cookie(server, rules, value)])
    arrived(nobody, f"{server.address}/bikes")
    assert TAGS[0][:4] in page.locator(".lk-list").inner_text()
    private.end_all(DESK)
    page.reload()
    asked_to_sign_in(page)


def _cookie(server: Server, rules: Rules, value: str) -> Any:
    return {"name": rules.cookie, "value": value, "url": server.address, "httpOnly": True}


# -- what each role meets -------------------------------------------------------------------------


def not_theirs(page: Page) -> set[str]:
    """Give the owner's own figures, and sums never named to a keeper, that a page shows."""
    told = str(page.evaluate(WORDS))
    marks = {one for one in MARKS if re.search(rf"(?<![\w.,#-]){re.escape(one)}(?![\d-])", told)}
    return marks | (set(re.findall(r"€[\d,.]*\d", told)) - QUOTED)


def refused(page: Page, words: str) -> None:
    """See a plain sentence of what is not shown to whom, and whom to ask, and nothing else."""
    blank = page.locator(".lk-blank")
    expect(blank).to_contain_text("Not shown to you")
    expect(blank).to_contain_text(words)
    expect(blank).to_contain_text("Ask the owner of this book.")
    assert not_theirs(page) == set()


def test_a_mechanic_walks_the_pages_and_sees_nothing_of_money_or_of_colleagues(
    server: Server, chromium: Browser
) -> None:
    """The owner sees on the same server what the mechanic is not shown."""
    with in_browser(chromium, 1280, "light") as seen:
        owners = [
            not_theirs(arrived(seen, server.address + path)) for path in (JOB, BIKE, EARNINGS)
        ]
        print(owners)
        assert {"443", "449", "43.21", "77.77"} <= set[str]().union(*owners)
    with in_browser(chromium, 390, "light", MECHANIC) as seen:
        for path in ("/", "/bikes", BIKE, MEASURE, "/time", JOB):
            page = arrived(seen, server.address + path)
            expect(page.locator(".lk-who")).to_contain_text("ada, mechanic")
            assert not_theirs(page) == set(), path
            assert page.locator("a[href^='earnings']").count() == 0
        refused(arrived(seen, server.address + EARNINGS), "is not shown to the mechanic")


def test_a_mechanic_at_the_bench_and_the_line_is_lost(
    server: Server, chromium: Browser, tmp_path: Path
) -> None:
    """A photo and a figure are in the book as theirs; what is no figure is refused in a line.

    Without a line to the book a band says that nothing since is in it; what was recorded before
    stays, what was entered meanwhile is in the book once, when the line is back.
    """
    with in_browser(chromium, 768, "light", MECHANIC) as seen:
        hand = Hand(seen.page)
        hand.begin(server.address + MEASURE)
        Image.new("RGB", (320, 240), "#447766").save(tmp_path / "photo.jpg")
        seen.page.get_by_text("Photos, before and after").click()
        seen.page.locator("[data-testid='stFileUploaderDropzoneInput']").set_input_files(
            tmp_path / "photo.jpg"
        )
        expect(seen.page.locator(".lk-photos img")).to_be_visible()
        assert photos_of(Book.open(server.book), ON_THE_BENCH)
        hand.begin(server.address + MEASURE)
        hand.type_in("o.4")
        expect(seen.page.locator(".st-key-bench_item .lk-refused")).to_contain_text("is no figure")
        seen.page.locator(".st-key-bench_entry input").fill("")
        hand.type_in("0.4")
        expect(seen.page.locator(".lk-in-book")).to_contain_text("0.4")
        events = server.events(ON_THE_BENCH)
        assert (events[-1].actor, events[-1].data.value.value) == (MECHANIC, "0.4")
        assert not_theirs(seen.page) == set()
        seen.page.context.set_offline(True)
        band = seen.page.locator(".lk-lost")
        try:
            expect(band).to_contain_text("Nothing typed or pressed since is in the book")
            field = seen.page.locator(".st-key-bench_entry input")
            field.press_sequentially("1.7")
            field.press("Enter")
            expect(field).to_have_value("1.7")
            assert server.events(ON_THE_BENCH) == events
        finally:
            seen.page.context.set_offline(False)
        expect(band).to_have_count(0, timeout=30_000)
        expect(seen.page.locator(".lk-in-book")).to_contain_text("1.7", timeout=30_000)
        (after,) = server.events(ON_THE_BENCH)[len(events) :]
        assert after.data.value.value == "1.7"


def test_the_desk_walks_its_pages_and_is_refused_the_bench(
    server: Server, chromium: Browser
) -> None:
    """Bikes, whom to call and what to ask for are theirs; recording work, and minutes, are not."""
    with in_browser(chromium, 1280, "dark", DESK) as seen:
        for path in ("/bikes", "/due", "/quote"):
            page = arrived(seen, server.address + path)
            expect(page.locator(".lk-who")).to_contain_text("dora, desk")
            assert page.locator(".lk-blank", has_text="Not shown to you").count() == 0
            assert path == "/quote" or not_theirs(page) == set()
        assert page.locator(".lk-ways a[href^='bench']").count() == 0
        for path in (MEASURE, "/time", "/earnings"):
            refused(arrived(seen, server.address + path), "is not shown to the desk")
        assert seen.page.locator(".lk-item").count() == 0


# -- how it stands --------------------------------------------------------------------------------


@pytest.mark.parametrize("theme", ("light", "dark"))
def test_the_sign_in_page_fits_its_screen(
    server: Server, nobody: Watched, tmp_path: Path, theme: str
) -> None:
    """At each width nothing runs off the side, each press is 64 px, and nobody is kept out (axe).

    Contrast is among what axe-core holds to be serious.
    """
    page = nobody.page
    page.emulate_media(color_scheme="dark" if theme == "dark" else "light")
    for width in (390, 768, 1280):
        page.set_viewport_size({"width": width, "height": 900})
        page.goto(f"{server.address}/sign-in")
        file = f"sign_in-{width}-{theme}.png"
        keep(page.screenshot(path=tmp_path / file), file)
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        for one in page.locator("select, input:visible, button").all():
            box = one.bounding_box()
            assert box and box["height"] >= LEAST, one
        assert _violations(page) == []
    sign_in(page, OWNER, "918273")
    expect(page.get_by_role("alert")).to_be_visible()
    nobody.wrong.clear()  # a wrong PIN is an error to the browser, and meant here
    assert _violations(page) == []


def _violations(page: Page) -> list[str]:
    return [f"{one['id']}: {one['nodes']}" for one in violations(page)]
