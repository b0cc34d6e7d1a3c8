"""Which bikes carry a part that is looked for is what a plain walk over all events gives."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import ledger.kept
from ledger.book import Book
from ledger.engines.duckdb import Asked
from ledger.events import Event, parse_event
from ledger.shops.fitted_where import FittedWhere, fitted_where
from ledger.shops.part_moves import Wanted
from ledger.state import live
from tests.shops.many_books import plain_fold, plain_groups, shops_of, stored
from tests.strategies import BIKES, WORDS, event_id

SHOPS = ("pier", "quay")
BEGAN = datetime(2025, 1, 1, 8, tzinfo=UTC)
SAID = (
    {}, {}, {"make": "Keel"}, {"make": "Keel", "model": "K9", "batch": "B1"},
    {"make": "Keel", "model": "K9", "batch": "b2"}, {"make": "Tern", "model": "K9"},
    {"model": "Gull 9", "batch": "B1"},
)  # fmt: skip
WANTED = (
    Wanted(batch="B1"), Wanted(batch="B2"), Wanted(model="k9"), Wanted(make="KEEL", model="K9"),
    Wanted(text="keel k9"), Wanted(text="9"), Wanted(batch="B1", position="rear_brake"),
    Wanted(text="b"), Wanted(batch="B7"),
)  # fmt: skip
POSITIONS = ("chain", "rear_brake", "rear_brake.pads")
Row = dict[str, Any]


def told_events(shop: str, moves: Sequence[tuple[int, int, int, int]]) -> list[Event]:
    """Stored events of two bikes of a shop, entered in any order of time, struck and linked."""
    found: list[Event] = []
    for seq, (kind, what, other, hours) in enumerate(moves, 1):
        bike: str | None = BIKES[other % 2]
        place = {"position": POSITIONS[what % 3]}
        part = {"part": f"p{other % 4}"} if kind < 5 or other % 3 else {}
        km = {"value": str(100 * (what + 1)), "unit": "km", "canonical": f"{100 * (what + 1)}.000"}
        ends = [{"shop": SHOPS[what % 2], "bike": BIKES[other % 2]},
                {"shop": SHOPS[other % 2], "bike": BIKES[what // 2 % 2]}]  # fmt: skip
        struck = found[what % len(found)] if found else None
        name, data = (
            *[("part_fitted", {**place, **part, **SAID[other % 7], "is_found": what % 5 == 4})] * 5,
            *[("part_removed", {**place, **part, **({"reason": "worn"} if other % 2 else {})})] * 2,
            *[("distance_read", {"odometer": km, "computer_replaced": other % 5 == 0})] * 2,
            ("rider_changed", {"rider": f"r{what}"}),
            ("event_struck", {"target": struck.id if struck else "", "reason": "x"}),
            ("bike_linked", {"first": ends[0], "second": ends[1]}),
        )[kind]  # fmt: skip
        if name == "event_struck":
            if struck is None or struck.kind == "event_struck":
                continue
            bike = struck.bike
        elif name == "bike_linked":
            bike = None
            if ends[0] == ends[1]:
                continue
        at = BEGAN + timedelta(hours=hours)
        raw = {
            "id": event_id(seq + 10_000 * SHOPS.index(shop)), "seq": len(found) + 1, "shop": shop,
            "kind": name, "schema_version": 2 if name == "distance_read" else 1, "actor": "mia",
            "occurred_at": at, "recorded_at": BEGAN + timedelta(days=90, hours=seq), "data": data,
        }  # fmt: skip
        found.append(parse_event(raw | ({} if bike is None else {"bike": bike})))
    return found


def plain_answer(
    books: Mapping[str, list[Event]], at: datetime, known: Mapping[str, int], wanted: Wanted
) -> tuple[list[Row], set[tuple[str, str]], set[str]]:
    """A walk in plain Python: the parts there, the bikes that ever had one, the parts gone."""
    said = {shop: said_of(live(own, None, known[shop])) for shop, own in books.items()}
    groups = plain_groups(
        link for shop, own in books.items() for link in live(own, None, known[shop])
    )
    alone = {shop: plain_groups(live(own, None, known[shop])) for shop, own in books.items()}
    rows, ever, parts_ever = [], set(), set()
    every = {(shop, bike): {(shop, bike)} for shop in books for bike in BIKES} | groups
    here = {frozenset(one for one in group if one[0] in books) for group in every.values()}
    for group in here - {frozenset()}:
        start = min(group)
        events = [
            event
            for shop, own in books.items()
            for event in live(own, at, known[shop])
            if (shop, event.bike) in group
        ]
        events.sort(key=lambda event: (event.occurred_at, event.shop, event.seq))
        sitting: dict[str, Event] = {}
        for event in events:
            if event.kind == "part_fitted":
                sitting[event.data.position] = event
                if is_wanted(event, said, wanted):
                    ever.add(start)
                    parts_ever.add(name_of(event))
            elif event.kind == "part_removed":
                sitting.pop(event.data.position, None)
        view = plain_fold(books, group, start, at, known, WORDS)
        own = alone[start[0]].get(start, {start})
        several = group != {one for one in own if one[0] == start[0]}
        for position, event in sorted(sitting.items()):
            if is_wanted(event, said, wanted):
                part = next(one for one in view.fitted if one.position == position)
                rider = view.rider if several else (view.rider or "").partition("/")[2] or None
                make, model, batch = said[event.shop][event.id]
                rows.append({
                    "shop": start[0], "bike": start[1], "rider": rider, "position": position,
                    "part": name_of(event), "make": make, "model": model, "batch": batch,
                    "fitted_at": part.fitted_at,
                    "found_at": event.occurred_at if event.data.is_found else None,
                    "distance_since_fitted_km": part.distance_since_fitted_km,
                    "last_seen_at": events[-1].occurred_at,
                })  # fmt: skip
    return rows, ever, parts_ever - {row["part"] for row in rows}


def name_of(event: Any) -> str:
    return f"{event.shop}/{event.data.part}"


def said_of(events: Sequence[Any]) -> dict[str, tuple[str | None, ...]]:
    """What each fitting of a shop is of: said with it, or last said of that part."""
    found, last = {}, {}
    for event in events:
        if event.kind == "part_fitted":
            told = (event.data.make, event.data.model, event.data.batch)
            if any(told):
                last[name_of(event)] = told
            found[event.id] = last.get(name_of(event), told)
    return found


def is_wanted(event: Any, said: Mapping[str, Any], wanted: Wanted) -> bool:
    low = [(one or "").lower() for one in said[event.shop][event.id]]
    exact = zip((wanted.make, wanted.model, wanted.batch), low, strict=True)
    at, under = event.data.position, wanted.position
    return (
        all(want is None or want.lower() == one for want, one in exact)
        and (not wanted.text or any(wanted.text in one for one in (*low, f"{low[0]} {low[1]}")))
        and (under is None or at == under or at.startswith(under + "."))
    )


def with_shops(found: FittedWhere, table: Any) -> list[Row]:
    rows = table.to_pylist()
    for row in rows:
        row["part"] = row["part"] if "/" in row["part"] else f"{row['shop']}/{row['part']}"
    return rows


def check(
    books: Mapping[str, Book], events: Mapping[str, list[Event]], asked: Any, pick: int = 0
) -> None:
    """Some of what can be looked for, as asked, is what the walk gives."""
    shops = shops_of(books.values())
    at = next(iter(asked.values())).as_at
    known = {shop: of.known_seq for shop, of in asked.items()}
    for wanted in (*WANTED, *WANTED)[pick : pick + 3]:
        rows, ever, gone = plain_answer(events, at, known, wanted)
        found = fitted_where(shops, asked, wanted)
        rows.sort(key=lambda row: (row["shop"], row["bike"], row["position"]))
        assert with_shops(found, found.carried) == rows
        assert {row["part"] for row in with_shops(found, found.gone)} == gone
        assert found.count_bikes == len({(row["shop"], row["bike"]) for row in rows})
        assert found.count_bikes_ever == len(ever)
    assert not shops.failures


MOVES = st.lists(st.tuples(*[st.integers(0, 11)] * 3, st.integers(0, 30)), min_size=4, max_size=24)


@settings(max_examples=12, deadline=None, derandomize=True)
@given(MOVES, MOVES, st.integers(0, 31), st.integers(0, 24), st.booleans(), st.integers(0, 8))
def test_what_is_found_is_what_a_plain_walk_finds(
    tmp_path_factory: pytest.TempPathFactory,
    pier: Any,
    quay: Any,
    hours: int,
    known: int,
    is_now: bool,
    pick: int,
) -> None:
    """Over two shops and over one, at any date, as known at any time; struck, late and linked.

    Each book by itself, and all of them in one go.
    """
    told = dict(zip(SHOPS, (pier, quay), strict=True))
    events = {shop: told_events(shop, moves) for shop, moves in told.items()}
    folder = tmp_path_factory.mktemp("shops")
    books = {shop: stored(folder, shop, own) for shop, own in events.items() if own}
    events = {shop: events[shop] for shop in books}
    if not books:
        return
    at = datetime(2026, 1, 1, tzinfo=UTC) if is_now else BEGAN + timedelta(hours=hours)
    few = pytest.MonkeyPatch()
    few.setattr("ledger.shops.small_books._FEWEST", 1 + 2 * (pick % 2))
    sizes = {shop: len(own) if is_now else min(known, len(own)) for shop, own in events.items()}
    try:
        check(books, events, {shop: Asked(at, size) for shop, size in sizes.items()}, pick)
        shop = sorted(books)[pick % len(books)]
        check({shop: books[shop]}, {shop: events[shop]}, {shop: Asked(at, sizes[shop])}, pick)
    finally:
        few.undo()


@settings(max_examples=6, deadline=None, derandomize=True)
@given(MOVES, MOVES, MOVES, st.integers(0, 8))
def test_what_is_kept_follows_the_book_and_may_be_deleted(
    tmp_path_factory: pytest.TempPathFactory, pier: Any, quay: Any, later: Any, pick: int
) -> None:
    """From kept tables, after more was recorded, and with `derived/` gone: the same answers.

    Of two books as of a hundred, each is let go of once it has answered.
    """
    import shutil

    few = pytest.MonkeyPatch()
    few.setattr(ledger.kept, "FEWEST_EVENTS", 1)
    few.setattr("ledger.shops.opened._MOST_HELD", 1)
    try:
        folder = tmp_path_factory.mktemp("shops")
        whole = told_events("quay", [*quay, *later])
        events = {"pier": told_events("pier", pier), "quay": told_events("quay", quay)}
        events = {shop: own for shop, own in events.items() if own}
        books = {shop: stored(folder, shop, own) for shop, own in events.items()}
        at = datetime(2026, 1, 1, tzinfo=UTC)
        check(books, events, {shop: Asked(at, len(own)) for shop, own in events.items()}, pick)
        if "quay" in books:
            append(books["quay"], whole[len(events["quay"]) :])
            events["quay"] = whole
        asked = {shop: Asked(at, len(own)) for shop, own in events.items()}
        check(books, events, asked, pick)
        past = {shop: Asked(BEGAN + timedelta(hours=15), len(own)) for shop, own in events.items()}
        check(books, events, past, pick)
        for book in books.values():
            shutil.rmtree(book.path / "derived")
        check({shop: Book.open(book.path) for shop, book in books.items()}, events, asked, pick)
    finally:
        few.undo()


def append(book: Book, events: Sequence[Event]) -> None:
    """Put more stored events into a book, two a commit."""
    from ledger.storage.local import LocalStore
    from ledger.storage.log import Log

    log = Log(LocalStore(book.path / "events"))
    for first in range(0, len(events), 2):
        log.commit(lambda head, first=first: events[first : first + 2])


def test_nothing_is_no_error(tmp_path: Path) -> None:
    """Of books without a single event nothing is carried."""
    shops = shops_of([Book.init(tmp_path / "quay", shop="quay")])
    found = fitted_where(shops, shops.asked(None, None), Wanted(text="keel"))
    assert (len(found.carried), len(found.gone), found.count_bikes_ever) == (0, 0, 0)
