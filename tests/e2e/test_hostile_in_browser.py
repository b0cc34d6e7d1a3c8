"""Harmful words in a real browser: they are shown, and nothing of them runs or leads anywhere."""

from __future__ import annotations

from pathlib import Path

import pytest
from home_book import ON_THE_BENCH
from hostile_book import hostile_book
from playwright.sync_api import Browser
from real_browser import in_browser, served

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_2")]

ADDRESSES = (
    "/", "/bikes", f"/bike?tag={ON_THE_BENCH}", f"/bench?tag={ON_THE_BENCH}", "/bench?find=lkx",
    f"/bench?tag={ON_THE_BENCH}&step=inspect", f"/bench?tag={ON_THE_BENCH}&step=work&form=fit",
    "/due", "/wear", f"/wear?tag={ON_THE_BENCH}", "/chains", "/faults", "/faults?by=part_model",
    "/time", "/earnings", "/quote",
)  # fmt: skip
CAME_OF_IT = """() => {
    const odd = "lkx, [onx], iframe, a[href^='javascript'], a[href^='http'][href*='//harm']";
    return [...document.querySelectorAll(odd)].map(one => one.outerHTML);
}"""
READY = ".stApp :is(h1, h2, .lk-headline)"


def test_nothing_comes_of_harmful_words(chromium: Browser, tmp_path: Path) -> None:
    """Every page stands, without an element, a link or an error of theirs."""
    hostile_book(tmp_path / "book", tmp_path / "source")
    with (
        served(tmp_path / "book", tmp_path) as address,
        in_browser(chromium, 1280, "light") as seen,
    ):
        for where in ADDRESSES:
            page = seen.open(address + where, READY)
            assert page.evaluate(CAME_OF_IT) == [], where
        assert seen.wrong == [] and seen.foreign == []
