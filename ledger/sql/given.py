"""The columns of what an engine provides: everything else is a relation here."""

from __future__ import annotations

import pyarrow as pa

from ledger.storage.schema import EVENT_SCHEMA

EFFECTS = pa.schema([("position", pa.string()), ("reached", pa.string()), ("effect", pa.string())])
"""What work at a position reaches, as `ledger.engines.tables.position_effects` gives it."""

GIVEN = {
    "events": EVENT_SCHEMA,
    "strikes": pa.schema([EVENT_SCHEMA.field("target_id"), EVENT_SCHEMA.field("seq")]),
    "position_effects": EFFECTS,
}
"""By the name of the table."""
