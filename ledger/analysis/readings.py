"""The three tables everything about wear is worked out from, as Arrow schemas.

A book gives them (`ledger.figures.readings.book_readings`); any other data that is put into
their columns can be analysed alike. Instants are UTC, distances kilometres, errors one standard
deviation; null is "not known", never zero.
"""

from __future__ import annotations

import pyarrow as pa

MOMENT = pa.timestamp("us", tz="UTC")

READINGS = pa.schema(
    [
        pa.field("series", pa.string(), nullable=False),
        pa.field("part", pa.string(), nullable=False),
        pa.field("bike", pa.string(), nullable=False),
        ("rider", pa.string()),
        pa.field("position", pa.string(), nullable=False),
        pa.field("quantity", pa.string(), nullable=False),
        ("point", pa.string()),
        ("make", pa.string()),
        ("model", pa.string()),
        ("riding", pa.string()),
        ("gauge", pa.string()),
        pa.field("event", pa.string(), nullable=False),
        pa.field("seq", pa.int64(), nullable=False),
        pa.field("recorded_at", MOMENT, nullable=False),
        pa.field("measured_at", MOMENT, nullable=False),
        ("value", pa.float64()),
        ("low", pa.float64()),
        ("high", pa.float64()),
        ("unit", pa.string()),
        ("limit", pa.float64()),
        pa.field("direction", pa.int8(), nullable=False),
        ("distance_km", pa.float64()),
        pa.field("distance_error_km", pa.float64(), nullable=False),
        pa.field("distance_source", pa.string(), nullable=False),
        pa.field("days", pa.float64(), nullable=False),
        pa.field("is_from_new", pa.bool_(), nullable=False),
        ("start", pa.float64()),
    ]
)
"""One live reading of a quantity that wears, in order of measured_at, then seq.

- series: part/quantity/point, what is read again and again; a pad read with its backing plate is
  a series of its own ("with backing plate" after the point).
- part: its own id, that of the part fitted where it was read, or, where none is known there, one
  made up from the first reading ("part-" and its event).
- rider, riding: the bike's at the reading. make, model: as the part was last called by then.
- gauge: id of the gauge; event, seq: of the reading; recorded_at: when the book knew of it.
- value in unit; null for an interval between low and high, of which one may be open (null).
- limit: stored with the reading, else (a length between rollers) from its length when new.
- direction: +1 where wear makes it grow, -1 where it shrinks.
- distance_km: the part's own at the reading, over all its spells on all bikes; since it was
  fitted, or first seen where it was found. distance_error_km: 0 where not known.
- distance_source: the least sure of what it is made of: "read" (within a day of a distance
  reading), "between" two, "beyond" the first or last, "unknown".
- days: days it was fitted until then, over all its spells (found: since first seen).
- is_from_new: exposure counts from new: first fitted new (not second hand, not found), in
  every spell of known distance.
- start: the known figure when new, in unit (0 for an elongation with its own zero), else null.
"""

PARTS = pa.schema(
    [
        pa.field("part", pa.string(), nullable=False),
        pa.field("bike", pa.string(), nullable=False),
        ("rider", pa.string()),
        pa.field("position", pa.string(), nullable=False),
        ("make", pa.string()),
        ("model", pa.string()),
        ("riding", pa.string()),
        pa.field("is_found", pa.bool_(), nullable=False),
        pa.field("is_from_new", pa.bool_(), nullable=False),
        pa.field("is_fitted", pa.bool_(), nullable=False),
        pa.field("fitted_at", MOMENT, nullable=False),
        ("ended_at", MOMENT),
        ("end_reason", pa.string()),
        ("distance_km", pa.float64()),
        pa.field("distance_error_km", pa.float64(), nullable=False),
        pa.field("distance_source", pa.string(), nullable=False),
        pa.field("days", pa.float64(), nullable=False),
    ]
)
"""One part that ever was, by part.

- bike, position, rider, riding: where it sits, or sat last, and whose that bike was then.
- is_found: first seen on a bike, of unknown age; fitted_at is then when it was first seen.
- ended_at, end_reason: of its last spell; null while it is fitted. The reason is a removal's
  ("worn", "rotated" ...) or "replaced" where another part came in its place.
- distance_km: its own, until it ended or, while it is fitted, until the bike's last distance
  reading; distance_error_km and distance_source as in READINGS.
- days: days it was fitted, until it ended or the bike's last event.
"""

DISTANCES = pa.schema(
    [
        pa.field("bike", pa.string(), nullable=False),
        ("riding", pa.string()),
        pa.field("at", MOMENT, nullable=False),
        pa.field("km", pa.float64(), nullable=False),
        ("source", pa.string()),
        pa.field("computer", pa.int64(), nullable=False),
        pa.field("error_km", pa.float64(), nullable=False),
        pa.field("seq", pa.int64(), nullable=False),
    ]
)
"""One live distance reading, by bike, then at, then seq.

- km: the bike's distance, summed over its computers; computer: 0, 1, 2 ... What was ridden
  between the last reading of one computer and the first of the next is not in it.
- source: "read", "told" or "estimated"; error_km: 0 for what was read, else a tenth of what was
  said (an assumption: people's guesses are no better).
"""


def conforming(columns: dict[str, object], schema: pa.Schema) -> pa.Table:
    """Give a table of these columns (arrays or lists) in the schema's order and types."""
    arrays = [pa.array(columns[field.name], type=field.type) for field in schema]
    return pa.Table.from_arrays(arrays, schema=schema)
