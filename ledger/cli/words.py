"""The bench's words for what the book holds: labels, figures, times and the caution."""

from __future__ import annotations

from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING

from ledger.vocabulary.caution import CAUTION as CAUTION
from ledger.vocabulary.caution import needs_caution as needs_caution

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from ledger.events import Event
    from ledger.vocabulary import Vocabulary


def position_words(vocabulary: Vocabulary, code: str, point: str | None = None) -> str:
    """Give a position's label, with the place on it in brackets."""
    word = vocabulary.positions.get(code)
    label = word.label if word else code
    return f"{label} ({point})" if point else label


def quantity_words(vocabulary: Vocabulary, code: str) -> str:
    """Give what the bench calls a quantity: chain wear, not elongation."""
    word = vocabulary.quantities.get(code)
    return word.label if word else code


def fault_words(vocabulary: Vocabulary, fault: str, cause: str | None = None) -> str:
    """Give a fault's label, with the cause behind it where one is known."""
    label = vocabulary.faults[fault].label if fault in vocabulary.faults else fault
    if cause is None:
        return label
    because = vocabulary.causes[cause].label if cause in vocabulary.causes else cause
    return f"{label}: {because}"


def tier_words(vocabulary: Vocabulary, tier: str | None) -> str:
    """Give the shop's own name of a tier; nothing for none."""
    if tier is None:
        return ""
    word = vocabulary.tiers.get(tier)
    return word.label if word else tier


def bike_kind_words(vocabulary: Vocabulary, kind: str | None) -> str:
    """Give what a kind of bike is called; nothing for none."""
    word = vocabulary.bike_kinds.get(kind or "")
    return word.label if word else kind or ""


def event_needs_caution(vocabulary: Vocabulary, event: Event) -> bool:
    """Say whether an event holds a figure that may decide whether somebody gets hurt."""
    if event.kind not in ("measured", "adjusted"):
        return False
    return needs_caution(vocabulary, event.data.position, event.data.quantity)


def figure(value: Decimal | None, unit: str = "") -> str:
    """Give an exact figure without idle noughts, and its unit."""
    if value is None:
        return ""
    text = f"{value:f}"
    text = text.rstrip("0").rstrip(".") if "." in text else text
    return f"{text} {unit}".strip()


def span(value: Decimal | None, low: Decimal | None, high: Decimal | None, unit: str) -> str:
    """Give a reading: a figure, or the interval a go/no-go mark leaves."""
    if value is not None:
        return figure(value, unit)
    if low is None:
        return f"under {figure(high, unit)}"
    if high is None:
        return f"over {figure(low, unit)}"
    return f"{figure(low)} to {figure(high, unit)}"


def moment_words(moment: datetime | None, zone: ZoneInfo) -> str:
    """Give an instant to the minute, in the book's time zone; nothing for none."""
    return "" if moment is None else moment.astimezone(zone).strftime("%Y-%m-%d %H:%M")


def day_words(moment: datetime | None, zone: ZoneInfo) -> str:
    """Give the day of an instant in the book's time zone; nothing for none."""
    return "" if moment is None else moment.astimezone(zone).strftime("%Y-%m-%d")


def part_words(part: str) -> str:
    """Give a part's id for a table: one the ledger made up by its end, whole in `--json`."""
    return f"…{part[-6:]}" if len(part) > 20 and part.startswith("part-") else part
