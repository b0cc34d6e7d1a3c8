"""Which bikes carry a make, model or batch as at a date, and which no longer do, in all shops."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.engines.duckdb import COLUMNS, Asked
from ledger.kept import kept
from ledger.queries import engine_of, whole_table
from ledger.shops.joined import Bike, Joined, joined_in
from ledger.shops.looking import events_over
from ledger.shops.merging import EVERYTHING, merged
from ledger.shops.opened import Shops
from ledger.shops.part_moves import OF_SEEN, SAID, Wanted, ends_of, moves_of, wanted_in
from ledger.shops.small_books import Small, of_small_books

_MOST_ALONE = 2_000
"""Bikes above which all of a book is read for what was true of them then."""
_KM = pa.decimal128(18, 6)
_AT = pa.timestamp("us", tz="UTC")
CARRIED = pa.schema(
    [
        ("shop", pa.string()), ("bike", pa.string()), ("rider", pa.string()),
        ("position", pa.string()), ("part", pa.string()), ("make", pa.string()),
        ("model", pa.string()), ("batch", pa.string()), ("fitted_at", _AT), ("found_at", _AT),
        ("distance_since_fitted_km", _KM), ("last_seen_at", _AT),
    ]
)  # fmt: skip
"""One part that is on a bike. `fitted_at` and the distance are null where it was found there."""
GONE = pa.schema(
    [
        ("shop", pa.string()), ("bike", pa.string()), ("position", pa.string()),
        ("part", pa.string()), ("make", pa.string()), ("model", pa.string()),
        ("batch", pa.string()), ("ended_at", _AT), ("end_reason", pa.string()),
    ]
)  # fmt: skip
"""One part that is on no bike any more, where it was last."""


@dataclass(frozen=True, slots=True)
class FittedWhere:
    """Where parts of a kind are."""

    carried: pa.Table
    """Rows of CARRIED by shop, bike and position."""
    gone: pa.Table
    """Rows of GONE by shop, bike and position."""
    count_bikes: int
    """Bikes that carry one or more."""
    count_bikes_ever: int
    """Bikes that carry or carried one: a bike of several shops counts once."""
    names: Mapping[Bike, frozenset[Bike]]
    """Every (shop, tag) of the bikes that have several, by the one they are shown under."""

    @property
    def count_bikes_no_longer(self) -> int:
        """Bikes that carried one and carry none now."""
        return self.count_bikes_ever - self.count_bikes


@dataclass(frozen=True, slots=True)
class _OfBook:
    """What one book tells of the parts: of its own bikes, and the moves of those it shares."""

    carried: pa.Table
    ended: pa.Table
    shared: pa.Table
    """Moves of bikes that are in other books too, with `is_wanted`."""
    own_joined: Mapping[str, frozenset[str]]


def fitted_where(shops: Shops, asked: Mapping[str, Asked], wanted: Wanted) -> FittedWhere:
    """Give which bikes carry what is looked for, each book as it is asked.

    A part goes by what was said when it was fitted; fitted again with nothing said, by what was
    said of it last in that shop. Nothing of a book that turns out not to be readable is in it.
    """
    while True:
        read = {shop: asked[shop] for shop in shops.readable if shop in asked}
        found = _found_in(shops, read, wanted)
        if all(shop in shops.readable for shop in read):
            return found


def _found_in(shops: Shops, asked: Mapping[str, Asked], wanted: Wanted) -> FittedWhere:
    joined = joined_in(shops, asked)
    shared = _shared(joined, asked)
    small = of_small_books(shops, asked, joined)

    def of_book(book: Book) -> _OfBook:
        shop = book.settings.shop
        return _of_book(book, asked[shop], wanted, shared.get(shop, {}), joined, small.get(shop))

    found = shops.each(of_book, of=list(asked))
    carried, ended, names = _over_books(shops, asked, joined, shared, found)
    carried = pa.concat_tables([carried, *(one.carried for one in found.values())])
    ended = pa.concat_tables([ended, *(one.ended for one in found.values())])
    for shop, one in found.items():
        shown = pc.unique(pc.filter(carried["bike"], pc.equal(carried["shop"], shop))).to_pylist()
        names |= {
            (shop, tag): frozenset((shop, other) for other in one.own_joined[tag])
            for tag in shown
            if tag in one.own_joined
        }
    return FittedWhere(
        carried=_sorted(carried),
        gone=_sorted(_gone(carried, ended)),
        count_bikes=_count_bikes(carried),
        count_bikes_ever=_count_bikes(
            pa.concat_tables([one.select(["shop", "bike"]) for one in (carried, ended)])
        ),
        names=names,
    )


def _shared(joined: Joined, asked: Mapping[str, Asked]) -> dict[str, dict[str, Bike]]:
    """Give the bikes that their own book alone does not tell of: by shop, what each goes by.

    Keys are tags as their own book shows them; a bike goes by the first of its (shop, tag).
    """
    found: dict[str, dict[str, Bike]] = {}
    for bike, group in joined.groups.items():
        if bike[0] in asked and not joined.is_of_one_book(bike, asked):
            shop, tag = joined.first_tag(bike)
            found.setdefault(shop, {})[tag] = min(one for one in group if one[0] in asked)
    return found


def _of_book(
    book: Book,
    asked: Asked,
    wanted: Wanted,
    shared: Mapping[str, Bike],
    joined: Joined,
    small: Small | None,
) -> _OfBook:
    shop = book.settings.shop
    moves = moves_of(book, asked.known_seq) if small is None else small.moves
    moves = moves.append_column("is_wanted", wanted_in(moves, wanted))
    at = pa.scalar(asked.as_at, moves.schema.field("occurred_at").type)
    is_then = pc.less_equal(moves["occurred_at"], at)
    bikes = _whole(pc.unique(moves["bike"].filter(pc.and_(is_then, moves["is_wanted"]))))
    is_shared = pc.is_in(moves["bike"], pa.array(sorted(shared), pa.string()))
    is_alone = pc.and_not(pc.is_in(moves["bike"], bikes), is_shared)
    alone = moves.filter(pc.and_(is_then, is_alone))
    spells = ends_of(alone)
    spells = spells.filter(spells["is_wanted"])
    there = spells.filter(pc.is_null(spells["ended_at"]))
    return _OfBook(
        carried=_carried(
            shop, there, _seen_then(book, asked, there) if small is None else small.seen
        ),
        ended=_ended(shop, spells.filter(pc.is_valid(spells["ended_at"]))),
        shared=moves.filter(pc.and_(is_then, is_shared)),
        own_joined=joined.own.get(shop, {}),
    )


def _seen_then(book: Book, asked: Asked, there: pa.Table) -> pa.Table:
    """Give rider, distance and last contact of bikes as at then: at the least of those of rows."""
    seen = kept(book, OF_SEEN, asked)
    if seen is not None:
        return seen
    tags = pc.unique(there["bike"]).to_pylist()
    if len(tags) > _MOST_ALONE or asked.known_seq < book.head.size:
        return whole_table(book, "bike_summary", asked.as_at, asked.known_seq)
    aliases = book.aliases(asked.known_seq)
    first = {tag: one for one in tags for tag in aliases.get(one, (one,))}
    engine = engine_of(book)
    events = engine.events_of(sorted(first), COLUMNS)
    named = [first[tag] for tag in events["bike"].to_pylist()]
    place = events.schema.get_field_index("bike")
    events = events.set_column(place, "bike", pa.array(named, pa.string()))
    return engine.one_bike_tables(["bike_summary"], asked, events, {})["bike_summary"]


def _carried(shop: str, there: pa.Table, seen: pa.Table) -> pa.Table:
    """Give rows of CARRIED from spells that last and what is known of their bikes."""
    at = pc.index_in(there["bike"], _whole(seen["bike"]))
    of = {
        name: _whole(seen[name]).take(_whole(at))
        for name in ("rider", "distance_km", "last_seen_at")
    }
    gone = pc.subtract(of["distance_km"], _whole(there["at_km"])).cast(_KM)
    return _rows(shop, there, of["rider"], of["last_seen_at"], gone)


def _rows(
    shop: str, there: pa.Table, rider: pa.Array, last_seen_at: pa.Array, gone_km: pa.Array
) -> pa.Table:
    is_found = there["is_found"]
    nothing = pa.scalar(None, _AT)
    occurred_at = there["occurred_at"].cast(_AT)
    columns = {
        "shop": pa.array([shop] * len(there), pa.string()),
        "rider": rider,
        "fitted_at": pc.if_else(is_found, nothing, occurred_at),
        "found_at": pc.if_else(is_found, occurred_at, nothing),
        "distance_since_fitted_km": pc.if_else(is_found, pa.scalar(None, _KM), gone_km),
        "last_seen_at": last_seen_at,
        **{name: there[name] for name in ("bike", "position", "part", *SAID)},
    }
    return pa.table([columns[name] for name in CARRIED.names], names=CARRIED.names).cast(CARRIED)


def _ended(shop: str, spells: pa.Table) -> pa.Table:
    columns = {name: spells[name] for name in GONE.names if name != "shop"}
    columns["shop"] = pa.array([shop] * len(spells), pa.string())
    return pa.table([columns[name] for name in GONE.names], names=GONE.names).cast(GONE)


# -- bikes of several books ---------------------------------------------------------------------


def _over_books(
    shops: Shops,
    asked: Mapping[str, Asked],
    joined: Joined,
    shared: Mapping[str, Mapping[str, Bike]],
    found: Mapping[str, _OfBook],
) -> tuple[pa.Table, pa.Table, dict[Bike, frozenset[Bike]]]:
    """Give rows of CARRIED and of GONE of bikes that are in several books, and their names."""
    pieces = []
    for shop, one in found.items():
        named = [_label(shared[shop][tag]) for tag in one.shared["bike"].to_pylist()]
        place = one.shared.schema.get_field_index("bike")
        piece = one.shared.set_column(place, "bike", pa.array(named, pa.string()))
        part = pc.binary_join_element_wise(f"{shop}/", piece["part"], "")
        piece = piece.set_column(piece.schema.get_field_index("part"), "part", part)
        pieces.append(piece.append_column("shop", pa.array([shop] * len(piece), pa.string())))
    moves = pa.concat_tables(pieces) if pieces else None
    if moves is None or not pc.any(moves["is_wanted"]).as_py():
        return CARRIED.empty_table(), GONE.empty_table(), {}
    wanted = pc.unique(_whole(moves.filter(moves["is_wanted"])["bike"]))
    spells = ends_of(moves.filter(pc.is_in(moves["bike"], wanted)), ("occurred_at", "shop", "seq"))
    spells = spells.filter(spells["is_wanted"])
    there = spells.filter(pc.is_null(spells["ended_at"]))
    bikes = [_bike(label) for label in pc.unique(there["bike"]).to_pylist()]
    names = {bike: joined.of(bike) for bike in bikes}
    carried = _carried_over(shops, asked, there, names)
    ended = spells.filter(pc.is_valid(spells["ended_at"]))
    return carried, _unlabelled(_ended("", ended)), names


def _carried_over(
    shops: Shops,
    asked: Mapping[str, Asked],
    there: pa.Table,
    names: Mapping[Bike, Collection[Bike]],
) -> pa.Table:
    """Give rows of CARRIED of bikes of several books, from all their events put together."""
    if not names:
        return CARRIED.empty_table()
    as_named = {one: ("", _label(bike)) for bike, group in names.items() for one in group}
    tables = events_over(shops, asked, as_named.keys())
    of = Asked(max(asked[shop].as_at for shop in tables), EVERYTHING)
    engine = engine_of(shops.books[next(iter(tables))])
    read = engine.one_bike_tables(
        ["bike_summary", "fitted_parts"], of, merged(tables, as_named), {}
    )
    seen, fitted = read["bike_summary"], read["fitted_parts"]
    at = _whole(pc.index_in(there["bike"], _whole(seen["bike"])))
    spots = pc.index_in(_spot(there), _spot(fitted))
    gone = _whole(fitted["distance_since_fitted_km"]).take(spots)
    rider, last = (_whole(seen[name]).take(at) for name in ("rider", "last_seen_at"))
    return _unlabelled(_rows("", there, rider, last, gone))


def _spot(table: pa.Table) -> pa.Array:
    return _whole(pc.binary_join_element_wise(table["bike"], table["position"], " "))


def _label(bike: Bike) -> str:
    return "/".join(bike)


def _bike(label: str) -> Bike:
    shop, _, tag = label.partition("/")
    return shop, tag


def _unlabelled(table: pa.Table) -> pa.Table:
    """Give rows whose bikes are `shop/tag` with both in columns of their own."""
    bikes = [_bike(label) for label in table["bike"].to_pylist()]
    for at, name in enumerate(("shop", "bike")):
        values = pa.array([bike[at] for bike in bikes], pa.string())
        table = table.set_column(table.schema.get_field_index(name), name, values)
    return table


# -- what it comes to -----------------------------------------------------------------------------


def _gone(carried: pa.Table, ended: pa.Table) -> pa.Table:
    """Give the last spell of each part that is on no bike any more."""
    there = _part_names(carried)
    names = _part_names(ended)
    left = ended.append_column("name", names).filter(pc.invert(pc.is_in(names, there)))
    keys = [("name", "ascending"), ("ended_at", "ascending")]
    ordered = left.take(pc.sort_indices(left, sort_keys=keys)).combine_chunks()
    if not len(ordered):
        return GONE.empty_table()
    name = _whole(ordered["name"])
    is_last = pc.fill_null(pc.not_equal(name.slice(0, len(name) - 1), name.slice(1)), True)
    is_last = pa.concat_arrays([_whole(is_last), pa.array([True])])
    return ordered.filter(is_last).drop_columns(["name"])


def _part_names(table: pa.Table) -> pa.Array:
    """Give each part by its shop: `shop/part`."""
    alone = pc.binary_join_element_wise(table["shop"], table["part"], "/")
    is_named = pc.match_substring(table["part"], "/")
    return _whole(pc.if_else(is_named, table["part"], alone))


def _count_bikes(table: pa.Table) -> int:
    return len(pc.unique(_whole(pc.binary_join_element_wise(table["shop"], table["bike"], "/"))))


def _sorted(table: pa.Table) -> pa.Table:
    keys = [(name, "ascending") for name in ("shop", "bike", "position")]
    return table.take(pc.sort_indices(table, sort_keys=keys)).combine_chunks()


def _whole(column: pa.ChunkedArray | pa.Array) -> pa.Array:
    return column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
