"""Whom to call: which parts are due, on whose bikes, in what order, and what is not said."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from due_books import (
    CROW,
    GULL,
    NOW,
    TERN,
    bikes_of,
    book_of,
    chain,
    consenting,
    fitted,
    km,
    pads,
    parts_of,
    registered,
    ridden,
    whose,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.book import Book
from ledger.figures.due import due_list
from ledger.figures.wear import wear_of
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from tests.bike_moves import Move
from tests.strategies import Life, life_of


def test_a_chain_past_its_limit_by_now_is_called_about(tmp_path: Path) -> None:
    """What it was read at, its limit, and by about how much it is past it by now."""
    (part,) = parts_of(due_list(book_of(tmp_path, *ridden(GULL)), NOW))
    assert (part.place, part.quantity_label, part.standing) == ("chain", "chain wear", "past")
    assert part.reading is not None
    assert (part.reading.value, part.limit, part.count_readings) == (0.6, 0.75, 1)
    assert part.chance_past is not None and 0.5 <= part.chance_past < 1
    # By hand: 0.2 % per 1,000 km, 151 days of 8.2 km since: 0.85 %, or 490 km past 0.75 %.
    assert part.beyond == pytest.approx(490, abs=200)
    assert part.days_beyond == pytest.approx(part.beyond / (3000 / 365), rel=0.1)


def test_a_chain_far_from_its_limit_is_not_called_about(tmp_path: Path) -> None:
    """Neither a chance of half nor a middle date within the days: nobody is called."""
    found = due_list(book_of(tmp_path, *ridden(GULL, "0.2")), NOW)
    assert (found.calls, found.bench, found.count_calls) == ((), (), 0)


def test_what_comes_within_the_days_asked_is_called_about(tmp_path: Path) -> None:
    """The middle date decides: a day less than until it, and the part is not in the list."""
    book = book_of(tmp_path, *ridden(GULL, "0.45"))
    (worn,) = wear_of(book, NOW).parts
    assert worn.due_on is not None and worn.due_on.middle is not None
    days = (worn.due_on.middle - NOW.date()).days
    assert days > 28 and worn.chance_past is not None and worn.chance_past < 0.5
    assert due_list(book, NOW, within_days=days - 1).calls == ()
    (part,) = parts_of(due_list(book, NOW, within_days=days))
    assert (part.standing, part.on) == ("coming", worn.due_on)
    assert part.week == worn.due_on.middle - timedelta(days=worn.due_on.middle.weekday())


def test_a_part_that_came_off_is_not_called_about(tmp_path: Path) -> None:
    """The worn chain was replaced; the new one has not been read and is not due."""
    new = fitted("2026-02-01", GULL, "chain", "B", replaces=f"{GULL}-chain")
    assert due_list(book_of(tmp_path, *ridden(GULL), new), NOW).calls == ()


def test_a_chain_read_past_its_limit_is_called_about_whatever_the_fit_says(
    tmp_path: Path,
) -> None:
    """A reading past the limit stands, even where the way there cannot be explained."""
    book = book_of(
        tmp_path, registered(GULL), fitted("2026-05-20", GULL, "chain", "A"),
        chain("2026-05-25", GULL, "1.1"),
    )  # fmt: skip
    (part,) = parts_of(due_list(book, NOW))
    assert (part.standing, part.was_past) == ("past", True)


def test_struck_readings_call_nobody(tmp_path: Path) -> None:
    """Once everything that was read is struck, nothing is due."""
    book = book_of(tmp_path, *ridden(GULL))
    (read,) = (event for event in book.events() if event.kind == "measured")
    book.strike(read.id, reason="wrong bike", actor="mia")
    assert due_list(book, NOW).calls == ()
    assert parts_of(due_list(book, NOW, known_seq=book.head.size - 1)) != []


def test_only_the_most_pressing_point_of_a_part_is_told(tmp_path: Path) -> None:
    """Two sprockets of one cassette are one thing to call about, the more worn named."""

    def tooth(point: str, figure: str) -> Any:
        value = {"value": figure, "unit": "mm"}
        data = {"position": "cassette", "quantity": "tooth_wear", "point": point, "value": value}
        return "2026-05-01", "measured", GULL, data

    book = book_of(
        tmp_path, registered(GULL), km("2025-01-01", GULL, 0),
        fitted("2025-01-01", GULL, "cassette", "C"), km("2026-05-01", GULL, 9000),
        tooth("15T", "0.95"), tooth("17T", "1.4"),
    )  # fmt: skip
    (part,) = parts_of(due_list(book, NOW))
    assert (part.point, part.place) == ("17T", "cassette (17T)")


def test_a_bike_on_the_bench_is_told_to_the_mechanic(tmp_path: Path) -> None:
    """While a job is open nobody is called about the bike; once it is closed, somebody is."""
    opened = ("2026-05-30", "job_opened", GULL, {"_job": "J1"})
    book = book_of(tmp_path, *ridden(GULL), opened)
    found = due_list(book, NOW)
    assert found.calls == ()
    assert [(bike.bike, bike.jobs[0].job) for bike in found.bench] == [(GULL, "J1")]
    closed = {"kind": "job_closed", "bike": GULL, "job": "J1", "actor": "mia", "data": {}}
    book.append([{**closed, "occurred_at": "2026-05-31T12:00:00Z"}])
    found = due_list(book, NOW)
    assert ([bike.bike for bike in bikes_of(found)], found.bench) == ([GULL], ())


def test_several_bikes_of_one_keeper_are_one_call(tmp_path: Path) -> None:
    """One call and one message for both, though two people ride them."""
    book = book_of(
        tmp_path, *ridden(GULL), *ridden(TERN), *ridden(CROW),
        whose(GULL, "r1", "fleet"), whose(TERN, "r2", "fleet"), whose(CROW, "r3"),
    )  # fmt: skip
    consenting(book, "fleet", "Fleet Office")
    by_keeper = {call.keeper.rider: call for call in due_list(book, NOW).calls}
    assert {one: {bike.bike for bike in call.bikes} for one, call in by_keeper.items()} == {
        "fleet": {GULL, TERN},
        "r3": {CROW},
    }
    message = by_keeper["fleet"].message
    assert message is not None and message.count("Hello") == 1
    assert GULL in message and TERN in message and CROW not in message


def test_bikes_of_nobody_known_are_calls_of_their_own(tmp_path: Path) -> None:
    """Where no rider was ever named, two bikes are not taken for one person's."""
    found = due_list(book_of(tmp_path, *ridden(GULL), *ridden(TERN)), NOW)
    assert [len(call.bikes) for call in found.calls] == [1, 1]
    assert [call.keeper.rider for call in found.calls] == [None, None]


@pytest.mark.parametrize("is_registered", [True, False])
def test_without_consent_nothing_but_the_id_is_given(tmp_path: Path, is_registered: bool) -> None:
    """No name, no contact and no message of somebody who did not agree to be contacted."""
    book = book_of(tmp_path, *ridden(GULL), whose(GULL, "r1"))
    if is_registered:
        consenting(book, "r1", "Inge Marsh", may_contact=False)
    found = due_list(book, NOW)
    (call,) = found.calls
    assert (call.keeper.rider, call.keeper.is_registered) == ("r1", is_registered)
    assert (call.keeper.name, call.keeper.phone, call.keeper.email, call.message) == (None,) * 4
    assert "Inge" not in repr(found) and "555-" not in repr(found)


def test_with_consent_name_and_contact_are_given(tmp_path: Path) -> None:
    """The keeper who agreed is named, the rider who did not stays an id."""
    book = book_of(tmp_path, *ridden(GULL), whose(GULL, "r1", "k1"))
    consenting(book, "k1", "Inge Marsh")
    consenting(book, "r1", "Ada Reed", may_contact=False)
    found = due_list(book, NOW)
    (call,) = found.calls
    assert (call.keeper.name, call.keeper.phone) == ("Inge Marsh", "555-k1")
    assert call.message is not None and call.message.startswith("Hello Inge Marsh,")
    assert "Ada" not in repr(found)


def test_rider_and_bike_keep_what_is_asked_for(tmp_path: Path) -> None:
    """A rider's id finds what they ride and what they keep; a tag finds the one bike."""
    book = book_of(
        tmp_path, *ridden(GULL), *ridden(TERN), *ridden(CROW),
        whose(GULL, "r1", "r2"), whose(TERN, "r2"), whose(CROW, "r3"),
    )  # fmt: skip

    def asked(**more: Any) -> set[str]:
        return {bike.bike for bike in bikes_of(due_list(book, NOW, **more))}

    assert asked(rider="r1") == {GULL}
    assert asked(rider="r2") == {GULL, TERN}
    assert asked(bike=CROW) == {CROW}
    assert asked(rider="r1", bike=CROW) == set()


def test_the_limit_keeps_the_most_pressing_calls(tmp_path: Path) -> None:
    """The first of all calls is kept, and how many there are is still told."""
    book = book_of(tmp_path, *ridden(GULL, "0.65"), *ridden(TERN, "1.2"), *ridden(CROW, "0.7"))
    whole = due_list(book, NOW)
    first = due_list(book, NOW, limit=1)
    assert first.calls == whole.calls[:1]
    assert (first.count_calls, first.calls[0].bikes[0].bike) == (3, TERN)


def test_past_comes_before_coming_and_coming_goes_by_date(tmp_path: Path) -> None:
    """By chance and how long past, then by the middle date."""
    book = book_of(tmp_path, *ridden(GULL, "0.38"), *ridden(TERN, "1.3"), *ridden(CROW, "0.42"))
    found = due_list(book, NOW, within_days=900)
    order = [call.bikes[0].bike for call in found.calls]
    assert order[0] == TERN
    coming = [call.first for call in found.calls if call.first.standing == "coming"]
    days = [part.on.middle for part in coming if part.on]
    assert len(days) == 2 and days == sorted(days, key=lambda day: day or date.max)


def rotor(day: str, bike: str, figure: str) -> Any:
    value = {"value": figure, "unit": "mm"}
    data = {"position": "rear_brake.rotor", "quantity": "thickness", "value": value}
    return day, "measured", bike, data


def rotors() -> list[Any]:
    """A found rotor read once, long ago, at 1.65 mm; others of two rates."""
    entries = [rotor("2025-01-02", GULL, "1.65")]
    entries += [rotor("2025-01-02", TERN, "1.8"), rotor("2026-05-30", TERN, "1.75")]
    entries += [rotor("2025-01-02", CROW, "1.8"), rotor("2026-05-30", CROW, "1.6")]
    for bike in (GULL, TERN, CROW):
        entries += [registered(bike), km("2025-01-01", bike, 0), km("2026-05-30", bike, 5000)]
        entries += [fitted("2025-01-01", bike, "rear_brake.rotor", f"{bike}-R", is_found=True)]
    return sorted(entries, key=lambda entry: (entry[0], entry[1] == "measured"))


def test_an_old_reading_that_tells_nothing_asks_for_a_look(tmp_path: Path) -> None:
    """Where the dates go from today to over a year from now, no date is given."""
    found = due_list(book_of(tmp_path, *rotors()), NOW, within_days=28)
    (part,) = (bike.parts[0] for bike in bikes_of(found) if bike.bike == GULL)
    assert part.on is not None and part.on.early is not None
    assert part.on.early <= NOW.date()
    assert part.on.late is None or part.on.late > (NOW + timedelta(days=365)).date()
    assert (part.standing, part.week) == ("unclear", None)


def test_a_bike_not_seen_for_long_is_counted_and_not_called_about(tmp_path: Path) -> None:
    """Seen 151 days before: within 151 days it is called about, within 150 it is counted."""
    book = book_of(tmp_path, *ridden(GULL), *ridden(TERN), km("2026-05-31", TERN, 5000))
    whole = due_list(book, NOW, seen_within_days=151)
    assert ({bike.bike for bike in bikes_of(whole)}, whole.count_long_unseen) == ({GULL, TERN}, 0)
    assert whole.seen_since == date(2026, 1, 1)
    few = due_list(book, NOW, seen_within_days=150)
    assert ({bike.bike for bike in bikes_of(few)}, few.count_long_unseen) == ({TERN}, 1)
    assert few.count_calls == 1
    every = due_list(book, NOW + timedelta(days=900), seen_within_days=None)
    assert (len(bikes_of(every)), every.seen_since, every.count_long_unseen) == (2, None, 0)
    usual = due_list(book, NOW + timedelta(days=900))
    assert (usual.calls, usual.count_long_unseen, usual.seen_within_days) == ((), 2, 540)


def test_a_bike_with_a_job_open_is_on_the_bench_however_long_ago_it_came(tmp_path: Path) -> None:
    """It stands in the shop, so nobody need see it again to know where it is."""
    opened = ("2026-01-02", "job_opened", GULL, {"_job": "J1"})
    found = due_list(book_of(tmp_path, *ridden(GULL), opened), NOW, seen_within_days=10)
    assert ([bike.bike for bike in found.bench], found.count_long_unseen) == ([GULL], 0)


def test_the_days_are_those_of_the_books_time_zone(tmp_path: Path) -> None:
    """At 20:00 UTC it is the next day in Auckland, and so it is with what is due."""
    book = book_of(tmp_path, *ridden(GULL, "0.45"), time_zone="Pacific/Auckland")
    noon, evening = (datetime(2026, 6, 1, hour, tzinfo=UTC) for hour in (11, 20))
    assert wear_of(book, noon).today == date(2026, 6, 1)
    assert wear_of(book, evening).today == date(2026, 6, 2)
    assert due_list(book, evening).today == date(2026, 6, 2)
    early, late = (wear_of(book, at).parts[0].due_on for at in (noon, evening))
    assert early and late and early.middle and late.middle
    # Nine hours later it is due no earlier, yet counted from the next day.
    assert 0 <= (late.middle - early.middle).days <= 1
    assert wear_of(book, datetime(2027, 6, 1, 20, tzinfo=UTC)).parts[0].due_on.middle == (
        date(2027, 6, 2)
    )


def test_an_empty_book_calls_nobody(tmp_path: Path) -> None:
    """A book without an event gives an empty list."""
    found = due_list(Book.init(tmp_path / "book", shop="quay"), NOW)
    assert (found.calls, found.bench, found.count_calls) == ((), (), 0)


def test_joined_tags_are_one_bike(tmp_path: Path) -> None:
    """Asked by either of two tags of one bike, the same part is due once."""
    book = book_of(tmp_path, *ridden(GULL), registered(TERN))
    link = {"kind": "bike_linked", "actor": "mia", "occurred_at": "2026-05-01T12:00:00Z"}
    book.append([{**link, "data": {"first": {"bike": GULL}, "second": {"bike": TERN}}}])
    by_tag = [
        [part.part for part in parts_of(due_list(book, NOW, bike=tag))] for tag in (GULL, TERN)
    ]
    assert by_tag == [[f"{GULL}-chain"]] * 2


def test_pads_decide_whether_somebody_gets_hurt_and_chains_do_not(tmp_path: Path) -> None:
    """What is said with caution is told from what is not."""
    book = book_of(
        tmp_path, *ridden(GULL), fitted("2025-01-01", GULL, "rear_brake.pads", "P"),
        pads("2026-01-01", GULL, "0.8"),
    )  # fmt: skip
    cautions = {part.position: part.decides_safety for part in parts_of(due_list(book, NOW))}
    assert cautions == {"chain": False, "rear_brake.pads": True}


# -- invariants -------------------------------------------------------------------------------


def worn_lives() -> st.SearchStrategy[Life]:
    """Lives of two bikes in which hardly anything happens but riding, fitting and measuring."""
    move = st.builds(
        Move,
        kind=st.sampled_from(
            ["distance_read", "part_fitted", "part_removed", "measured", "measured", "swapped",
             "event_struck", "job_opened", "rider_changed"]
        ),
        bike=st.sampled_from((0, 0, 1)),
        pick=st.sampled_from((0, 3, 9, 90, 180, 270, 351, 363)),
        other=st.integers(0, 59),
        hours=st.sampled_from((0, 1, 5, 30, 500, 1500, 4000)),
        back=st.sampled_from((0, 0, 0, 1, 2)),
    )  # fmt: skip
    return st.lists(move, min_size=20, max_size=40).map(life_of)


@settings(max_examples=20, deadline=None, derandomize=True)
@given(life=worn_lives(), within=st.sampled_from((0, 28, 1095)))
def test_everything_due_is_fitted_and_has_a_limit(
    tmp_path_factory: pytest.TempPathFactory, life: Life, within: int
) -> None:
    """Over random lives: due parts are fitted there now, have a limit, and are listed once."""
    book = Book.init(tmp_path_factory.mktemp("life") / "book", shop="quayside")
    Log(LocalStore(book.path / "events")).commit(lambda head: life.events)
    book = Book.open(book.path)
    as_at = life.instants()[-1]
    wear = wear_of(book, as_at)
    found = due_list(book, as_at, within_days=within, wear=wear)
    sitting = {
        row["part"]: row["bike"] for row in wear.tables.parts.to_pylist() if row["is_fitted"]
    }
    listed = [(bike.bike, part) for bike in bikes_of(found) for part in bike.parts]
    assert all(sitting.get(part.part) == bike for bike, part in listed)
    assert all(part.limit is not None for _, part in listed)
    names = [(bike, part.part, part.quantity) for bike, part in listed]
    assert len(names) == len(set(names))
    assert all(part.chance_past is None or 0 <= part.chance_past <= 1 for _, part in listed)
    orders = [call.first.order for call in found.calls]
    assert orders == sorted(orders)
    for bike in bikes_of(found):
        assert [part.order for part in bike.parts] == sorted(part.order for part in bike.parts)


def test_the_instant_asked_is_the_one_answered(tmp_path: Path) -> None:
    """As at a day before the reading nothing was known, so nothing was due."""
    book = book_of(tmp_path, *ridden(GULL))
    found = due_list(book, datetime(2025, 12, 1, tzinfo=UTC), within_days=1000)
    assert (found.as_at, found.calls) == (datetime(2025, 12, 1, tzinfo=UTC), ())
