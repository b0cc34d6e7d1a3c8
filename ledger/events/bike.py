"""Payloads about the bike itself, who rides it and how far it has gone."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import Field, model_validator

from ledger.events.types import (
    Amount,
    BikeTag,
    Code,
    Count,
    Day,
    Flag,
    FreeText,
    Frozen,
    Label,
    Ref,
    ShopCode,
)


class BikeRegistered(Frozen):
    """A bike enters the book."""

    make: Label | None = None
    model: Label | None = None
    bike_kind: Code | None = None
    wheel_size: Label | None = None
    speeds: Count | None = None
    """Sprockets at the rear; decides which chain limit applies."""
    is_e_bike: Flag = False
    riding: Code | None = None
    first_used_on: Day | None = None
    """None where the history before the book is unknown."""
    frame_number: FreeText | None = None
    description: FreeText | None = None


class RiderChanged(Frozen):
    """Somebody else rides, answers for or pays for the bike from now on."""

    rider: Ref | None = None
    """None where nobody in particular rides it."""
    keeper: Ref | None = None
    payer: Ref | None = None
    riding: Code | None = None
    note: FreeText | None = None

    @model_validator(mode="before")
    @classmethod
    def _one_person_by_default(cls, data: Any) -> Any:
        if not isinstance(data, dict):
            return data
        keeper = data.get("keeper") or data.get("rider")
        return {**data, "keeper": keeper, "payer": data.get("payer") or keeper}


class DistanceRead(Frozen):
    """What the bike's computer showed, or what somebody said it did."""

    odometer: Amount
    source: Literal["read", "told", "estimated"] = "read"
    computer_replaced: Flag = False
    """The computer is another one since the last reading, so the figure may be lower."""


class BikeAt(Frozen):
    """One bike in one shop."""

    bike: BikeTag
    shop: ShopCode | None = None
    """None for the shop whose book this is."""


class BikeLinked(Frozen):
    """Two tags, or tags of two shops, turn out to be one bike."""

    first: BikeAt
    second: BikeAt
    reason: FreeText | None = None


class PhotoAttached(Frozen):
    """A picture, kept encrypted beside the events under the hash of its ciphertext."""

    photo: str = Field(pattern=r"^[0-9a-f]{64}$")
    key: Ref
    media_type: Literal["image/jpeg", "image/png", "image/webp"]
    position: str | None = Field(default=None, pattern=r"^[a-z][a-z0-9_.]*$", max_length=64)
    caption: FreeText | None = None
    is_before: Flag | None = None
    """Taken before the work, or after it; None where nobody said."""
