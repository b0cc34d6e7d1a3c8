"""The links to the pages, in the order the people of a workshop need them."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.markup import text
from ledger.asking import Asker, Sight


@dataclass(frozen=True)
class Way:
    """A page a click away from everywhere."""

    words: str
    path: str
    """Its path; empty for home."""
    sight: Sight | None = None
    """What one must see for the page to tell anything."""

    @property
    def where(self) -> str:
        """Its address."""
        return self.path or "."


WAYS = (
    Way("Home", ""),
    Way("Bench", "bench", "bench"),
    Way("Due", "due", "riders"),
    Way("Bikes", "bikes"),
    Way("Wear", "wear", "wear"),
    Way("Chains", "chains", "wear"),
    Way("Faults", "faults", "wear"),
    Way("Time", "time", "bench"),
    Way("Earnings", "earnings", "money"),
    Way("Quote", "quote", "quotes"),
)
COUNT_NEAR = 3
"""So many stand in sight on a phone; the others are unfolded."""


def ways(here: str, asker: Asker) -> str:
    """Give the links to the pages that tell the asker anything, the one shown marked as such.

    The later ones stand twice: in the row, and folded for where there is no room for it. One of
    the two is always out of sight and of reach.
    """
    shown = [way for way in WAYS if way.sight is None or asker.sees(way.sight)]
    near, far = shown[:COUNT_NEAR], shown[COUNT_NEAR:]
    row = "".join(_link(way, here) for way in near)
    row += "".join(_link(way, here, "lk-far") for way in far)
    is_far = any(way.path == here for way in far)
    mark = " lk-here" if is_far else ""
    named = next((way.words for way in far if way.path == here), "More")
    folded = "".join(_link(way, here) for way in far)
    return (
        f'<nav class="lk-ways" aria-label="Pages">{row}'
        f'<details class="lk-more"><summary class="{mark.strip()}">{text(named)}</summary>'
        f"<div>{folded}</div></details></nav>"
    )


def _link(way: Way, here: str, kind: str = "") -> str:
    mark = ' aria-current="page"' if way.path == here else ""
    named = f' class="{kind}"' if kind else ""
    return f'<a href="{way.where}" target="_self"{named}{mark}>{text(way.words)}</a>'
