"""Pressures: tyres and suspension, and the lowest maximum of what carries the air."""

from __future__ import annotations

from ledger.bench.shapes import PressureItem


def over_maximum(item: PressureItem, value: str, unit: str) -> str | None:
    """Give the caution for a typed pressure above the lowest known maximum, in a sentence.

    None where it is not above it, or no maximum is known: which never means that it is safe.
    """
    raise NotImplementedError
