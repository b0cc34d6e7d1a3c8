"""What "the rest of this system within limit" covers, and what it must never cover."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from stand_book import OTHER, OWNER, TAG, bench, bench_of, new_book, open_job, scene

from ledger.bench import drafts
from ledger.bench.drafts import amount, new_id
from ledger.bench.inspecting import positions_of, rest_of
from ledger.bench.on_bike import EVERY_BIKE
from ledger.events import Event, parse_event
from ledger.state import apply
from tests.strategies import BIKES, WORDS, Life, event_id, lives


def _jobs(stored: list[Event]) -> list[str | None]:
    return [None, *sorted({event.job for event in stored if event.job})]


def _live_inspections(stored: list[Event], job: str | None) -> set[str]:
    struck = {event.data.target for event in stored if event.kind == "event_struck"}
    found: set[str] = set()
    for event in stored:
        if event.kind == "inspected" and event.job == job and job and event.id not in struck:
            found |= {event.data.position, *event.data.covers}
    return found


@settings(max_examples=60)
@given(lives(30), st.data())
def test_nothing_with_something_against_it_is_ever_covered(life: Life, data: st.DataObject) -> None:
    """Covered is no position with a finding of this job, an open fault, an unsafe finding or a
    reading past its limit; and every position is covered, or listed with the reason."""
    bike = data.draw(st.sampled_from(BIKES))
    stored = life.of(bike)[: data.draw(st.integers(1, len(life.of(bike))))]
    seen = scene(stored, bike)
    job = data.draw(st.sampled_from(_jobs(stored)))
    looked = _live_inspections(stored, job)
    past = {r.position for r in seen.state.readings.values() if r.verdict in ("due", "unsafe")}
    against = {
        "looked at in this job": looked,
        "open fault": {position for position, _ in seen.state.faults},
        "unsafe": {one.position for one in seen.state.unsafe.values()},
        "past its limit": past,
    }
    for system in WORDS.systems:
        rest = rest_of(seen, system, job)
        for reason, positions in against.items():
            assert not positions & set(rest.covers), reason
        assert all(
            one.position in against[one.why]
            for one in rest.uncovered
            if one.why != "not on this bike"
        )
        told = [*rest.covers, *(one.position for one in rest.uncovered)]
        whole = set(positions_of(WORDS, system)) - ({system} - set(EVERY_BIKE) - set(told))
        assert sorted(told) == sorted(whole)


@settings(max_examples=40)
@given(lives(30), st.sampled_from(BIKES))
def test_a_look_at_the_rest_settles_nothing_that_was_found(life: Life, bike: str) -> None:
    """Recording the rest of every system leaves every open fault and unsafe finding standing."""
    seen = scene(life.of(bike), bike)
    before = after = seen.state
    for number, system in enumerate(WORDS.systems):
        rest = rest_of(seen, system, None)
        if rest.covers:
            draft = drafts.rest_within(drafts.Hand("mia", bike), event_id(9000 + number), rest)
            at = {"occurred_at": max(life.instants()), "shop": "quayside", "seq": 9000 + number}
            after = apply(after, parse_event({**draft, **at}), WORDS)
    assert (after.faults, after.unsafe, after.readings) == (
        before.faults,
        before.unsafe,
        before.readings,
    )


def test_the_rest_is_entered_beside_a_finding_at_the_system_itself(tmp_path: Path) -> None:
    """A wheel found unsafe stays so when the rest of it is within its limit."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    book.append([drafts.found(hand, new_id(), "front_wheel", "unsafe", fault="cracked")])
    rest = next(one.rest for one in bench(book).systems if one.system == "front_wheel")
    assert rest.position in rest.covers and rest.position != "front_wheel"
    book.append([drafts.rest_within(hand, new_id(), rest)])
    after = bench(book)
    assert [one.position for one in after.hand_back.unsafe] == ["front_wheel"]
    done = next(one for one in after.systems if one.system == "front_wheel")
    assert done.is_done and done.rest.covers == () and done.count_found == 1


def test_a_press_records_exactly_what_it_lists(tmp_path: Path) -> None:
    """The event's list is the list that was shown, and the next press has nothing left."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    worn = amount("0.4", "mm")
    pads = ("rear_brake.pads", "thickness")
    book.append([drafts.measured(hand, new_id(), *pads, value=worn)])
    rest = next(one.rest for one in bench(book).systems if one.system == "rear_brake")
    why = {one.position: one.why for one in rest.uncovered}
    assert why["rear_brake.pads"] == "unsafe"
    book.append([drafts.rest_within(hand, new_id(), rest)])
    stored = book.bike_events(TAG)[-1].data
    assert (stored.position, stored.covers) == ("rear_brake", rest.covers)
    assert set(rest.covers) == {"rear_brake.lever", "rear_brake.hose"}
    again = next(one for one in bench(book).systems if one.system == "rear_brake")
    assert again.is_done and again.rest.covers == ()


def test_a_struck_look_leaves_its_positions_to_be_looked_at(tmp_path: Path) -> None:
    """Undoing the rest of a system by a strike gives back what it covered."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    rest = next(one.rest for one in bench(book).systems if one.system == "steering")
    one = new_id()
    book.append([drafts.rest_within(hand, one, rest)])
    book.append([drafts.struck(hand, new_id(), one, "wrong bike")])
    again = next(one for one in bench(book).systems if one.system == "steering")
    assert not again.is_done and again.rest == rest


@pytest.mark.parametrize(
    ("kind", "motor", "pads"),
    [("e_bike", True, True), ("city", False, True), ("child", False, False)],
)
def test_what_stands_on_a_kind_of_bike_is_covered(
    tmp_path: Path, kind: str, motor: bool, pads: bool
) -> None:
    """A motor only where the kind has one; no brake pads for a child's bike nobody looked at."""
    book = new_book(tmp_path / "book")
    book.append([drafts.registered("mia", OTHER, new_id(), bike_kind=kind)])
    seen = bench_of(book, OTHER, "mia", asker=OWNER)
    covers = {one.system: set(one.rest.covers) for one in seen.systems}
    assert ("motor" in covers["electrical"]) is motor
    assert ("rear_brake.pads" in covers["rear_brake"]) is pads
    assert "frame" in covers["frame"]
