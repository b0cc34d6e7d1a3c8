"""How far the walk is, step by step, and where it goes on."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from ledger.bench.scene import Scene
from ledger.bench.shapes import (
    Bench,
    MeasureItem,
    Place,
    PressureItem,
    StepAt,
    StepState,
    SystemLook,
    TorqueItem,
)
from ledger.bench.walk import WALK
from ledger.bench.walked import GOES_ON, reached, step_of
from ledger.quotes import QuotedLine
from ledger.view import Setting

KEYS = tuple(step.key for step in WALK)


@dataclass(frozen=True, slots=True)
class Items:
    """What the steps of a walk are gone through for."""

    systems: tuple[SystemLook, ...]
    measures: tuple[MeasureItem, ...]
    quoted: tuple[QuotedLine, ...]
    torques: tuple[TorqueItem, ...]
    torqued: tuple[Setting, ...]
    pressures: tuple[PressureItem, ...]

    def of(self, step: str) -> list[tuple[str, bool]] | None:
        """Give the items of a step, each with whether it is done; None for a step without any."""
        listed: dict[str, Callable[[], list[tuple[str, bool]]]] = {
            "inspect": lambda: [(one.system, one.is_done) for one in self.systems],
            "measure": lambda: [(one.key, one.done is not None) for one in self.measures],
            "answer": lambda: [(q.line.line, q.answer in ("yes", "no")) for q in self.quoted],
            "torque": lambda: [
                *((one.position, True) for one in self.torqued),
                *((one.position, False) for one in self.torques),
            ],
            "pressures": lambda: [(one.position, one.done is not None) for one in self.pressures],
        }
        return listed[step]() if step in listed else None

    def first_left(self, step: str) -> str | None:
        """Give the first item of a step that is not done."""
        return next((item for item, is_done in self.of(step) or () if not is_done), None)


def items_of(bench: Bench) -> Items:
    """Give what the steps of a bench are gone through for."""
    return Items(
        bench.systems, bench.measures, bench.quoted, bench.torques, bench.torqued, bench.pressures
    )


def goes_on(scene: Scene, job: str | None, items: Items) -> Place:
    """Give the step and the item at which a walk goes on.

    That is the furthest step that something was entered in, as long as anything of it is left,
    else the next one that asks anything. Before a job is open it is who rides, where nobody ever
    said, and booking in.
    """
    if job is None:
        is_told = any(event.kind == "rider_changed" for event in scene.counted)
        return Place("booking" if is_told else "rider")
    last = reached(scene.of_job(job))
    index = KEYS.index("booking") if last is None else last
    if not _asks_more(KEYS[index], items):
        index = next(
            (at for at in range(index + 1, len(KEYS)) if _asks(KEYS[at], items)), len(KEYS) - 1
        )
    return Place(KEYS[index], items.first_left(KEYS[index]))


def _asks_more(step: str, items: Items) -> bool:
    """Tell whether a step that something was entered in goes on."""
    return step in GOES_ON and (step == "work" or items.first_left(step) is not None)


def _asks(step: str, items: Items) -> bool:
    """Tell whether a step that is come to asks anything."""
    listed = items.of(step)
    return listed is None or any(not is_done for _, is_done in listed)


def resumed(bench: Bench, kept_step: str | None) -> Place:
    """Give where a person goes on who was last at a step, as kept with what is half typed.

    The item is the first of that step that is left. Without a step kept, or with none of the
    walk's, it is where the entries say (`bench.at`).
    """
    if kept_step not in KEYS or (bench.job is None and KEYS.index(kept_step) > 2):
        return bench.at
    return Place(kept_step, items_of(bench).first_left(kept_step))


def steps_of(scene: Scene, job: str | None, items: Items, at: Place) -> tuple[StepAt, ...]:
    """Give every step of the walk, with how much of it this job has."""
    counts = _counts(scene, job)
    now = KEYS.index(at.step)
    return tuple(_step(index, now, counts, items) for index in range(len(WALK)))


def _counts(scene: Scene, job: str | None) -> dict[str, int]:
    counts = {"bike": 1, "rider": int(bool(scene.state.rider or scene.state.keeper))}
    for event in scene.of_job(job) if job else ():
        step = step_of(event)
        counts[step] = counts.get(step, 0) + 1
    return counts


def _step(index: int, now: int, counts: Mapping[str, int], items: Items) -> StepAt:
    step = WALK[index]
    listed = items.of(step.key)
    done = counts.get(step.key, 0) if listed is None else sum(is_done for _, is_done in listed)
    state: StepState = "now" if index == now else "done" if done else "to come"
    if not done and index < now:
        state = "left out"
    return StepAt(step.key, step.title, state, done, None if listed is None else len(listed))
