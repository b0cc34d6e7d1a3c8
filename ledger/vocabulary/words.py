"""The words a book knows, each with the label people at the bench see."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal


@dataclass(frozen=True, slots=True)
class Word:
    """One code and its label."""

    code: str
    label: str


@dataclass(frozen=True, slots=True)
class PositionWord(Word):
    """A place on the bike."""

    system: str
    is_torqued: bool = False
    hides: tuple[str, ...] = ()
    """Positions one can only reach by disturbing this one."""


@dataclass(frozen=True, slots=True)
class QuantityWord(Word):
    """What is measured or set; the figures are in `unit`."""

    unit: str
    digits: int
    lowest: Decimal
    highest: Decimal
    usual: tuple[Decimal, Decimal]


@dataclass(frozen=True, slots=True)
class TaskWord(Word):
    """What minutes are booked on; `minutes` is the shop's standard time, where it has one."""

    minutes: int | None = None


@dataclass(frozen=True, slots=True)
class TierWord(Word):
    """A level of service the shop sells; the price is before tax."""

    price_minor: int | None = None
    minutes: int | None = None


@dataclass(frozen=True, slots=True)
class Window:
    """How long after it was put right a fault found again counts as come back."""

    days: int
    distance_km: int


@dataclass(frozen=True, slots=True)
class ShopWindow:
    """The window a shop set for a fault, from a day on."""

    fault: str
    from_on: str
    """`2026-03-01`."""
    window: Window
