"""What is due in rows against the same in plain Python: what presses, and whose it is."""

from __future__ import annotations

import random
from collections.abc import Iterable
from dataclasses import asdict
from datetime import UTC, date, datetime, timedelta

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.figures import due_rows
from ledger.figures.calls import Call, DueBike, DuePart, OpenJob
from ledger.figures.due_calls import Bikes, Calls, Due, Facts
from ledger.figures.due_rows import ROWS, Rows, parts_in, tabled
from ledger.figures.wear_shapes import LIKELY, DueDates, Estimate, WearReading
from ledger.riders import Rider

TODAY = date(2026, 6, 1)
NOON = datetime(2026, 6, 1, 12, tzinfo=UTC)
TAGS = ("2B4D6F8H", "4T2N8RWE", "7K3M9QXA", "9V7T5R3P")
JOINED = tuple(
    map(
        frozenset,
        (TAGS[1:3], ("00000000", TAGS[0]), (TAGS[3], "8AAAAAAA"), ("ZZZZZZZZ", "ZZZZZZZY")),
    )
)
"""Bikes of several tags, the first of which nothing may be told of, and one of which nothing is."""
Parts = list[tuple[str, DuePart]]

figures = st.none() | st.floats(-50, 50)
days = st.none() | st.integers(-40, 120).map(lambda one: TODAY + timedelta(days=one))
readings = st.builds(
    WearReading, st.sampled_from(("a", "b")), st.just(NOON), st.floats(0, 9), st.floats(0, 9),
    figures, figures, figures, st.none() | st.just("g1"), st.none() | st.just("left out"),
)  # fmt: skip
parts = st.builds(
    DuePart,
    part=st.sampled_from(("p1", "p2", "é3")), position=st.sampled_from(("chain", "cassette")),
    place=st.just("chain"), point=st.none() | st.sampled_from(("17 t", "25 t")),
    quantity=st.sampled_from(("elongation", "age", "tooth_wear")), quantity_label=st.just("wear"),
    make=st.none() | st.just("Keel"), model=st.none(), unit=st.just("%"), limit=st.floats(0, 9),
    direction=st.sampled_from((-1, 1)), standing=st.sampled_from(("past", "unclear", "coming")),
    was_past=st.booleans(), fitted_at=st.just(NOON), decides_safety=st.booleans(),
    reading=st.none() | readings, count_readings=st.integers(0, 9), exposure_unit=st.just("km"),
    chance_past=st.none() | st.sampled_from((0.0, 0.1, 0.5, 0.505, 0.995, 1.0)),
    now=st.none() | st.builds(Estimate, figures, figures, figures),
    on=st.none() | st.builds(DueDates, days, days, days), beyond=figures, days_beyond=figures,
)  # fmt: skip
listed = st.lists(st.tuples(st.sampled_from(TAGS), parts), max_size=14)
held = settings(max_examples=150, deadline=None, derandomize=True, database=None,
                suppress_health_check=[HealthCheck.function_scoped_fixture])  # fmt: skip


@pytest.fixture(autouse=True)
def few_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Rows are made some at a time."""
    monkeypatch.setattr(due_rows, "_AT_ONCE", 3)


def by_bike(rows: Parts) -> list[tuple[str, list[DuePart]]]:
    """Give bikes as they press, with the most pressing point of each part and quantity."""
    most: dict[tuple[str, str, str], DuePart] = {}
    for bike, part in rows:
        key = (bike, part.part, part.quantity)
        if key not in most or part.order < most[key].order:
            most[key] = part
    found: dict[str, list[DuePart]] = {}
    for (bike, _, _), part in most.items():
        found.setdefault(bike, []).append(part)
    for its in found.values():
        its.sort(key=lambda part: (part.order, part.part, part.quantity))
    return sorted(found.items(), key=lambda item: (item[1][0].order, item[0]))


def as_they_press(rows: Parts) -> Parts:
    def key(row: tuple[str, DuePart]) -> tuple[object, ...]:
        part = row[1]
        return part.order, part.part, part.quantity, part.point or ""

    return sorted(rows, key=key)


def rows_of(table: pa.Table) -> Parts:
    return list(zip(table["bike"].to_pylist(), parts_in(table), strict=True))


@held
@given(listed)
def test_rows_say_what_the_parts_say(rows: Parts) -> None:
    """Every field, to the last bit; and what they are sorted by."""
    table, rows = tabled(rows), as_they_press(rows)
    assert table.schema.equals(ROWS)
    assert rows_of(table) == rows
    orders = zip(*(table[name].to_pylist() for name in ROWS.names[-3:]), strict=True)
    assert list(orders) == [part.order for _, part in rows]


@held
@given(listed, st.integers(0, 92))
def test_what_is_due_by_a_day(rows: Parts, within: int) -> None:
    """Past by chance or by what was read, unclear, or coming by then."""
    last_day = TODAY + timedelta(days=within)

    def is_due(part: DuePart) -> bool:
        is_read_past = part.was_past and (part.reading is None or part.reading.flag is None)
        middle = part.on.middle if part.on else None
        is_likely = part.chance_past is None or part.chance_past >= LIKELY
        return is_likely or is_read_past or (middle is not None and middle <= last_day)

    found, rows = Rows(tabled(rows)).due_by(last_day), as_they_press(rows)
    assert [rows[at] for at in found] == [row for row in rows if is_due(row[1])]


@held
@given(listed, st.lists(st.sampled_from(JOINED), unique=True))
def test_what_presses_most_comes_first(rows: Parts, groups: list[frozenset[str]]) -> None:
    """Of each part and quantity one point; bikes together, each as its first presses."""
    rows = as_they_press(rows)
    joined = {tag: tags for tags in groups for tag in tags}
    named = [(min(joined.get(bike, (bike,))), part) for bike, part in rows]
    expected = [(bike, part) for bike, its in by_bike(named) for part in its]
    table = Rows(tabled(rows))
    names, bike_of = table.under(joined)
    assert names.to_pylist() == sorted(set(names.to_pylist()))
    found = table.pressing(np.arange(len(rows)), bike_of)
    assert [(names[bike_of[at]].as_py(), rows[at][1]) for at in found] == expected
    few = np.arange(0, len(rows), 2)
    expected = [(bike, part) for bike, its in by_bike(named[::2]) for part in its]
    assert [(named[at][0], rows[at][1]) for at in table.pressing(few, bike_of)] == expected


# -- calls ------------------------------------------------------------------------------------

people = st.sampled_from((None, "", "r1", "r2", "r3"))
REGISTER = {
    "r1": Rider("r1", "Tilde Moen", "555-1", None, may_contact=True),
    "r2": Rider("r2", "Bo Vik", None, None, may_contact=False),
}
JOB = OpenJob("J1", None, NOON, None)
OPEN = pa.schema(
    {**dict.fromkeys(("bike", "job", "tier"), pa.string()),
     "opened_at": pa.timestamp("us", tz="UTC"), "waiting_for": pa.string()}
)  # fmt: skip


def say(keeper: object, bikes: Iterable[DueBike]) -> str:
    return ", ".join(bike.bike for bike in bikes)


def due_of(rows: Parts, whose: list[tuple[str | None, str | None]]) -> Due:
    bikes = [
        {"bike": tag, "make": None, "model": "Ebb", "rider": rider, "keeper": keeper,
         "last_seen_at": NOON}
        for tag, (rider, keeper) in zip(TAGS, whose, strict=True)
    ]  # fmt: skip
    schema = pa.schema(
        {**dict.fromkeys(("bike", "make", "model", "rider", "keeper"), pa.string()),
         "last_seen_at": pa.timestamp("us", tz="UTC")}
    )  # fmt: skip
    jobs = pa.Table.from_pylist([{"bike": TAGS[0], **asdict(JOB)}], OPEN)
    facts = Facts(pa.Table.from_pylist(bikes, schema), jobs, REGISTER)
    table = Rows(tabled(rows))
    names, bike_of = table.bikes
    which = table.pressing(np.arange(len(rows)), bike_of)
    facts_of = pc.index_in(names, facts.bikes["bike"].combine_chunks())
    return Due(table, names, facts_of, bike_of, which, facts, say)


def calls_by_keeper(due: Due) -> list[Call]:
    """Give the same in plain Python: keepers in the order of their first bikes."""
    by_keeper: dict[tuple[str, str], list[DueBike]] = {}
    for bike in due.made():
        keeper = bike.keeper.rider
        by_keeper.setdefault(("", keeper) if keeper else ("bike", bike.bike), []).append(bike)
    return [
        Call(of[0].keeper, tuple(of), say(None, of) if of[0].keeper.may_contact else None)
        for of in by_keeper.values()
    ]


@held
@given(listed, st.lists(st.tuples(people, people), min_size=4, max_size=4), st.randoms())
def test_calls_are_those_of_each_keeper(
    rows: Parts, whose: list[tuple[str | None, str | None]], chance: random.Random
) -> None:
    """Made, sliced, picked, counted and sorted: as of the calls in plain Python."""
    due = due_of(rows, whose)
    # of what presses alike the first point counts
    assert [(one.bike, list(one.parts)) for one in due.made()] == by_bike(as_they_press(rows))
    bikes = due.made()
    assert Bikes(due) == bikes and len(Bikes(due)) == len(bikes)
    assert Bikes(due)[1:] == bikes[1:] and [Bikes(due)[at] for at in range(len(bikes))] == bikes
    assert all(Bikes(due).only(tag) == [one for one in bikes if one.bike == tag] for tag in TAGS)
    expected = calls_by_keeper(due)
    calls = Calls.of(due)
    assert len(calls) == len(expected)
    assert calls == expected
    assert calls[1:3] == expected[1:3]
    assert [calls[at] for at in range(-len(calls), len(calls))] == [*expected, *expected]
    picked = chance.sample(range(len(calls)), chance.randint(0, len(calls)))
    some = calls.some(np.array(picked, np.int64))
    assert some == [expected[at] for at in picked]
    assert some.keepers == [expected[at].keeper for at in picked]
    assert some.standings == [expected[at].first.standing for at in picked]
    assert some.chances == [
        max(part.chance_past or 0.0 for bike in expected[at].bikes for part in bike.parts)
        for at in picked
    ]
    parts = [part for at in picked for bike in expected[at].bikes for part in bike.parts]
    assert some.decides_safety == any(part.decides_safety for part in parts)
    for tag in TAGS:
        about = [one for one in expected if any(bike.bike == tag for bike in one.bikes)]
        assert calls.about(tag) == about
    for standing in ("past", "coming"):
        assert calls.of_standing(standing) == [
            one for one in expected if one.first.standing == standing
        ]


def test_a_rider_without_an_id_is_nobody_in_particular() -> None:
    """Two of their bikes are two calls."""
    urgent = DuePart(
        "p", "chain", "chain", None, "elongation", "wear", None, None, "%", 0.75, 1, "past", True,
        NOON, False, None, 1, "km", 1.0, None, None, None, None,
    )  # fmt: skip
    due = due_of([(tag, urgent) for tag in TAGS], [("", None), (None, ""), ("r1", ""), ("", "r1")])
    assert [[bike.bike for bike in call.bikes] for call in Calls.of(due)] == [
        [TAGS[0]],
        [TAGS[1]],
        [TAGS[2], TAGS[3]],
    ]


def test_nothing_due_is_no_call() -> None:
    """An empty list in every way it is looked at."""
    calls = Calls.of(due_of([], [(None, None)] * 4))
    assert (len(calls), calls == (), calls.standings, calls.chances) == (0, True, [], [])
    assert (calls.keepers, calls.decides_safety, calls.about(TAGS[0]) == ()) == ([], False, True)
