"""How the bench page stands on phone, tablet and desk: sizes for a thumb, and its pictures."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import bench_book
import pytest
from bench_book import OPEN_JOB, OPEN_TAG, TAG, UNKNOWN
from kept_screens import keep
from playwright.sync_api import Page
from real_browser import Watched, served
from violations import grave_violations

from ledger.bench import drafts
from tests.long import IS_LONG

pytestmark = [pytest.mark.browser, pytest.mark.xdist_group("browser_2")]

LEAST, GAP = 64, 12
"""Pixels: what a thumb in a glove meets, and what keeps it from meeting two."""
STATES = {
    "find": "",
    "new": "form=new",
    "gone": "form=gone",
    "new tag": "tag=4W3VQHRB",
    "bike": f"tag={TAG}&step=bike",
    "booking": f"tag={TAG}&step=booking",
    "rider": f"tag={OPEN_TAG}&step=rider",
    "distance": f"tag={OPEN_TAG}&step=distance",
    "inspect": f"tag={OPEN_TAG}&step=inspect&item=rear_brake",
    "found": f"tag={OPEN_TAG}&step=inspect&item=rear_brake&form=due",
    "unchecked": f"tag={OPEN_TAG}&step=inspect&item=rear_brake&form=not checked",
    "measure": f"tag={OPEN_TAG}&step=measure&item=chain elongation",
    "marks": f"tag={OPEN_TAG}&step=measure&item=chain elongation&form=marks",
    "length": f"tag={OPEN_TAG}&step=measure&item=chain elongation&form=length",
    "teeth": f"tag={OPEN_TAG}&step=measure&item=cassette tooth_wear&form=teeth",
    "quote": f"tag={OPEN_TAG}&step=quote",
    "work": f"tag={OPEN_TAG}&step=work",
    "fit": f"tag={OPEN_TAG}&step=work&form=fit",
    "search": f"tag={OPEN_TAG}&step=work&form=search",
    "jobs": f"tag={UNKNOWN}",
    "torque": f"tag={OPEN_TAG}&step=torque",
    "pressures": f"tag={OPEN_TAG}&step=pressures",
    "hand_back": f"tag={OPEN_TAG}&step=hand_back",
    "close": f"tag={OPEN_TAG}&step=close",
}
KEPT = ("find", "inspect", "measure", "torque", "work", "hand_back")
SIZES = ((390, "dark"), (768, "light"), (1280, "light"))
"""Each state is loaded on a phone in the dark."""
BETWEEN = SIZES[1]
"""In this one axe-core is asked by `make long` alone."""
TOO_SMALL = """([least, gap]) => {
    const pressed = "a, button, summary, input, [role='option']";
    // a field is as large as its frame
    const frames = "[data-testid='stTextInputRootElement'], [role='group']";
    const isShown = (one) => one.getClientRects().length && one.tabIndex >= 0 && !one.disabled
        && getComputedStyle(one).visibility !== "hidden" && !one.closest("[inert]");
    const boxes = [...document.querySelectorAll(pressed)].filter(isShown).map((one) => {
        const frame = one.closest(frames) || one, box = frame.getBoundingClientRect();
        const name = one.innerText || one.getAttribute("aria-label") || one.tagName;
        return { name: name.slice(0, 40), frame, box };
    }).filter((one) => one.box.right > 0 && one.box.bottom > 0);
    const small = boxes
        .filter(({ box }) => box.width < least - 0.5 || box.height < least - 0.5)
        .map(({ name, box }) => `${name}: ${Math.round(box.width)} x ${Math.round(box.height)}`);
    const near = [];
    boxes.forEach((one, place) => boxes.slice(place + 1).forEach((other) => {
        if (one.frame.contains(other.frame) || other.frame.contains(one.frame)) return;
        const [a, b] = [one.box, other.box];
        const across = Math.max(b.left - a.right, a.left - b.right);
        const apart = Math.max(across, b.top - a.bottom, a.top - b.bottom);
        if (apart < gap - 0.5) near.push(`${one.name} | ${other.name}: ${Math.round(apart)}`);
    }));
    return { small, near };
}"""
"""What on the page is smaller than it may be, or nearer to another."""
FRAMEWORKS = ("Skip to main content",)
"""Presses of the framework's own: shown to the keyboard alone, never to a thumb."""


@pytest.fixture(scope="module")
def address(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A server over the bench's book, with a crank and a bottom bracket disturbed on one bike."""
    folder = tmp_path_factory.mktemp("bench")
    book = bench_book.bench_book(folder / "book")
    ben = drafts.Hand("ben", OPEN_TAG, OPEN_JOB)
    book.append(
        [
            drafts.adjusted(ben, drafts.new_id(), "bottom_bracket"),
            drafts.adjusted(ben, drafts.new_id(), "crank"),
            drafts.found(ben, drafts.new_id(), "rear_brake.pads", "due", fault="worn"),
            drafts.noted(ben, drafts.new_id(), "rear_brake", "Mineral oil in this one"),
            drafts.job_opened("ben", UNKNOWN, "job-first", drafts.new_id()),
            drafts.job_opened("ben", UNKNOWN, "job-second", drafts.new_id(), tier="quick_check"),
        ]
    )
    with served(folder / "book", folder) as where:
        yield where


def grave(page: Page) -> list[str]:
    """Give what is seriously or critically wrong on a page (axe-core)."""
    return [
        f"{one['id']}: {[node['target'] for node in one['nodes']][:3]}"
        for one in grave_violations(page)
    ]


def test_every_state_is_for_a_thumb_in_a_glove_and_in_nobodys_way(
    address: str, watched: Watched, tmp_path: Path
) -> None:
    """In each: 64 px and 12 px between, nothing off the side, nothing serious or critical.

    Each state is loaded once and turned to each size, light or dark. The main states' pictures are
    kept where that is asked for.
    """
    wrong = {}
    page = watched.page
    watched.look(*SIZES[0])
    for state, more in STATES.items():
        watched.open(f"{address}/bench?who=ada&{more}", ".st-key-bench .lk-item")
        for width, theme in watched.looks(SIZES):
            at = f"{state} at {width}"
            assert page.evaluate("document.documentElement.scrollWidth") <= width, at
            found = page.evaluate(TOO_SMALL, [LEAST, GAP])
            small = [one for one in found["small"] if not one.startswith(FRAMEWORKS)]
            if state in KEPT:
                file = f"bench_{state}-{width}-{theme}.png"
                keep(page.screenshot(path=tmp_path / file), file)
            is_asked = IS_LONG or (width, theme) != BETWEEN
            told = [*small, *found["near"], *(grave(page) if is_asked else ())]
            if told:
                wrong[at] = told
    assert wrong == {}
