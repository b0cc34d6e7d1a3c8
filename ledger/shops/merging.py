"""The events of one bike out of several books, put together as if one book held them.

In order of when they occurred; ties by shop, then by seq. A relation knows ties by seq alone, so a
merged event's seq is that of its own book beside the place of its shop among the shops in order.
What a shop calls a job, a part or a person is that shop's own name: it becomes `shop/name`, which
no book can hold.
"""

from __future__ import annotations

from collections.abc import Mapping

import pyarrow as pa
import pyarrow.compute as pc

from ledger.engines.duckdb import Asked
from ledger.shops.joined import Bike

SEQ_BITS = 40
"""A book holds fewer than 2^40 events."""
EVERYTHING = 2**62
"""A seq beyond any merged one: what is known was chosen in each book."""
NAMES = ("job", "rider", "keeper", "payer", "part")
"""The columns of names that are a shop's own."""


def merged_seq(place: int, seq: int) -> int:
    """Give the seq of a merged event by the place of its shop and its own seq."""
    return (place << SEQ_BITS) + seq


def live_in(events: pa.Table, asked: Asked) -> pa.Table:
    """Give the live events among those of some bikes of one book: known, occurred, not struck.

    Strikes are left out: each works in its own book alone. `events` has id, target_id and kind.
    """
    known = events.filter(pc.less_equal(events["seq"], asked.known_seq))
    is_strike = pc.equal(known["kind"], "event_struck")
    struck = known.filter(is_strike)["target_id"].combine_chunks()
    at = pa.scalar(asked.as_at, events.schema.field("occurred_at").type)
    is_out = pc.or_(is_strike, pc.is_in(known["id"], struck))
    return known.filter(pc.and_not(pc.less_equal(known["occurred_at"], at), is_out))


def merged(tables: Mapping[str, pa.Table], named: Mapping[Bike, Bike]) -> pa.Table:
    """Give events of several books, by shop, as those of one.

    `named` is what each (shop, tag) of them goes by. Columns are as they come.
    """
    pieces = [
        _renamed(shop, place, tables[shop], named)
        for place, shop in enumerate(sorted(tables))
        if len(tables[shop])
    ]
    return pa.concat_tables(pieces) if pieces else next(iter(tables.values()))


def _renamed(shop: str, place: int, events: pa.Table, named: Mapping[Bike, Bike]) -> pa.Table:
    tags = pc.unique(events["bike"]).to_pylist()
    code = pc.index_in(events["bike"], pa.array(tags, pa.string()))
    as_named = [named[shop, tag] for tag in tags]
    changed = {
        "shop": pa.array([one[0] for one in as_named], pa.string()).take(_whole(code)),
        "bike": pa.array([one[1] for one in as_named], pa.string()).take(_whole(code)),
        "seq": pc.add(events["seq"], pa.scalar(merged_seq(place, 0), pa.int64())),
    }
    for name in NAMES:
        if name in events.column_names:
            changed[name] = pc.binary_join_element_wise(f"{shop}/", events[name], "")
    for name, column in changed.items():
        place_of = events.schema.get_field_index(name)
        if place_of >= 0:
            events = events.set_column(place_of, name, column)
    return events


def _whole(column: pa.ChunkedArray | pa.Array) -> pa.Array:
    return column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
