"""A real server over a real book, and a real browser before it."""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, sync_playwright

from dashboard import launch

sys.path.insert(0, str(Path(__file__).parents[1] / "dashboard"))
import small_book

FLAGS = [
    "--headless",
    "--no-sandbox",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
PROBES = ("/_stcore/health", "/_stcore/host-config")
"""Opened below the root, the framework's own script first asks for these beside the page, is
answered 404, and then asks at the root. It is the only console message let pass."""


def free_port() -> int:
    """Give a port nobody listens on."""
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port: int = probe.getsockname()[1]
        return port


def _is_up(address: str) -> bool:
    try:
        with urllib.request.urlopen(f"{address}/_stcore/health", timeout=1) as reply:
            return bool(reply.status == 200)
    except (urllib.error.URLError, OSError):
        return False


@contextmanager
def served(book: Path, folder: Path) -> Iterator[str]:
    """Serve a book as `lockring dashboard` does, from a folder that is not the project's."""
    port = free_port()
    address = f"http://127.0.0.1:{port}"
    with (folder / "server.log").open("w") as log:
        server = subprocess.Popen(
            launch.command(book, port, open_browser=False),
            cwd=folder,
            env={**os.environ, "LOCKRING_BOOK": str(book)},
            stdout=log,
            stderr=log,
        )
        try:
            deadline = time.monotonic() + 60
            while not _is_up(address):
                assert server.poll() is None, (folder / "server.log").read_text()
                assert time.monotonic() < deadline, "the server did not come up"
                time.sleep(0.2)
            yield address
        finally:
            server.terminate()
            server.wait(20)


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
def chromium() -> Iterator[Browser]:
    """The system's Chromium, with nothing of anybody's in it."""
    path = shutil.which("chromium") or shutil.which("chromium-browser")
    path = path or shutil.which("google-chrome")
    assert path, "no Chromium on this machine; see README"
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=path, args=FLAGS)
        yield browser
        browser.close()


@dataclass
class Watched:
    """A page, and everything that went wrong in it or left the machine."""

    page: Page
    context: BrowserContext
    wrong: list[str] = field(default_factory=list)
    foreign: list[str] = field(default_factory=list)

    def open(self, address: str, until: str = ".lk-answer") -> Page:
        """Go to an address and wait until something stands there and nothing runs any more."""
        self.page.goto(address)
        self.page.wait_for_selector(until)
        self.settle()
        return self.page

    def settle(self) -> None:
        """Wait until the server has drawn everything and the fonts are there."""
        self.page.wait_for_selector("[data-test-script-state='notRunning']")
        self.page.wait_for_function("document.fonts.status === 'loaded'")


def _watch(context: BrowserContext) -> Watched:
    seen = Watched(context.new_page(), context)

    def said(message: object) -> None:
        where = str(getattr(message, "location", {}).get("url", ""))
        is_probe = where.endswith(PROBES) and "404" in str(getattr(message, "text", ""))
        if getattr(message, "type", "") in ("error", "warning") and not is_probe:
            seen.wrong.append(f"{getattr(message, 'text', '')} {where}")

    def asked(request: object) -> None:
        url = str(getattr(request, "url", ""))
        if not url.startswith(("http://127.0.0.1:", "ws://127.0.0.1:", "data:", "blob:")):
            seen.foreign.append(url)

    seen.page.on("console", said)
    seen.page.on("pageerror", lambda error: seen.wrong.append(str(error)))
    seen.page.on("request", asked)
    return seen


@pytest.fixture
def watched(chromium: Browser) -> Iterator[Watched]:
    """A desktop page in a fresh profile; the test fails if anything went wrong in it."""
    with in_browser(chromium, 1280, "light") as seen:
        yield seen


@contextmanager
def in_browser(chromium: Browser, width: int, theme: str) -> Iterator[Watched]:
    """Give a page of a width, light or dark; console errors and foreign requests fail."""
    context = chromium.new_context(
        viewport={"width": width, "height": 900},
        color_scheme="dark" if theme == "dark" else "light",
    )
    seen = _watch(context)
    yield seen
    context.close()
    assert seen.wrong == []
    assert seen.foreign == []
