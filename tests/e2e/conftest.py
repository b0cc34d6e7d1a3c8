"""A real server over a real book, and a real browser before it.

Whoever opens a page is signed in, as the owner unless a test says otherwise. The tests are two
groups of about equal length, `browser_1` and `browser_2`, that may run side by side: each has its
own servers and its own browser, and in each those are shared by all tests that only look.
"""

from __future__ import annotations

import shutil
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, sync_playwright

sys.path.insert(0, str(Path(__file__).parents[1] / "dashboard"))
import came_back_book
import home_book
import small_book
from real_browser import FLAGS, Watched, in_browser, served


@pytest.fixture(scope="session")
def quay(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a server over the small book."""
    folder = tmp_path_factory.mktemp("quay")
    small_book.small_book(folder / "book")
    with served(folder / "book", folder) as address:
        yield address


@pytest.fixture(scope="session")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a server over a book with nothing in it."""
    folder = tmp_path_factory.mktemp("empty")
    small_book.empty_book(folder / "book")
    with served(folder / "book", folder) as address:
        yield address


@pytest.fixture(scope="session")
def shop(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a server over the book of a shop as it stands today; nobody writes to it."""
    folder = tmp_path_factory.mktemp("shop")
    home_book.home_book(folder / "book")
    with served(folder / "book", folder) as address:
        yield address


@pytest.fixture(scope="session")
def many(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The address of a server over a book of forty bikes whose faults came back; as above."""
    folder = tmp_path_factory.mktemp("many")
    came_back_book.many_bikes_book(folder / "book")
    with served(folder / "book", folder) as address:
        yield address


@pytest.fixture(scope="session")
def chromium() -> Iterator[Browser]:
    """The system's Chromium, with nothing of anybody's in it."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    path = path or shutil.which("google-chrome")
    assert path, "no Chromium on this machine; see README"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()


@pytest.fixture
def watched(chromium: Browser) -> Iterator[Watched]:
    """A desktop page of the owner's; the test fails if anything went wrong in it."""
    with in_browser(chromium, 1280, "light") as seen:
        yield seen
