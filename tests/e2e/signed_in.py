"""Pages of people who signed in through the sign-in page, each once at each server."""

from __future__ import annotations

from pathlib import Path
from typing import Any
from urllib.parse import quote

from playwright.sync_api import Browser, BrowserContext, Page
from raw_client import PEOPLE, enter_people

from ledger.private import Private

OWNER, MECHANIC, DESK = "olga", "ada", "dora"
NOWHERE = "/_stcore/health"
"""A path with next to nothing at it, to land on."""
_running: list[str] = []
"""The addresses of the servers that run now and at which one signs in."""
_cookies: dict[tuple[str, str], list[Any]] = {}
"""Those of a person at a server."""
_contexts: dict[tuple[str, bool], BrowserContext] = {}


def enter(book: Path) -> None:
    """Let an owner, a mechanic and the desk sign in to a book, unless somebody may already."""
    if not Private(book).people():
        enter_people(book)


def note(address: str) -> None:
    """Note that a server runs at which one signs in."""
    if address not in _running:
        _running.append(address)


def forget(address: str) -> None:
    """Note that a server is gone for good, and its cookies with it."""
    if address in _running:
        _running.remove(address)
    for person in PEOPLE:
        _cookies.pop((address, person), None)


def sign_in(page: Page, person: str, pin: str = "") -> None:
    """Fill in the sign-in page that stands there; the PIN is the person's own if none is given."""
    page.get_by_label("Who").select_option(person)
    page.get_by_label("PIN").fill(pin or PEOPLE[person][2])
    page.get_by_role("button", name="Sign in", exact=True).click()


def _cookies_at(chromium: Browser, address: str, person: str) -> list[Any]:
    """Give somebody's cookies at a server, of a sign-in through its page."""
    if (address, person) not in _cookies:
        context = chromium.new_context()
        page = context.new_page()
        page.goto(f"{address}/sign-in?next={quote(NOWHERE, safe='')}")
        sign_in(page, person)
        page.wait_for_url(address + NOWHERE)
        _cookies[address, person] = list(context.storage_state()["cookies"])
        context.close()
    return _cookies[address, person]


def context_of(
    chromium: Browser, person: str = OWNER, *, has_touch: bool = False
) -> BrowserContext:
    """Give the context in which somebody is signed in at every server that runs.

    It is one for all tests: what it holds already of the pages' scripts is not asked for again.
    """
    key = (person, has_touch)
    if key not in _contexts:
        _contexts[key] = chromium.new_context(has_touch=has_touch)
    context = _contexts[key]
    context.add_cookies(
        [one for address in _running for one in _cookies_at(chromium, address, person)]
    )
    return context


def page_of(
    chromium: Browser,
    person: str = OWNER,
    size: tuple[int, int] = (1280, 900),
    theme: str = "light",
    *,
    has_touch: bool = False,
) -> Page:
    """Give a fresh page of somebody signed in, of a size in pixels, light or dark."""
    page = context_of(chromium, person, has_touch=has_touch).new_page()
    page.set_viewport_size({"width": size[0], "height": size[1]})
    page.emulate_media(color_scheme="dark" if theme == "dark" else "light")
    return page
