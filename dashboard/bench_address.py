"""What an address of the bench asks for: a bike, and the step, item and form to stand at."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from urllib.parse import urlencode

from dashboard.filters import fold_tag
from ledger.bench.walk import WALK

PLACE = "bench"
TAG, JOB, STEP, ITEM, FORM, FIND, WHO = "tag", "job", "step", "item", "form", "find", "who"
STEPS = tuple(step.key for step in WALK)
NEW, GONE = "new", "gone"
"""Forms of the finder: a bike that is new, and one that gets a new tag."""
LONGEST = 200
"""Signs of anything an address says; more of it is not read."""


@dataclass(frozen=True)
class BenchAsked:
    """What an address says, folded but not yet held against the book."""

    tag: str = ""
    job: str = ""
    step: str = ""
    """A key of the walk; empty where the walk itself says where it goes on."""
    item: str = ""
    """Within the step: see `ledger.bench.shapes.Place`."""
    form: str = ""
    """A short form that is opened within the step, such as a kind of work."""
    find: str = ""
    who: str = ""
    gone_job: str = ""
    """A job that was asked for and is not open on the bike, once that is known."""
    is_wild_step: bool = False
    """A step was asked for that no walk has."""

    def params(self, **other: str) -> dict[str, str]:
        """Give the address, with some of it changed, as parameters without empty ones."""
        asked = replace(self, **other)
        named = {
            TAG: asked.tag, JOB: asked.job, STEP: asked.step, ITEM: asked.item,
            FORM: asked.form, FIND: asked.find, WHO: asked.who,
        }  # fmt: skip
        return {name: value for name, value in named.items() if value}

    def where(self, **other: str) -> str:
        """Give the address as a link."""
        params = self.params(**other)
        return f"{PLACE}?{urlencode(params)}" if params else PLACE


def bench_asked(typed: Mapping[str, str]) -> BenchAsked:
    """Give what an address says; what cannot be is left out."""
    said = {
        name: typed.get(name, "").strip()[:LONGEST] for name in (JOB, STEP, ITEM, FORM, FIND, WHO)
    }
    step = said[STEP] if said[STEP] in STEPS else ""
    return BenchAsked(
        tag=fold_tag(typed.get(TAG, "")[:LONGEST]),
        job=said[JOB],
        step=step,
        item=said[ITEM] if step else "",
        form=said[FORM] if step or not typed.get(TAG) or said[FORM] in (NEW, GONE) else "",
        find=said[FIND],
        who=said[WHO],
        is_wild_step=bool(said[STEP]) and not step,
    )
