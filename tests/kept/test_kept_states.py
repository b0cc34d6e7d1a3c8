"""The states of every bike that are kept against the same worked out from the events."""

from __future__ import annotations

import random
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

import ledger.kept
import ledger.kept.states
from ledger.book import Book
from ledger.events import Event, parse_event, plain
from ledger.kept.packed_states import packed, unpacked
from ledger.kept.states import kept_states, kept_views
from ledger.queries import bike_views, every_bike
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from tests.kept.test_kept_follows import parts, together
from tests.strategies import BIKES, SHOP, Life, lives

LATER = datetime(2101, 1, 1, tzinfo=UTC)


@pytest.fixture(autouse=True)
def small_books_are_kept_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Everything is kept, and followed bike by bike, however small the book."""
    monkeypatch.setattr(ledger.kept, "FEWEST_EVENTS", 0)
    monkeypatch.setattr(ledger.kept, "_SMALL_BYTES", 0)
    monkeypatch.setattr(ledger.kept, "_MOST_SHARE", 0)


def link(first: str, second: dict[str, str], seq: int, at: datetime) -> Event:
    """Say that a tag and another, perhaps of another shop, are one bike."""
    return parse_event({
        "id": f"01890000-0000-7000-8000-{seq:012x}", "seq": seq, "kind": "bike_linked",
        "shop": SHOP, "actor": "m1", "occurred_at": at.isoformat(), "recorded_at": at.isoformat(),
        "data": {"first": {"bike": first}, "second": second},
    })  # fmt: skip


def with_links(events: list[Event], chance: random.Random) -> list[Event]:
    """Give events with a link put among them, sometimes struck later.

    Or with two, of either tag with one of another shop: that makes them one bike as well.
    """
    elsewhere = {"shop": "elsewhere", "bike": "00000001"}
    others = chance.choice([[{"bike": BIKES[1]}], [elsewhere, elsewhere]])
    places = sorted(chance.randrange(1, len(events)) for _ in others)
    raws = [plain(event) for event in events]
    for number, (place, other) in enumerate(zip(places, others, strict=True)):
        joined = link(BIKES[number], other, number + 1, events[place].recorded_at or LATER)
        raws.insert(place + number, plain(joined))
    if chance.random() < 0.5:
        end = raws[-1]["recorded_at"]
        raws.append({
            "id": "01890000-0000-7000-8000-0000000fffff", "kind": "event_struck", "shop": SHOP,
            "actor": "m1", "occurred_at": end, "recorded_at": end, "seq": 1,
            "data": {"target": joined.id, "reason": "two bikes after all"},
        })  # fmt: skip
    return [parse_event({**raw, "seq": seq}) for seq, raw in enumerate(raws, 1)]


def hold(life: Life, other: Life, chance: random.Random, folder: Path) -> int:
    """Hold kept and direct equal after every commit; gives how often a snapshot was there."""
    events = with_links(together(life.events, other.events), chance)
    log = Log(LocalStore(Book.init(folder / "book", shop=SHOP).path / "events"))
    staying, derived, there = Book.open(folder / "book"), folder / "book" / "derived", 0
    middle = events[len(events) // 2].occurred_at
    dates = (LATER, middle, middle + timedelta(hours=1), events[0].occurred_at)
    for part in parts(events, chance):
        log.commit(lambda head, part=part: part)
        there += any(derived.glob("*/*.arrow"))
        if chance.random() < 0.2:
            shutil.rmtree(derived, ignore_errors=True)
        book = chance.choice((staying, Book.open(folder / "book")))
        size = book.head.size
        asked = [(chance.choice(dates), known) for known in (size, chance.randint(0, size))]
        for as_at, known in (*asked, *asked):
            expected = list(bike_views(book, as_at, known))
            assert list(kept_views(book, as_at, known)) == expected
    return there


def test_what_is_kept_is_what_the_events_say(tmp_path_factory: Any) -> None:
    """After commits, late entries, strikes, links and losses of what is kept, at any date."""
    there = 0

    @settings(max_examples=10, deadline=None, derandomize=True, database=None,
              phases=(Phase.generate,), suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(life=lives(), other=lives(), chance=st.randoms(use_true_random=False))
    def on_random_books(life: Life, other: Life, chance: random.Random) -> None:
        nonlocal there
        there += hold(life, other, chance, tmp_path_factory.mktemp("life"))

    on_random_books()
    assert there > 5


def kept_book(folder: Path, count: int = 3) -> Book:
    """Give a book of some readings of one bike."""
    book = Book.init(folder / "book", shop=SHOP)
    book.append([of("bike_registered", 0, make="Tidemark")])
    for number in range(1, count):
        book.append([of("distance_read", number, odometer={"value": str(number), "unit": "km"})])
    return book


def of(kind: str, hour: int, **data: Any) -> dict[str, Any]:
    at = datetime(2026, 3, 1, 8, tzinfo=UTC) + timedelta(hours=hour)
    return {"kind": kind, "bike": BIKES[0], "actor": "m1", "occurred_at": at, "data": data}


def test_those_asked_longest_ago_go_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """So many snapshots are kept, and an answer is the same with and without one."""
    monkeypatch.setattr(ledger.kept.states, "MOST_SNAPSHOTS", 2)
    book = kept_book(tmp_path)
    for hour in (0, 1, 0, 1):
        at = datetime(2026, 3, 1, 8, tzinfo=UTC) + timedelta(hours=hour)
        for known in (1, 2, 3):
            views = list(kept_views(book, at, known))
            assert views == list(bike_views(book, at, known))
    kinds = [one for kind in ("states", "known") for one in book.path.glob(f"derived/{kind}_*")]
    assert len(kinds) == 2


def test_packed_states_come_back_the_same(tmp_path: Path) -> None:
    """Every relation, value for value; of no bikes at all, too."""
    book = kept_book(tmp_path)
    (states,) = every_bike(book)
    again = unpacked(packed([states]))
    assert {name: table.to_pylist() for name, table in again.items()} == {
        name: table.select(again[name].column_names).to_pylist() for name, table in states.items()
    }
    assert len(packed([])) == 0
    assert list(kept_states(Book.init(tmp_path / "empty", shop=SHOP))) == []
