"""Where a walk stands: the items of each step, what is open of them, and which step comes next."""

from __future__ import annotations

from dataclasses import dataclass

from dashboard.bench_address import STEPS
from dashboard.bench_stand import Stand
from dashboard.bench_worked import tier_line
from ledger.bench.measuring import item_named
from ledger.bench.shapes import Bench, Place, SystemLook
from ledger.bench.stepping import resumed
from ledger.bench.walk import WALK

BEFORE_A_JOB = ("bike", "rider", "booking")
"""What can be gone through before a bike is booked in."""
ALL = "all"
"""As an item: the whole step, as a list."""
TITLES = {step.key: step.title for step in WALK}
SHORT = TITLES | {"answer": "Answer", "torque": "Torque"}
"""The words on the scale."""


@dataclass(frozen=True)
class Stands:
    """Where a page stands, and what was asked for that is not there."""

    place: Place
    wild: str = ""


def items(bench: Bench, step: str) -> dict[str, bool]:
    """Give the items of a step, and whether this job has them; none for a step without items."""
    if step == "inspect":
        return {one.system: one.is_done or _has_none(one) for one in bench.systems}
    if step == "measure":
        return {one.key: one.done is not None for one in bench.measures}
    if step == "torque":
        done = {one.position: True for one in bench.torqued}
        return done | {one.position: False for one in bench.torques}
    if step == "pressures":
        return {one.position: one.done is not None for one in bench.pressures}
    if step == "answer":
        return {one.line.line: one.answer in ("yes", "no") for one in bench.quoted}
    return {}


def _has_none(one: SystemLook) -> bool:
    """Say whether nothing of a system is on this bike."""
    return not one.rest.covers and all(
        left.why == "not on this bike" for left in one.rest.uncovered
    )


def open_items(stand: Stand, step: str) -> list[str]:
    """Give the items of a step that are neither recorded nor left out."""
    left = stand.left_out(step)
    return [
        key for key, is_done in items(stand.bench, step).items() if not is_done and key not in left
    ]


def next_item(stand: Stand, step: str, item: str) -> str:
    """Give the item that opens after one: the next open one, else the first; empty for none."""
    keys, still = list(items(stand.bench, step)), open_items(stand, step)
    later = keys[keys.index(item) + 1 :] if item in keys else []
    after = [key for key in later if key in still]
    return next(iter([*after, *(key for key in still if key != item)]), "")


def go_after(stand: Stand, step: str, item: str) -> None:
    """Go on from an item that was recorded or left out."""
    stand.go(step=step, item=next_item(stand, step, item))


def is_open(stand: Stand, step: str) -> bool:
    """Say whether a walk stops at a step."""
    if step in ("inspect", "measure", "torque", "pressures", "answer"):
        return bool(open_items(stand, step))
    if step in stand.left_out("steps"):
        return False
    if step == "quote":
        return _is_to_be_quoted(stand)
    return step in ("work", "hand_back", "close") or stand.step(step).state != "done"


def _is_to_be_quoted(stand: Stand) -> bool:
    """Say whether the tier that was booked has a price nobody was told yet."""
    job = stand.bench.job
    if job is None or job.tier is None or stand.bench.quoted:
        return False
    return tier_line(stand.book, job.tier) is not None


def next_step(stand: Stand, step: str) -> str:
    """Give the step a walk goes on to after one: the next one with something open in it."""
    later = STEPS[STEPS.index(step) + 1 :]
    if step == "hand_back" and not stand.bench.hand_back.is_released:
        return step
    return next((key for key in later if is_open(stand, key)), STEPS[-1])


def stands_at(stand: Stand) -> Stands:
    """Give where the page stands: as the address says, else where the walk goes on."""
    asked = stand.asked
    wild = stand.gone_job
    if asked.is_wild_step:
        wild = f"There is no step {stand.asked.step or 'of that name'} in a service."
    if stand.bench.job is None:
        is_before = asked.step in BEFORE_A_JOB
        return Stands(Place(asked.step) if is_before else _goes_on(stand), wild)
    if not asked.step:
        return Stands(_goes_on(stand), wild)
    known = items(stand.bench, asked.step)
    if asked.item and (asked.item in known or asked.item == ALL or _is_extra(stand)):
        return Stands(Place(asked.step, asked.item), wild)
    if asked.item:
        wild = f"{SHORT[asked.step]} has nothing of that name on this bike; this is what is open."
    return Stands(_in_step(stand, asked.step), wild)


def _is_extra(stand: Stand) -> bool:
    """Say whether a reading is asked for that is on no list, but can be taken."""
    asked = stand.asked
    return asked.step == "measure" and item_named(stand.book, stand.bench, asked.item) is not None


def _in_step(stand: Stand, step: str) -> Place:
    if not items(stand.bench, step):
        return Place(step)
    still = open_items(stand, step)
    if still:
        return Place(step, still[0])
    onward = next_step(stand, step)
    return _in_step(stand, onward) if onward != step else Place(step, ALL)


def _goes_on(stand: Stand) -> Place:
    """Give where the walk was left: where somebody went last, or after what was recorded last."""
    place = resumed(stand.bench, stand.kept("walk").get("step"))
    if place.item is None or place.item in open_items(stand, place.step):
        return place
    return _in_step(stand, place.step)
