"""Two mechanics on one bike, two tags of one bike, and a book that others write to."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from stand_book import BEGAN_AT, OTHER, OWNER, TAG, Clock, bench, bench_of, new_book, open_job

from ledger import clocks
from ledger.asking import Asker, NotForRole
from ledger.bench import drafts
from ledger.bench.drafts import Hand, amount, new_id
from ledger.bench.reading import came_back
from ledger.bench.scene import Scene, scene_of
from ledger.book import Book
from ledger.errors import Refused, UnknownBike


def test_each_sees_where_the_other_is(tmp_path: Path) -> None:
    """The other's clock and the positions of their entries, newest first; never one's own."""
    clock = Clock()
    book = new_book(tmp_path / "book", clock)
    hand = open_job(book)
    tom = Hand("tom", TAG, "J1")
    book.append([clocks.start_draft((), "tom", TAG, "J1", "brakes")])
    for position in ("rear_brake.pads", "rear_brake.lever", "rear_brake.pads"):
        clock.forward(minutes=3)
        book.append([drafts.treated(tom, new_id(), position, "cleaned")])
    book.append([drafts.treated(hand, new_id(), "chain", "cleaned")])
    (seen,) = bench(book, "mia").others
    assert (seen.mechanic, seen.task) == ("tom", "brakes")
    assert [position for position, _ in seen.at] == ["rear_brake.pads", "rear_brake.lever"]
    assert seen.running_since is not None and seen.running_since < seen.last_at
    (mine,) = bench(book, "tom").others
    assert mine.mechanic == "mia" and mine.running_since is None
    assert bench(book, "tom").clock is not None and bench(book, "mia").clock is None


def test_entries_of_yesterday_hold_nobody(tmp_path: Path) -> None:
    """After a night an entry says no longer that somebody is at the bike; a clock still does."""
    clock = Clock()
    book = new_book(tmp_path / "book", clock)
    open_job(book)
    tom = Hand("tom", TAG, "J1")
    book.append([drafts.treated(tom, new_id(), "chain", "cleaned")])
    clock.forward(hours=13)
    assert bench(book).others == ()
    book.append([clocks.start_draft((), "tom", TAG, "J1", "chain")])
    clock.forward(hours=13)
    assert [one.mechanic for one in bench(book).others] == ["tom"]


def test_an_entry_is_undone_by_a_strike(tmp_path: Path) -> None:
    """Own and others' entries of the job are listed newest first; a struck one is gone."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    tom = Hand("tom", TAG, "J1")
    one = new_id()
    book.append([drafts.noted(tom, one, "frame", "A dent by the head tube")])
    entry = bench(book).entries[0]
    assert (entry.event, entry.is_own, entry.data["text"]) == (
        one,
        False,
        "A dent by the head tube",
    )
    assert [note.text for note in bench(book).notes["frame"]] == ["A dent by the head tube"]
    book.append([drafts.struck(hand, new_id(), one, "wrong bike")])
    after = bench(book)
    assert one not in [entry.event for entry in after.entries] and "frame" not in after.notes


def test_a_press_sent_twice_is_one_event(tmp_path: Path) -> None:
    """The same id with the same content is answered with its first receipt."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    draft = drafts.noted(hand, new_id(), "frame", "A dent")
    first, second = book.append([draft]), book.append([draft])
    assert (first.events[0].seq, second.events[0].is_new) == (second.events[0].seq, False)


def test_a_mechanic_is_not_told_the_minutes_of_others(tmp_path: Path) -> None:
    """Their own are among the entries, somebody else's are not; the desk has no bench."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    tom = Hand("tom", TAG, "J1")
    book.append([drafts.labour(hand, new_id(), "chain", 11)])
    book.append([drafts.labour(tom, new_id(), "chain", 12)])
    seen = bench(book, "tom", Asker("mechanic", "tom"))
    assert [e.data["minutes"] for e in seen.entries if e.kind == "labour_logged"] == [12]
    owners = [e.data["minutes"] for e in bench(book).entries if e.kind == "labour_logged"]
    assert owners == [12, 11]
    with pytest.raises(NotForRole):
        bench(book, "dee", Asker("desk"))


def test_two_tags_of_one_bike_are_merged(tmp_path: Path) -> None:
    """A tag washed off, another was put on: linked, they are one bike with one history."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    book.append([drafts.found(hand, new_id(), "chain", "due", fault="worn")])
    book.append([drafts.registered("mia", OTHER, new_id(), description="green, no bell")])
    assert bench_of(book, OTHER, "mia", asker=OWNER).faults == ()
    book.append([drafts.linked("mia", new_id(), TAG, OTHER, "the old tag turned up")])
    for tag, other in ((TAG, OTHER), (OTHER, TAG)):
        seen = bench_of(book, tag, "mia", asker=OWNER)
        assert seen.bike.other_tags == (other,)
        assert [fault.fault for fault in seen.faults] == ["worn"]
        assert seen.job is not None and seen.job.job == "J1"
        assert seen.bike.make == "Ordwick" and seen.bike.rider == "r-1"
        assert seen.bike.description == "green, no bell", "as it was described last"


def test_a_tag_nobody_registered_is_told(tmp_path: Path) -> None:
    """Asking for it names the nearest tags and makes nothing up."""
    book = new_book(tmp_path / "book")
    with pytest.raises(UnknownBike, match="Did you mean 7K3M9QXA"):
        bench_of(book, "7K3M9QXB", "mia", asker=OWNER)


def test_what_came_back_is_told_as_of_the_booking_in(tmp_path: Path) -> None:
    """Nothing without a job; else what was open when the bike was booked in, not what was found
    since."""
    clock = Clock()
    book = new_book(tmp_path / "book", clock)
    assert came_back(book, bench(book)) is None
    hand = open_job(book)
    book.append([drafts.found(hand, new_id(), "chain", "due", fault="worn")])
    book.append([drafts.closed(hand, new_id(), [], "EUR")])
    clock.forward(hours=20)
    second = open_job(book, "J2")
    book.append([drafts.found(second, new_id(), "stem", "due", fault="play")])
    told = came_back(book, bench(book))
    assert told is not None and [one.position for one in told.carried] == ["chain"]


def _same(one: Scene, other: Scene) -> bool:
    return (one.tags, one.stored, one.state.fitted, one.state.faults, one.state.disturbed) == (
        other.tags,
        other.stored,
        other.state.fitted,
        other.state.faults,
        other.state.disturbed,
    )


PRESSES = ("note", "look", "torque", "adjust", "strike", "link", "unlink", "other", "terms")


@settings(max_examples=12, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(presses=st.lists(st.tuples(st.sampled_from(PRESSES), st.booleans()), max_size=12))
def test_what_is_followed_is_what_is_read_anew(
    tmp_path_factory: pytest.TempPathFactory, presses: list[tuple[str, bool]]
) -> None:
    """Whoever commits, from this server or another program, what a long-running page holds of a
    bike is what a book opened anew reads."""
    clock = Clock()
    path = tmp_path_factory.mktemp("followed") / "book"
    here = new_book(path, clock)
    hand = open_job(here)
    here.append([drafts.registered("mia", OTHER, new_id())])
    there = Book.open(path, clock=clock)
    links: list[str] = []
    for kind, is_here in presses:
        scene_of(here, TAG)
        writer = here if is_here else there
        stored = [e for e in here.bike_events(TAG) if e.kind in ("noted", "adjusted", "inspected")]
        made = {
            "note": drafts.noted(hand, new_id(), "frame", "A dent"),
            "look": drafts.found(hand, new_id(), "stem", "due", fault="play"),
            "torque": drafts.torqued(hand, new_id(), "stem", amount("5", "N·m")),
            "adjust": drafts.adjusted(hand, new_id(), "stem"),
            "other": drafts.noted(Hand("tom", OTHER), new_id(), "frame", "Rust"),
            "link": drafts.linked("mia", new_id(), TAG, OTHER),
            "terms": {
                **{"kind": "terms_set", "actor": "mia"},
                "data": {"from_on": "2026-01-02", "labour_rate_minor": 6000},
            },
        }  # fmt: skip
        if kind == "strike":
            if not stored:
                continue
            made["strike"] = drafts.struck(hand, new_id(), stored[-1].id, "a slip")
        if kind == "unlink":
            if not links:
                continue
            data = {"target": links.pop(), "reason": "not the same bike"}
            made["unlink"] = {"kind": "event_struck", "actor": "mia", "data": data}
        try:
            receipt = writer.append([made[kind]])
        except Refused:
            continue
        if kind == "link":
            links.append(receipt.events[0].id)
        anew = Book.open(path, clock=clock)
        assert _same(scene_of(here, TAG), scene_of(anew, TAG))
    assert clock.now - BEGAN_AT < timedelta(days=1)
