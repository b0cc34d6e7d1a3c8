"""Parts and bikes of many small books, read in one go: nothing is kept beside them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial

import pyarrow as pa
import pyarrow.compute as pc

import ledger.kept
from ledger.engines.duckdb import Asked
from ledger.engines.many import ManyEngine
from ledger.errors import LedgerError
from ledger.kept import Read
from ledger.shops.joined import Joined
from ledger.shops.opened import OF_ONE_BOOK, Shops
from ledger.shops.part_moves import USES, moves_from

_FEWEST = 3
"""Books below which each is asked by itself."""


@dataclass(frozen=True, slots=True)
class Small:
    """What a small book tells, as it is asked."""

    moves: pa.Table
    """As `part_moves.moves_of`, of what occurred by then."""
    seen: pa.Table
    """Rows of `bike_summary`."""


def of_small_books(shops: Shops, asked: Mapping[str, Asked], joined: Joined) -> dict[str, Small]:
    """Give what the small ones among the books tell, by shop.

    Nothing, where they are few, or where one of them cannot be read: then each is asked by itself,
    which finds out which one it is.
    """
    fewest = ledger.kept.FEWEST_EVENTS
    sizes = shops.each(lambda book: book.head.size, of=list(asked))
    small = {shop: asked[shop] for shop, size in sizes.items() if size < fewest}
    if len(small) < _FEWEST:
        return {}
    engine = ManyEngine({shop: shops.books[shop].files for shop in small})
    try:
        tables = {name: engine.whole_table(name, small, joined.own) for name in USES}
    except (*OF_ONE_BOOK, LedgerError):
        return {}
    finally:
        engine.close()
    by_shop = {name: _split(table) for name, table in tables.items()}

    def read(shop: str, relation: str) -> pa.Table:
        return by_shop[relation].get(shop, tables[relation].slice(0, 0))

    return {
        shop: Small(
            moves_from(Read(partial(read, shop), is_whole=True)), read(shop, "bike_summary")
        )
        for shop in small
    }


def _split(table: pa.Table) -> dict[str, pa.Table]:
    """Give the rows of each shop."""
    ordered = table.take(pc.sort_indices(table, sort_keys=[("shop", "ascending")]))
    found, start = {}, 0
    for one in pc.value_counts(ordered["shop"]).to_pylist():
        found[one["values"]] = ordered.slice(start, one["counts"]).combine_chunks()
        start += one["counts"]
    return found
