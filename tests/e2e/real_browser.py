"""A server with sign-in, and a page of somebody signed in that is watched for trouble."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from bench_server import SIGN_IN, Server
from playwright.sync_api import Browser, Page
from signed_in import OWNER, page_of
from until import until

from dashboard.launch import Reach

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
AT_REST = """() => document.getAnimations().every(one =>
    one.playState !== "running" || one.effect.getComputedTiming().iterations === Infinity)"""
"""Whether nothing moves to its place, or takes on its colour, any more."""
FILLS_ITS_CARD = """() => [...document.querySelectorAll("[data-testid='stVegaLiteChart']")]
    .every(each => [...each.querySelectorAll("svg.marks")].every(chart =>
        Math.abs(chart.getBoundingClientRect().width - each.clientWidth) < 2))"""
"""Whether every chart is as wide as it may be: it is drawn anew when the window changes."""
OWN_ADDRESSES = (
    *(f"{scheme}://127.0.0.1:" for scheme in ("http", "ws", "https", "wss")), "data:", "blob:"
)  # fmt: skip
PROBES = ("/_stcore/health", "/_stcore/host-config")
"""Opened below the root, the framework's own script first asks for these beside the page, is
answered 404, and then asks at the root. It is the only console message let pass."""


@contextmanager
def served(book: Path, folder: Path, reach: Reach = SIGN_IN) -> Iterator[str]:
    """Serve a book as `lockring dashboard` does, from a folder that is not the project's."""
    server = Server(book, folder, reach)
    server.start()
    try:
        yield server.address
    finally:
        server.stop()


@dataclass
class Watched:
    """A page, and everything that went wrong in it or left the machine."""

    page: Page
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
        until(self.page, "document.fonts.status === 'loaded'")
        until(self.page, IS_DRAWN)

    def look(self, width: int, theme: str) -> None:
        """Make the window as wide as this, and the system light or dark."""
        self.page.set_viewport_size({"width": width, "height": 900})
        self.page.emulate_media(color_scheme="dark" if theme == "dark" else "light")

    def looks(self, looks: Sequence[tuple[int, str]]) -> Iterator[tuple[int, str]]:
        """Turn a page that stands there to each look, and wait until it is at rest in it.

        In the end it looks as at first, so that the next one is loaded so.
        """
        has_runs = self.page.locator(".stApp").count()
        for width, theme in looks:
            self.look(width, theme)
            if has_runs:
                self.settle()
            until(self.page, FILLS_ITS_CARD)
            until(self.page, AT_REST)
            yield width, theme
        self.look(*looks[0])


def watch(page: Page) -> Watched:
    """Watch a page from here on."""
    seen = Watched(page)

    def said(message: object) -> None:
        where = str(getattr(message, "location", {}).get("url", ""))
        is_probe = where.endswith(PROBES) and "404" in str(getattr(message, "text", ""))
        if getattr(message, "type", "") in ("error", "warning") and not is_probe:
            seen.wrong.append(f"{getattr(message, 'text', '')} {where}")

    def asked(request: object) -> None:
        url = str(getattr(request, "url", ""))
        if not url.startswith(OWN_ADDRESSES):
            seen.foreign.append(url)

    seen.page.on("console", said)
    seen.page.on("pageerror", lambda error: seen.wrong.append(str(error)))
    seen.page.on("request", asked)
    return seen


@contextmanager
def in_browser(chromium: Browser, width: int, theme: str, person: str = OWNER) -> Iterator[Watched]:
    """Give a page of somebody signed in; console errors and foreign requests fail."""
    seen = watch(page_of(chromium, person, (width, 900), theme))
    try:
        yield seen
    finally:
        seen.page.close()
    assert seen.wrong == [], seen.wrong
    assert seen.foreign == [], seen.foreign
