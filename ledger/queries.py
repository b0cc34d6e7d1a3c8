"""What can be asked of a book: typed functions over the relations in `ledger/sql/`.

Instants are UTC, distances kilometres. Without `as_at`, now; without `known_seq`, all the book
holds.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import fields, replace
from datetime import UTC, datetime
from threading import Lock
from typing import TYPE_CHECKING, Any, Protocol, TypeVar
from weakref import WeakKeyDictionary, WeakMethod

import pyarrow as pa
import pyarrow.compute as pc

from ledger.asking import Asker, told
from ledger.engines.duckdb import COLUMNS, Asked, DuckEngine
from ledger.engines.every.book import every_state
from ledger.engines.every.folds import States
from ledger.engines.every.views import views_of
from ledger.engines.tables import bike_alias, position_effects
from ledger.engines.views import RELATIONS, event_id, make_view, views_of_rows
from ledger.events import BOOK_KINDS, Event, parse_event
from ledger.events.stored import counted_event, stored_event
from ledger.events.types import format_moment
from ledger.query_shapes import BikeRow, PartDistance, PartSpell, ShopSummary, TimelineEntry
from ledger.state import SEEN, fold
from ledger.storage.reading import Row
from ledger.view import BikeView

if TYPE_CHECKING:
    from ledger.book import Book

__all__ = [
    "BikeRow", "PartDistance", "PartSpell", "ShopSummary", "TimelineEntry", "WholeBook", "asked_of",
    "asked_through", "asking", "bike_tables", "bike_view", "bike_view_by_relations", "bike_views",
    "bikes", "engine_of", "every_bike", "has_other_engine", "let_go", "part_distances",
    "part_spells", "shop_summary", "timeline", "whole_table",
]  # fmt: skip

Shape = TypeVar("Shape")
_END_OF_TIME = datetime(2201, 1, 1, tzinfo=UTC)
_START_OF_TIME = datetime(1900, 1, 1, tzinfo=UTC)
_engines: WeakKeyDictionary[Book, DuckEngine] = WeakKeyDictionary()
_engines_lock = Lock()
_instead: WeakKeyDictionary[Book, WholeBook] = WeakKeyDictionary()


def let_go(book: Book) -> None:
    """Close a book's query engine, which nobody is asking; the next question makes another."""
    with _engines_lock:
        engine = _engines.pop(book, None)
    if engine is not None:
        engine.close()


def engine_of(book: Book) -> DuckEngine:
    """Give the book's query engine, made at the first question."""
    with _engines_lock:
        if book not in _engines:
            # An engine that held its book would keep it, and so itself, for ever.
            files, counted = WeakMethod(book.files), WeakMethod(book.counted)
            _engines[book] = DuckEngine(
                lambda: held() if (held := files()) else (),
                lambda names: held(names) if (held := counted()) else {},
            )
        return _engines[book]


class WholeBook(Protocol):
    """What answers relations over a whole book, or many: DuckDB, or Spark."""

    def all_bikes(
        self, relation: str, asked: Asked, tables: Mapping[str, pa.Table], *, ending: str = ""
    ) -> Iterator[Mapping[str, Any]]:
        """Give the rows of a relation."""

    def asking(
        self,
        relation: str,
        asked: Asked,
        tables: Mapping[str, pa.Table],
        *,
        ending: str = "",
        values: Mapping[str, Any] | None = None,
    ) -> Callable[[], pa.Table]:
        """Give what asks for a relation as one Arrow table, when called."""


@contextmanager
def asked_through(book: Book, engine: WholeBook) -> Iterator[None]:
    """Have `whole_table`, `asking` and `bike_views` of a book answered by an engine, meanwhile.

    Every figure over the whole book reads through these. One bike stays with DuckDB.
    """
    _instead[book] = engine
    try:
        yield
    finally:
        del _instead[book]


def has_other_engine(book: Book) -> bool:
    """Say whether a book is asked through another engine than its own."""
    return book in _instead


def _whole_engine(book: Book) -> WholeBook:
    return _instead.get(book) or engine_of(book)


def asked_of(book: Book, as_at: datetime | None, known_seq: int | None) -> Asked:
    """Give the instant (now) and the seq (all the book holds) that are meant."""
    if as_at is None or known_seq is None:
        head = book.head
        latest = max(datetime.now(UTC), head.recorded_at or _START_OF_TIME)
        as_at = latest if as_at is None else as_at
        known_seq = head.size if known_seq is None else known_seq
    return Asked(as_at.astimezone(UTC), known_seq)


def _tags(book: Book, bike: str, known_seq: int) -> frozenset[str]:
    return book.aliases(known_seq).get(bike, frozenset({bike}))


def _events_of(book: Book, bike: str, known_seq: int, columns: Iterable[str]) -> pa.Table:
    """Give the rows of a bike's tags, all under the tag asked for; raises UnknownBike."""
    tags = _tags(book, bike, known_seq)
    events = book.bike_columns(tags, list(columns))
    if not len(events):
        book.require_bike(bike)
    if tags == {bike}:
        return events
    place = events.schema.get_field_index("bike")
    return events.set_column(place, "bike", pa.array([bike] * len(events), pa.string()))


def _effects(book: Book, events: pa.Table, known_seq: int) -> pa.Table:
    words = book.vocabulary_known(known_seq)
    named = frozenset(pc.unique(events["position"]).to_pylist()) - {None}
    return position_effects(words, named.difference(words.positions))


def bike_view(
    book: Book, bike: str, as_at: datetime | None = None, known_seq: int | None = None
) -> BikeView:
    """Give a bike as at an instant, as the book knew it; raises UnknownBike.

    One bike's few events are folded in less time than the engine takes to plan its relations;
    `bike_view_by_relations` gives the same.
    """
    asked = asked_of(book, as_at, known_seq)
    rows = book.bike_rows(_tags(book, bike, asked.known_seq))
    if not rows:
        book.require_bike(bike)
    return fold(
        _counting(rows, asked),
        shop=book.settings.shop,
        bike=bike,
        as_at=asked.as_at,
        known_seq=asked.known_seq,
        vocabulary=book.vocabulary_known(asked.known_seq),
    )


def _counting(rows: Iterable[Row], asked: Asked) -> Iterator[Event]:
    """Give the events of stored rows that may count: no others are made, nor what none shows.

    Instants are stored in one form, in which they sort as text.
    """
    until = format_moment(asked.as_at)
    for seq, _, canonical in rows:
        if seq <= asked.known_seq:
            raw = json.loads(canonical.decode())
            kind = raw["kind"]
            if kind == "event_struck" or (kind in SEEN and raw["occurred_at"] <= until):
                yield stored_event(raw)
            elif raw["occurred_at"] <= until and kind not in BOOK_KINDS:
                yield counted_event(raw)


def bike_view_by_relations(
    book: Book, bike: str, as_at: datetime | None = None, known_seq: int | None = None
) -> BikeView:
    """Give what `bike_view` does, made of the relations that whole books are asked by."""
    asked = asked_of(book, as_at, known_seq)
    events = _events_of(book, bike, asked.known_seq, COLUMNS)
    tables = {"position_effects": _effects(book, events, asked.known_seq)}
    rows = engine_of(book).one_bike(RELATIONS, asked, events, tables)
    return make_view(book.settings.shop, bike, asked.as_at, asked.known_seq, rows)


def _tables(book: Book, asked: Asked) -> dict[str, pa.Table]:
    tables = {"position_effects": position_effects(book.vocabulary_known(asked.known_seq))}
    aliases = book.aliases(asked.known_seq)
    return {**tables, "bike_alias": bike_alias(aliases)} if aliases else tables


def every_bike(
    book: Book, as_at: datetime | None = None, known_seq: int | None = None
) -> Iterator[States]:
    """Give the state of every bike that has a live event, as Arrow tables by relation.

    Bikes come by tag, a range of tags at a time, so that memory does not grow with the book; all
    of a bike is in one range. Joined tags are one bike, under the first of them.
    """
    return every_state(book, engine_of(book), asked_of(book, as_at, known_seq))


def bike_views(
    book: Book, as_at: datetime | None = None, known_seq: int | None = None
) -> Iterator[BikeView]:
    """Give every bike that has a live event, by tag; joined tags are one, under the first."""
    asked = asked_of(book, as_at, known_seq)
    if book in _instead:
        engine, tables = _whole_engine(book), _tables(book, asked)
        rows = {
            relation: engine.all_bikes(relation, asked, tables, ending="order by shop, bike")
            for relation in RELATIONS
        }
        yield from views_of_rows(rows, asked.as_at, asked.known_seq)
        return
    for states in every_state(book, engine_of(book), asked):
        yield from views_of(states, book.settings.shop, asked.as_at, asked.known_seq)


def timeline(
    book: Book,
    bike: str,
    *,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    system: str | None = None,
    include_struck: bool = True,
    asker: Asker,
) -> list[TimelineEntry]:
    """Give everything that was recorded of a bike, oldest first, ties by seq.

    `system` keeps what concerns one system of the bike. Without struck events, strikes are left
    out too; so are the clocks and minutes of others where the asker does not see them, and what
    struck them (`ledger.asking.told`). Raises UnknownBike.
    """
    asked = asked_of(book, as_at or _END_OF_TIME, known_seq)
    events = _events_of(book, bike, asked.known_seq, (*COLUMNS, "canonical"))
    rows = engine_of(book).one_bike(["timeline"], asked, events, {})["timeline"]
    every = [_entry(book, row) for row in sorted(rows, key=_order)]
    return [
        entry
        for entry in _told(every, asker)
        if (system is None or entry.system == system)
        and (include_struck or not (entry.is_struck or entry.kind == "event_struck"))
    ]


def _told(entries: list[TimelineEntry], asker: Asker) -> Iterator[TimelineEntry]:
    """Give what the asker is told of entries; what struck an untold one goes with it."""
    kept = [(one, told(asker, one.kind, one.actor, one.data)) for one in entries]
    untold = {one.struck_by for one, data in kept if data is None}
    for one, data in kept:
        if data is not None and one.id not in untold:
            yield one if data is one.data else replace(one, data=data, event=None)


def _order(row: Mapping[str, Any]) -> tuple[datetime, int]:
    return row["occurred_at"], row["seq"]


def _entry(book: Book, row: Mapping[str, Any]) -> TimelineEntry:
    event = parse_event(json.loads(row["canonical"]))
    position = row["position"]
    word = book.vocabulary.positions.get(position) if position else None
    return TimelineEntry(
        seq=row["seq"],
        id=event.id,
        kind=event.kind,
        bike=event.bike or row["bike"],
        occurred_at=event.occurred_at,
        recorded_at=event.recorded_at or row["recorded_at"],
        actor=event.actor,
        job=event.job,
        position=position,
        system=word.system if word else (position or "").partition(".")[0] or None,
        event=event,
        data=book.reveal(event)["data"],
        struck_by=event_id(row["struck_by"]) if row["struck_by"] else None,
    )


_LISTED = """where
    $search = ''
    or contains(lower(bike), $search)
    or contains(lower(coalesce(make, '') || ' ' || coalesce(model, '')), $search)
    or lower(rider) = $search
order by last_seen_at desc, bike
limit $limit"""


def bikes(
    book: Book, search: str = "", limit: int = 50, *, as_at: datetime | None = None
) -> list[BikeRow]:
    """Give bikes, seen last first: those whose tag, make or model holds `search`.

    A rider's id finds their bikes. Joined tags are one bike, under the first of them.
    """
    asked = asked_of(book, as_at, None)
    rows = engine_of(book).all_bikes(
        "bike_summary",
        asked,
        _tables(book, asked),
        ending=_LISTED,
        values={"search": search.strip().lower(), "limit": limit},
    )
    return [_made(BikeRow, row) for row in rows]


def part_distances(book: Book, bike: str | None = None) -> list[PartDistance]:
    """Give how far each part has gone; with `bike`, each part that ever was on it.

    A part's distance counts every bike it sat on. Raises UnknownBike.
    """
    asked = asked_of(book, None, None)
    rows = engine_of(book).all_bikes(
        "part_distances", asked, _tables(book, asked), ending="order by part"
    )
    if bike is None:
        return [_made(PartDistance, row) for row in rows]
    parts = {spell.part for spell in part_spells(book, bike)}
    return [_made(PartDistance, row) for row in rows if row["part"] in parts]


def part_spells(
    book: Book, bike: str, as_at: datetime | None = None, known_seq: int | None = None
) -> list[PartSpell]:
    """Give every time a part sat somewhere on a bike, oldest first; raises UnknownBike."""
    asked = asked_of(book, as_at, known_seq)
    events = _events_of(book, bike, asked.known_seq, COLUMNS)
    rows = engine_of(book).one_bike(["part_spells"], asked, events, {})["part_spells"]
    ordered = sorted(rows, key=lambda row: (row["started_at"], row["fitted_seq"]))
    return [_made(PartSpell, row) for row in ordered]


def whole_table(
    book: Book,
    relation: str,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    ending: str = "",
    values: Mapping[str, Any] | None = None,
) -> pa.Table:
    """Give a relation over the whole book as one Arrow table, for figures worked out in arrays.

    Joined tags are one bike, under the first of them. `ending` is a condition in SQL, `values`
    its bound parameters.
    """
    return asking(book, relation, asked_of(book, as_at, known_seq), ending=ending, values=values)()


def asking(
    book: Book,
    relation: str,
    asked: Asked,
    *,
    ending: str = "",
    values: Mapping[str, Any] | None = None,
) -> Callable[[], pa.Table]:
    """Give what asks for a `whole_table` when called, in any thread; the book is read now."""
    tables = _tables(book, asked)
    return _whole_engine(book).asking(relation, asked, tables, ending=ending, values=values)


def bike_tables(
    book: Book,
    bike: str,
    relations: Sequence[str],
    as_at: datetime | None = None,
    known_seq: int | None = None,
) -> dict[str, pa.Table]:
    """Give relations of one bike as Arrow tables, by name, reading no other bike's events.

    Joined tags are under the tag asked for. Raises UnknownBike.
    """
    asked = asked_of(book, as_at, known_seq)
    events = _events_of(book, bike, asked.known_seq, (*COLUMNS, "lines"))
    tables = {"position_effects": _effects(book, events, asked.known_seq)}
    return engine_of(book).one_bike_tables(relations, asked, events, tables)


def shop_summary(book: Book) -> ShopSummary:
    """Give how much a book holds, as of now."""
    asked = asked_of(book, None, None)
    rows = engine_of(book).all_bikes("shop_summary", asked, _tables(book, asked))
    return _made(ShopSummary, next(rows))


def _made(shape: type[Shape], row: Mapping[str, Any]) -> Shape:
    # Every shape is a dataclass; a type variable cannot be bound to say so.
    names = (field.name for field in fields(shape))  # type: ignore[arg-type]
    return shape(**{name: row[name] for name in names})
