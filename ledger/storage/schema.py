"""The one declared schema of every Parquet file of a book ("Hot columns" in DEVELOPERS.md).

Additions are nullable and last. No unsigned integers and no floats: Spark reads all of it, and
nothing in it was ever rounded in binary.
"""

from __future__ import annotations

import pyarrow as pa

ID = pa.binary(16)
MOMENT = pa.timestamp("us", tz="UTC")
FIGURE = pa.decimal128(18, 6)
LINE = pa.struct(
    [
        ("line_id", pa.string()),
        ("code", pa.string()),
        ("quantity", pa.decimal128(12, 3)),
        ("net", pa.int64()),
        ("tax", pa.int64()),
        ("cost", pa.int64()),
        ("payer", pa.string()),
        ("answer", pa.string()),
        ("line_type", pa.string()),
        ("minutes", pa.int32()),
        ("position", pa.string()),
        ("is_goodwill", pa.bool_()),
        ("quote_line", pa.string()),
    ]
)
"""One line of a quote or of a charge; money in the currency's smallest unit, for the whole line."""

EVENT_SCHEMA = pa.schema(
    [
        pa.field("seq", pa.int64(), nullable=False),
        pa.field("commit", pa.int64(), nullable=False),
        pa.field("id", ID, nullable=False),
        pa.field("kind", pa.string(), nullable=False),
        pa.field("schema_version", pa.int16(), nullable=False),
        pa.field("shop", pa.string(), nullable=False),
        ("bike", pa.string()),
        ("job", pa.string()),
        ("rider", pa.string()),
        ("tier", pa.string()),
        ("task", pa.string()),
        pa.field("actor", pa.string(), nullable=False),
        pa.field("occurred_at", MOMENT, nullable=False),
        pa.field("recorded_at", MOMENT, nullable=False),
        ("position", pa.string()),
        ("part", pa.string()),
        ("model", pa.string()),
        ("riding", pa.string()),
        ("quantity", pa.string()),
        ("value", FIGURE),
        ("value_low", FIGURE),
        ("value_high", FIGURE),
        ("unit", pa.string()),
        ("gauge", pa.string()),
        ("distance_km", FIGURE),
        ("fault", pa.string()),
        ("cause", pa.string()),
        ("minutes", pa.int32()),
        ("minutes_kind", pa.string()),
        ("target_id", ID),
        ("lines", pa.list_(pa.field("element", LINE))),
        pa.field("canonical", pa.binary(), nullable=False),
        ("make", pa.string()),
        ("point", pa.string()),
        ("verdict", pa.string()),
        ("limit_value", FIGURE),
        ("outcome", pa.string()),
        ("keeper", pa.string()),
        ("payer", pa.string()),
        ("fault_position", pa.string()),
        ("is_computer_replaced", pa.bool_()),
        ("is_found", pa.bool_()),
        ("replaces", pa.string()),
        ("promised_at", MOMENT),
        ("speeds", pa.int16()),
        ("quote", pa.string()),
        ("restores_id", ID),
        ("is_preventive", pa.bool_()),
        ("currency", pa.string()),
        ("money_minor", pa.int64()),
        ("gauge_mark_pitches", pa.int16()),
        ("bike_kind", pa.string()),
        ("come_back_of", pa.string()),
        ("is_come_back", pa.bool_()),
        ("is_found_later", pa.bool_()),
        ("replaces_quote", pa.string()),
        ("is_paused", pa.bool_()),
        ("first_used_on", pa.string()),
        ("canonical_sum", pa.binary(2)),
    ]
)
COUNT_AT_FIRST = EVENT_SCHEMA.names.index("bike_kind") + 1
"""How many columns the first files had."""
AS_STORED = ("canonical", "canonical_sum")
"""The columns that are not derived for queries: the text itself, and a segment's sum of it."""


def as_declared(table: pa.Table, schema: pa.Schema) -> pa.Table:
    """Give the columns of a schema out of a table, nulls where it has none yet."""
    present = frozenset(table.column_names)
    return pa.table(
        [
            table[field.name] if field.name in present else pa.nulls(len(table), field.type)
            for field in schema
        ],
        schema=schema,
    )
