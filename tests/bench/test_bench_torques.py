"""The torque pass: what is disturbed, what the maker says, and what a later part hides."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from stand_book import bench, new_book, open_job, scene

from ledger.bench import drafts
from ledger.bench.drafts import amount, new_id
from ledger.bench.torques import torqued_in, torques_of
from tests.strategies import BIKES, WORDS, Life, lives

NOW = datetime(2030, 1, 1, tzinfo=UTC)


@settings(max_examples=60)
@given(lives(30), st.data())
def test_the_list_is_what_the_state_says_is_disturbed(life: Life, data: st.DataObject) -> None:
    """After any part of a life the pass lists every position disturbed and not torqued since,
    each before whatever hides it, with the event and the person that disturbed it."""
    bike = data.draw(st.sampled_from(BIKES))
    stored = life.of(bike)[: data.draw(st.integers(1, len(life.of(bike))))]
    seen = scene(stored, bike)
    items = torques_of(seen, NOW)
    assert {one.position: one.disturbed_by for one in items} == dict(seen.state.disturbed)
    order = [one.position for one in items]
    for place, position in enumerate(order):
        assert not set(WORDS.positions[position].hides) & set(order[place + 1 :])
    by_id = {event.id: event for event in stored}
    assert all(by_id[one.disturbed_by].actor == one.actor for one in items)


@settings(max_examples=40)
@given(lives(30), st.sampled_from(BIKES))
def test_what_was_torqued_stands_in_the_job_it_was_set_in(life: Life, bike: str) -> None:
    """A torque is listed as set in this job only while nothing has voided it."""
    seen = scene(life.of(bike), bike)
    for job in {event.job for event in seen.stored if event.job}:
        for setting in torqued_in(seen, job):
            assert setting in seen.state.settings.values()
            assert setting.event in {event.id for event in seen.of_job(job)}


def test_a_maker_range_and_thread_are_offered_again(tmp_path: Path) -> None:
    """What the maker gives and how the thread was treated come with the next torque there."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    maker = {"maker_low": amount("4", "N·m"), "maker_high": amount("45", "lbf·in")}
    told = {**maker, "thread": "greased", "tool": "wrench"}
    first = drafts.torqued(hand, new_id(), "stem", amount("44", "lbf·in"), **told)
    book.append([first, drafts.adjusted(hand, new_id(), "stem")])
    (item,) = (one for one in bench(book).torques if one.position == "stem")
    assert (str(item.maker_low), str(item.maker_high)) == ("4.000", "5.084")
    assert (item.unit, item.thread, item.last_tool) == ("lbf·in", "greased", "wrench")
    assert item.last is not None and str(item.last.value) == "4.971"
    assert [tool.gauge for tool in item.tools] == ["wrench"]
    assert item.maker_event == first["id"]


def test_the_range_of_a_part_that_came_off_is_not_offered(tmp_path: Path) -> None:
    """A new stem has its own maker: only what its fitting told, or nothing, is given."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    maker = {"maker_low": amount("4", "N·m"), "maker_high": amount("5", "N·m")}
    book.append([drafts.torqued(hand, new_id(), "stem", amount("5", "N·m"), **maker)])
    limits = [{"quantity": "torque", "limit": amount("8", "N·m")}]
    book.append([drafts.fitted(hand, new_id(), "stem", None, limits=limits)])
    (item,) = (one for one in bench(book).torques if one.position == "stem")
    assert (item.maker_low, str(item.maker_high)) == (None, "8.000")
    (part,) = (one.part for one in bench(book).fitted if one.position == "stem")
    book.append([drafts.fitted(hand, new_id(), "stem", part)])
    (item,) = (one for one in bench(book).torques if one.position == "stem")
    assert (item.maker_low, item.maker_high, item.maker_event) == (None, None, None)
    assert item.last is not None and str(item.last.value) == "5.000"


def test_what_hides_a_position_is_told_with_how_it_stands(tmp_path: Path) -> None:
    """The cranks off, on again, and torqued: three states over the bottom bracket."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)

    def over_the_bottom_bracket() -> list[tuple[str, str]]:
        (item,) = (one for one in bench(book).torques if one.position == "bottom_bracket")
        return [(one.position, one.state) for one in item.hidden_by]

    found = {"is_found": True}
    book.append([drafts.fitted(hand, new_id(), "crank", None, **found)])
    book.append([drafts.removed(hand, new_id(), "crank")])
    book.append([drafts.fitted(hand, new_id(), "bottom_bracket", None)])
    assert over_the_bottom_bracket() == [("crank", "off")]
    book.append([drafts.fitted(hand, new_id(), "crank", None)])
    assert over_the_bottom_bracket() == [("crank", "on, not torqued")]
    order = [one.position for one in bench(book).torques]
    assert order.index("bottom_bracket") < order.index("crank")
    book.append([drafts.torqued(hand, new_id(), "crank", amount("40", "N·m"))])
    assert over_the_bottom_bracket() == [("crank", "on, torqued")]
    book.append([drafts.torqued(hand, new_id(), "bottom_bracket", amount("40", "N·m"))])
    assert [one.position for one in bench(book).torques] == ["crank"], "its torque is void now"


def test_a_torque_is_signed_by_whoever_sets_it(tmp_path: Path) -> None:
    """The event's actor is the hand that entered it, whoever disturbed the position."""
    book = new_book(tmp_path / "book")
    hand = open_job(book)
    book.append([drafts.adjusted(hand, new_id(), "saddle")])
    tom = drafts.Hand("tom", hand.bike, hand.job)
    book.append([drafts.torqued(tom, new_id(), "saddle", amount("10", "N·m"))])
    seen = bench(book)
    assert seen.torques == () and [one.position for one in seen.torqued] == ["saddle"]
    entry = next(one for one in seen.entries if one.event == seen.torqued[0].event)
    assert (entry.actor, entry.is_own) == ("tom", False)
