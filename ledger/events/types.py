"""The small types that payload fields are made of."""

from __future__ import annotations

from datetime import UTC, date, datetime
from typing import Annotated, Any, Literal

from pydantic import (
    AfterValidator,
    BaseModel,
    BeforeValidator,
    ConfigDict,
    Field,
    PlainSerializer,
    StringConstraints,
)

TAG_ALPHABET = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
"""Crockford's base 32: no I, L, O or U, so that a tag read aloud or off a dirty sticker holds."""


class Frozen(BaseModel):
    """The base of every event and payload: immutable, and strict about unknown fields."""

    # A command meets a few of the kinds: each is built when it is first used.
    model_config = ConfigDict(frozen=True, extra="forbid", defer_build=True)


LEFT_OUT_IF_EMPTY = Field(exclude_if=lambda value: not value)
"""A field added later: left out where it says nothing, so that older events keep their bytes."""


def format_moment(moment: datetime) -> str:
    """Give an instant as `2026-03-01T09:12:00.000000Z`: UTC, always six digits."""
    return moment.astimezone(UTC).replace(tzinfo=None).isoformat(timespec="microseconds") + "Z"


def _utc(moment: datetime) -> datetime:
    if moment.tzinfo is None:
        raise ValueError("has no time zone; write one, as in 2026-03-01T09:12:00+01:00")
    if not 1900 <= moment.year <= 2200:
        raise ValueError("is outside the years 1900 to 2200")
    return moment.astimezone(UTC)


def _no_number(value: Any) -> Any:
    if isinstance(value, (int, float)):
        raise ValueError("is a bare number; write a date and time in RFC 3339 form")
    return value


def _decimal_text(value: Any) -> Any:
    if isinstance(value, bool):
        raise ValueError("is true or false; write a number as text, such as '72.5'")
    if isinstance(value, float):
        raise ValueError("is a binary float, which is not exact; write it as text, such as '72.5'")
    return str(value) if isinstance(value, int) else value


def _fold_tag(value: Any) -> Any:
    if not isinstance(value, str):
        return value
    return value.strip().upper().replace("-", "").translate(str.maketrans("ILO", "110"))


def _real_day(value: str) -> str:
    date.fromisoformat(value)
    return value


def _no_bool(value: Any) -> Any:
    if isinstance(value, bool):
        raise ValueError("is true or false; write a whole number")
    return value


Moment = Annotated[
    datetime,
    BeforeValidator(_no_number),
    AfterValidator(_utc),
    PlainSerializer(format_moment, return_type=str, when_used="json"),
]
Day = Annotated[
    str,
    StringConstraints(pattern=r"^[0-9]{4}-[0-9]{2}-[0-9]{2}$"),
    AfterValidator(_real_day),
]
DecimalText = Annotated[
    str,
    BeforeValidator(_decimal_text),
    StringConstraints(pattern=r"^-?[0-9]{1,12}(\.[0-9]{1,9})?$"),
]
"""A decimal number as text, so that nothing that is hashed was ever a float."""
Whole = Annotated[int, BeforeValidator(_no_bool), Field(strict=True, ge=-(2**53) + 1, lt=2**53)]
Count = Annotated[int, BeforeValidator(_no_bool), Field(strict=True, ge=0, le=1_000_000)]
MinorUnits = Whole
"""An amount of money in the currency's smallest unit (cents, pence, yen)."""
WorkMinutes = Annotated[int, BeforeValidator(_no_bool), Field(strict=True, ge=0, le=10_000)]
Flag = Annotated[bool, Field(strict=True)]
Code = Annotated[str, StringConstraints(pattern=r"^[a-z][a-z0-9_]{0,47}$")]
Position = Annotated[
    str, StringConstraints(pattern=r"^[a-z][a-z0-9_]*(\.[a-z][a-z0-9_]*){0,3}$", max_length=64)
]
Ref = Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9][A-Za-z0-9._:-]{0,63}$")]
"""An opaque id the shop or Lockring made: a job, part, rider, mechanic, gauge, quote or line."""
EventId = Annotated[
    str,
    BeforeValidator(lambda value: value.lower() if isinstance(value, str) else value),
    StringConstraints(
        pattern=r"^[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$"
    ),
]
"""A UUID of version 7 (RFC 9562), lower case."""
BikeTag = Annotated[
    str, BeforeValidator(_fold_tag), StringConstraints(pattern=rf"^[{TAG_ALPHABET}]{{8}}$")
]
ShopCode = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9-]{0,31}$")]
Currency = Annotated[str, StringConstraints(pattern=r"^[A-Z]{3}$")]
Label = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=120)]
"""A short name of a thing (a make, a model, a batch), never of a person."""
Digest = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
PlainText = Annotated[
    str,
    StringConstraints(strip_whitespace=True, min_length=1, max_length=4000, pattern=r"^[^\x00]*$"),
]


class Sealed(Frozen):
    """Free text as the book keeps it: encrypted, naming the key that opens it."""

    key: Ref
    sealed: Annotated[str, StringConstraints(pattern=r"^[A-Za-z0-9_-]{22,}$")]
    """AES-SIV (RFC 5297) output in base64url without padding."""


FreeText = PlainText | Sealed
"""Words somebody wrote: in clear on the way in, sealed by key in everything that is stored."""


UnitText = Annotated[str, StringConstraints(strip_whitespace=True, min_length=1, max_length=16)]


class Amount(Frozen):
    """A figure as it was entered, with its unit, beside the canonical value it stands for."""

    value: DecimalText
    unit: UnitText
    canonical: DecimalText | None = None
    """In the quantity's canonical unit and digits; filled in when the event is recorded."""


Verdict = Literal["within limit", "watch", "due", "unsafe", "not checked"]
Answer = Literal["yes", "no", "later", "no reply"]
Channel = Literal["in person", "phone", "message", "email", "other"]
MinutesKind = Literal["quoted", "found later", "come-back", "goodwill"]


class PutRight(Frozen):
    """The fault a piece of work put right."""

    fault: Code
    position: Position | None = None
    """Where the fault was found, if not where the work was done."""
    cause: Code | None = None
