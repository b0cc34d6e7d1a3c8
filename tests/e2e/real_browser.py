"""A server as `lockring dashboard` starts it, and a page that is watched for trouble."""

from __future__ import annotations

import os
import socket
import subprocess
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from playwright.sync_api import Browser, BrowserContext, Page

from dashboard import launch

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
IS_DRAWN = """() => {
    const has = (within, inner) => [...document.querySelectorAll(within)]
        .every(each => [...each.querySelectorAll(inner)].some(one => one.getBBox
            ? one.getBBox().width > 0 : one.getBoundingClientRect().width > 0));
    return !document.querySelector("[data-testid='stSkeleton']")
        && has("[class*='st-key-reading-']", "svg :is(.mark-symbol, .mark-rect, .mark-line) path")
        && has(".st-key-timeline_filter", "button, input");
}"""
"""Whether every chart has its marks, bars or lines, and the filter what it is chosen with."""
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
            try:
                server.wait(20)
            except subprocess.TimeoutExpired:  # it works something out, and does not listen
                server.kill()
                server.wait(20)


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
        """Wait until the server has sent everything, and charts, filter and fonts are there."""
        self.page.wait_for_selector("[data-test-script-state='notRunning']")
        self.page.wait_for_function("document.fonts.status === 'loaded'")
        self.page.wait_for_function(IS_DRAWN)


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
    assert seen.wrong == [], seen.wrong
    assert seen.foreign == [], seen.foreign
