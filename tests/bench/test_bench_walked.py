"""Where a walk goes on after it was interrupted, at any point of a service."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stand_book import OTHER, OWNER, TAG, bench, bench_of, new_book, open_job, scene

from ledger.bench import drafts
from ledger.bench.drafts import Hand, amount, new_id
from ledger.bench.handing_back import quoted_of
from ledger.bench.inspecting import systems_of
from ledger.bench.measuring import measures_of
from ledger.bench.pressures import pressures_of
from ledger.bench.stepping import KEYS, Items, goes_on, resumed, steps_of
from ledger.bench.torques import torqued_in, torques_of
from ledger.bench.walk import WALK
from ledger.bench.walked import GOES_ON, reached
from ledger.errors import LedgerError
from tests.strategies import BIKES, Life, lives

HAND = Hand("mia", TAG, "J1")
SYSTEMS = ("drivetrain", "front_brake", "rear_brake")
NOW = datetime(2030, 1, 1, tzinfo=UTC)


def _draft(step: str, item: str) -> dict[str, Any]:
    """Give what one press of a step records, for a script of presses."""
    event_id = new_id()
    made = {
        "distance": lambda: drafts.distance(HAND, event_id, amount("120", "km")),
        "inspect": lambda: drafts.found(HAND, event_id, item, "within limit"),
        "measure": lambda: drafts.measured(
            HAND, event_id, *item.split(), value=amount("0.2", "mm")
        ),
        "work": lambda: drafts.adjusted(HAND, event_id, item),
        "torque": lambda: drafts.torqued(HAND, event_id, item, amount("9", "N·m")),
        "pressures": lambda: drafts.pressure_set(HAND, event_id, item, amount("4", "bar")),
        "hand_back": lambda: drafts.released(HAND, event_id, True),
        "close": lambda: drafts.closed(HAND, event_id, [], "EUR"),
    }  # fmt: skip
    return made[step]()


SCRIPT: tuple[tuple[str, str], ...] = (
    ("distance", ""),
    *(
        ("inspect", system)
        for system in (
            *("drivetrain", "front_brake", "rear_brake", "front_wheel", "rear_wheel", "steering"),
            *("suspension", "frame", "contact", "electrical", "equipment"),
        )
    ),
    ("measure", "front_wheel runout"),
    ("measure", "rear_wheel runout"),
    ("work", "crank"),
    ("work", "stem"),
    ("torque", "crank"),
    ("torque", "stem"),
    ("pressures", "front_wheel.tyre"),
    ("pressures", "rear_wheel.tyre"),
    ("hand_back", ""),
    ("close", ""),
)


def test_an_interruption_resumes_at_the_very_step_and_item(tmp_path: Path) -> None:
    """Before each press of a service the place to go on at is that press's step, or the end of
    the one before it; within a step gone through one by one it is the very item."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    assert hand == HAND
    before = "booking"
    for step, item in SCRIPT:
        at = bench(book).at
        assert at.step in (step, *((before,) if before in GOES_ON else ("quote",))), (step, at)
        if at.step == step and step in ("inspect", "torque", "pressures"):
            assert at.item == item
        book.append([_draft(step, item)])
        before = step
    assert bench(book).job is None


@settings(max_examples=60)
@given(lives(35), st.data())
def test_the_place_never_lies_before_what_was_done(life: Life, data: st.DataObject) -> None:
    """After any part of any life: not before the furthest step reached, nothing skipped but
    steps that have nothing left, and the item is the first that is left."""
    bike = data.draw(st.sampled_from(BIKES))
    stored = life.of(bike)[: data.draw(st.integers(1, len(life.of(bike))))]
    seen = scene(stored, bike)
    job = seen.job_named(None)
    items = Items(
        systems_of(seen, job),
        measures_of(seen, job, NOW),
        quoted_of(seen, job),
        torques_of(seen, NOW),
        torqued_in(seen, job),
        pressures_of(seen, job, NOW),
    )
    at = goes_on(seen, job, items)
    steps = steps_of(seen, job, items, at)
    assert [one.state for one in steps].count("now") == 1
    assert at.item == items.first_left(at.step)
    if job is None:
        assert at.step in ("rider", "booking")
        return
    furthest = reached(seen.of_job(job)) or 0
    index = KEYS.index(at.step)
    assert index >= furthest
    if index == furthest and at.step != "close":
        assert at.step in GOES_ON and (at.step == "work" or at.item is not None)
    passed = KEYS[furthest + 1 : index]
    assert all(items.of(key) is not None and items.first_left(key) is None for key in passed)


def test_notes_advice_and_minutes_take_no_walk_further(tmp_path: Path) -> None:
    """What comes to mind while inspecting leaves the walk at inspecting."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    book.append([_draft("inspect", "drivetrain")])
    book.append(
        [
            drafts.noted(hand, new_id(), "front_wheel", "The axle is an odd one"),
            drafts.advised(hand, new_id(), "saddle", "watch", "soon"),
            drafts.labour(hand, new_id(), "inspection", 5),
        ]
    )
    assert (bench(book).at.step, bench(book).at.item) == ("inspect", "front_brake")


def test_a_step_that_was_kept_is_gone_on_with(tmp_path: Path) -> None:
    """Who skipped ahead goes on there; a step that is none, or needs a job, is passed over."""
    book = new_book(tmp_path / "book")
    open_job(book)
    seen = bench(book)
    assert resumed(seen, "pressures").item == "front_wheel.tyre"
    assert resumed(seen, None) == resumed(seen, "nonsense") == seen.at
    book.append([drafts.registered("mia", OTHER, new_id())])
    other = bench_of(book, OTHER, "mia", asker=OWNER)
    assert other.at.step == "rider" and resumed(other, "torque") == other.at
    assert resumed(other, "booking").step == "booking"


def test_of_several_open_jobs_the_last_is_worked_on_unless_one_is_named(tmp_path: Path) -> None:
    """A job that is not open is told, not made up."""
    book = new_book(tmp_path / "book")
    open_job(book, "J1")
    open_job(book, "J2")
    assert bench(book).job is not None and bench(book).job.job == "J2"
    assert bench(book, job="J1").job.job == "J1"
    assert [one.job for one in bench(book).jobs] == ["J1", "J2"]
    with pytest.raises(LedgerError, match="J9 is not open"):
        bench(book, job="J9")


def test_a_bike_nobody_knows_anything_of_is_an_ordinary_one(tmp_path: Path) -> None:
    """No make, no rider, no distance, no history: every part of the bench is there."""
    book = new_book(tmp_path / "book")
    book.append([drafts.registered("mia", OTHER, new_id())])
    seen = bench_of(book, OTHER, "mia", asker=OWNER)
    assert (seen.bike.make, seen.bike.distance_km, seen.bike.first_used_on) == (None, None, None)
    assert [one.key for one in seen.steps] == [step.key for step in WALK]
    assert seen.systems and seen.measures and seen.pressures and seen.entries
