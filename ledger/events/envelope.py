"""What every event carries around its payload."""

from __future__ import annotations

from ledger.events.types import BikeTag, Count, EventId, Frozen, Moment, Ref, ShopCode, Whole


class Envelope(Frozen):
    """The fields every event has; `seq` and the recording times are given at commit."""

    id: EventId
    seq: Whole | None = None
    shop: ShopCode
    bike: BikeTag | None = None
    job: Ref | None = None
    actor: Ref
    occurred_at: Moment
    recorded_at: Moment | None = None
    clock_at: Moment | None = None
    """The clock as it stood when recorded_at was held back to keep it from falling."""
    restores: EventId | None = None
    """The struck event this one records again, where a strike was a mistake."""
    schema_version: Count
