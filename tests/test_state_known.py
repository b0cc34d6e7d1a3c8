from __future__ import annotations

from decimal import Decimal
from itertools import pairwise

import pytest

from ledger.events import parse_event
from ledger.state import same_bike
from tests.stored import REGISTERED, book, day, fitted, odometer, view
from tests.strategies import BEGAN_AT, SHOP, event_id


@pytest.mark.parametrize(
    ("known_on", "true_on", "expected"),
    [
        ("01-25", "01-25", "6000"),
        ("02-25", "01-25", "6000"),
        ("03-25", "01-25", "6000"),
        ("02-25", "02-25", "6000"),
        ("03-25", "02-25", "6500"),
        ("03-25", "03-25", "6500"),
    ],
)
def test_a_figure_learnt_late_is_true_from_when_it_occurred(
    known_on: str, true_on: str, expected: str
) -> None:
    """Record date by actual date come out as in Fowler's table (Bitemporal History).

    Sally's pay is our odometer: 6000 known from January on, and on March 15 the book learns
    that it was 6500 from February 15 on.
    """
    events = book(
        ("2024-01-01", "distance_read", odometer("6000")),
        ("2024-02-15", "distance_read", odometer("6500")),
    )
    recorded = {1: day("2024-01-01"), 2: day("2024-03-15")}
    known = max(seq for seq, at in recorded.items() if at <= day(f"2024-{known_on}"))
    assert view(events, f"2024-{true_on}", known).distance_km == Decimal(expected)


@pytest.mark.parametrize(
    ("known_on", "true_on", "expected"),
    [
        ("1975-04-03", "1975-04-03", None),
        ("1975-04-04", "1975-04-03", "smallville"),
        ("1994-10-01", "1994-10-01", "smallville"),
        ("1994-12-27", "1994-10-01", "bigtown"),
        ("1994-12-27", "1994-08-25", "smallville"),
        ("1994-12-27", "1994-08-26", "bigtown"),
    ],
)
def test_what_was_believed_then_stays_asked_for(
    known_on: str, true_on: str, expected: str | None
) -> None:
    """Valid and recorded dates keep apart, as in the public address example (Wikipedia).

    A move to Bigtown in August, told in December: asked as known in October the answer is
    still Smallville. The address is our rider.
    """
    events = book(
        ("1975-04-03", "rider_changed", {"rider": "smallville"}),
        ("1994-08-26", "rider_changed", {"rider": "bigtown"}),
    )
    recorded = {1: day("1975-04-04"), 2: day("1994-12-27")}
    known = max((seq for seq, at in recorded.items() if at <= day(known_on)), default=0)
    assert view(events, true_on, known).rider == expected


def test_a_struck_event_is_gone_as_known_after_and_there_as_known_before() -> None:
    """A strike works on knowledge, whatever date it carries itself."""
    events = book(
        REGISTERED,
        ("2024-02-01", "part_fitted", fitted("chain", "c1")),
        ("2024-09-01", "event_struck", {"target": event_id(2), "reason": "wrong bike"}),
    )
    assert len(view(events, "2024-03-01", known=2).fitted) == 1
    assert view(events, "2024-03-01", known=3).fitted == ()
    assert view(events, "2024-03-01", known=3).events_used == 1


def test_ties_in_time_go_by_seq() -> None:
    """Of two events of one instant the later recorded comes later."""
    events = book(
        ("2024-01-01", "rider_changed", {"rider": "r1"}),
        ("2024-01-01", "rider_changed", {"rider": "r2"}),
    )
    assert view(list(reversed(events))).rider == "r2"


def test_linked_tags_are_one_bike_as_known_after_the_link() -> None:
    """Links join tags through any number of hands, until they are struck."""
    tags = ["AAAAAAAA", "BBBBBBBB", "CCCCCCCC", "DDDDDDDD"]
    raw = {"shop": SHOP, "actor": "mia", "occurred_at": BEGAN_AT}
    links = [
        parse_event({**raw, "id": event_id(seq), "seq": seq, "kind": "bike_linked",
                     "data": {"first": {"bike": one}, "second": {"bike": two}}})
        for seq, (one, two) in enumerate(pairwise(tags), 1)
    ]  # fmt: skip
    strike = {"kind": "event_struck", "data": {"target": event_id(3), "reason": "no"}}
    links.append(parse_event({**raw, **strike, "id": event_id(4), "seq": 4}))

    def joined(known: int) -> set[str]:
        return {tag for _, tag in same_bike(links, SHOP, "AAAAAAAA", known)}

    assert [len(joined(known)) for known in (0, 1, 2, 3, 4)] == [1, 2, 3, 4, 3]
    assert ("harbour", "AAAAAAAA") not in same_bike(links, SHOP, "AAAAAAAA")
