"""Handing back: what is unsafe, past its limit or untorqued, and what closing charges."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from ledger.bench.shapes import HandBack


def charge_lines(
    hand_back: HandBack, came_to: Mapping[str, int] | None = None
) -> list[dict[str, Any]]:
    """Give the lines that closing charges: every agreed one, at its price.

    `came_to` gives, by line id and in minor units before tax, what a line quoted "up to" came
    to; it may not be above what was agreed.
    """
    raise NotImplementedError
