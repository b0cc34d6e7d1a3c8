"""axe-core over every page, light and dark: nothing serious or critical that is ours.

What the framework's own markup does is let pass by `is_frameworks` alone, with its reason.
"""

from __future__ import annotations

from typing import Any

import came_back_book
import pytest
from home_book import ON_THE_BENCH, WORN
from playwright.sync_api import Page
from real_browser import Watched
from violations import grave_violations

from tests.long import times

pytestmark = [pytest.mark.browser, pytest.mark.slow, pytest.mark.xdist_group("browser_1")]

OWN = ".stApp :is(h1, h2, .lk-headline, .lk-blank, .lk-item), main h1"
IN_THE_SHOP = (
    "/",
    "/?rows=late",
    "/?rows=unsafe",
    "/?rows=come_backs",
    "/bikes",
    "/bikes?find=zzz",
    f"/bike?tag={ON_THE_BENCH}",
    f"/bike?tag={WORN[0]}",
    "/bike?tag=7K3M9Q99",
    "/due",
    "/wear",
    "/wear?family=chain%20elongation",
    f"/wear?tag={WORN[0]}",
    "/chains",
    "/faults",
    "/time",
    "/time?clock=1",
    "/time?job=service-0",
    "/earnings",
    "/earnings?what_if=full_service:10:-5",
    "/quote",
    "/quote?tier=full_service&tasks=brakes:45&price=90&sure=1",
    "/bench",
    f"/bench?tag={ON_THE_BENCH}&who=ada",
    "/sign-in",
)
CAME_BACK = tuple(
    f"/faults?as_at={came_back_book.AS_AT}{more}" for more in ("", "&by=place", "&sure=1")
)
EMPTY = ("/", "/bikes", "/bench", "/due", "/wear", "/chains", "/faults", "/time", "/earnings",
         "/quote")  # fmt: skip

TURNED = ("/", f"/wear?tag={WORN[0]}", "/earnings?what_if=full_service:10:-5", "/sign-in")
"""Text, charts, what is chosen and typed, and the page that is not the framework's."""
COLOURS = """() => [...document.querySelectorAll("body, body *")]
    .filter(one => one.checkVisibility({ visibilityProperty: true })).map(one => {
        const style = getComputedStyle(one), told = [...one.classList].filter(
            name => !name.startsWith("stAppEmbeddingId"));
        return [one.tagName, ...told, style.color, style.backgroundColor, style.borderColor,
            style.fill, style.stroke].join(" ");
    })"""
"""The colours of everything to be seen on a page."""


def is_frameworks(rule: str, node: dict[str, Any]) -> bool:
    """Say whether the framework's own markup is what breaks a rule.

    `svg-img-alt`, an empty layer of a chart: Vega writes `role="graphics-symbol"` on the group of
    a layer in which nothing is drawn, and names only what is drawn. There is nothing in it to name.
    """
    is_empty_layer = 'class="mark-' in node["html"] and node["html"].rstrip().endswith("></g>")
    return rule == "svg-img-alt" and is_empty_layer


def broken(page: Page) -> list[str]:
    """Give what is seriously or critically wrong on a page and ours to mend."""
    return [
        f"{one['id']}: {node['target']} {node['html'][:200]}"
        for one in grave_violations(page)
        for node in one["nodes"]
        if not is_frameworks(one["id"], node)
    ]


def checked(
    seen: Watched, address: str, paths: tuple[str, ...], looks: tuple[tuple[int, str], ...]
) -> dict[str, list[str]]:
    """Give what is wrong by page and look; a page without is not in it.

    Each page is loaded once, in the first look, and then turned to the others.
    """
    wrong: dict[str, list[str]] = {}
    seen.look(*looks[0])
    for path in paths:
        seen.page.goto(address + path)
        seen.page.wait_for_selector(OWN, timeout=60_000)
        for width, theme in seen.looks(looks):
            wrong[f"{path} at {width}, {theme}"] = broken(seen.page)
    return {path: told for path, told in wrong.items() if told}


def test_the_check_finds_what_is_wrong(shop: str, watched: Watched) -> None:
    """A picture without words and grey on grey, put into a page, are found."""
    watched.page.goto(shop)
    watched.page.wait_for_selector(OWN)
    watched.settle()
    watched.page.evaluate(
        """document.querySelector("h1").innerHTML = '<img src="data:,">' +
        '<span style="color:#999;background:#aaa;font-size:12px">faint</span>'"""
    )
    rules = {one.split(":")[0] for one in broken(watched.page)}
    assert {"image-alt", "color-contrast"} <= rules


def test_the_pages_of_a_shop(shop: str, watched: Watched) -> None:
    """Every page with something on it, its states among them, is right for all who read it."""
    # what is narrow is the same in the dark but for colours; both in one look but by `make long`
    wide_and_dark = ((1280, "light"), (1280, "dark"), (390, "light"))
    looks = times(wide_and_dark, ((1280, "light"), (390, "dark")))
    assert checked(watched, shop, IN_THE_SHOP, looks) == {}


@pytest.mark.parametrize("theme", ("light", "dark"))
def test_the_pages_of_faults(many: str, watched: Watched, theme: str) -> None:
    """With bars, curves and funnels too."""
    assert checked(watched, many, CAME_BACK, ((1280, theme),)) == {}


def test_the_pages_of_an_empty_book(empty: str, watched: Watched) -> None:
    """Each state with nothing in it is right too."""
    assert checked(watched, empty, EMPTY, ((768, "light"),)) == {}


@pytest.mark.parametrize("path", TURNED)
def test_a_page_turned_dark_is_what_it_is_loaded_dark(
    shop: str, watched: Watched, path: str
) -> None:
    """What is seen of a page that was turned holds for one that was opened in the dark."""
    found = []
    for first in ("light", "dark"):
        watched.look(1280, first)
        watched.page.goto(shop + path)
        watched.page.wait_for_selector(OWN, timeout=60_000)
        for _ in watched.looks(((1280, "dark"),)):
            found.append(set(watched.page.evaluate(COLOURS)))
    turned, loaded = found
    assert turned == loaded
    assert len(loaded) > 5
