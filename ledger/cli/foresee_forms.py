"""What `foresee` is asked, as the figures take it, and what it tells as plain JSON types."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from decimal import Decimal, InvalidOperation
from typing import TYPE_CHECKING, Any

from ledger.cli.labour_plain import plain
from ledger.errors import WrongUse
from ledger.money import minor_digits

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.figures.foresee_shapes import Calibration, JobForecast, ServiceOrReplace


def tasks_asked(texts: Sequence[str]) -> dict[str, float | None]:
    """Give the planned minutes of tasks, None for the usual ones; raises WrongUse."""
    found: dict[str, float | None] = {}
    for text in texts:
        task, sign, figure = (part.strip() for part in text.partition("="))
        if not task or (sign and not figure):
            raise WrongUse(f"--task {text!r}: write it as brakes, or brakes=45 for 45 minutes.")
        if task in found:
            raise WrongUse(f"--task {task} is given twice; once, with all its minutes.")
        found[task] = _minutes(text, figure) if sign else None
    return found


def _minutes(text: str, figure: str) -> float:
    try:
        minutes = float(figure)
    except ValueError:
        minutes = math.nan
    if not 0 < minutes <= 10_000:
        raise WrongUse(f"--task {text!r}: {figure!r} are no minutes; brakes=45 is right.")
    return minutes


def minor_asked(book: Book, text: str) -> int:
    """Give a price as typed in minor units; raises WrongUse for what is none of the currency."""
    currency = book.settings.currency
    digits = minor_digits(currency)
    try:
        minor = Decimal(text.strip()).scaleb(digits)
    except InvalidOperation:
        minor = Decimal("NaN")
    if not (minor.is_finite() and 0 <= minor <= 10**12 and minor == minor.to_integral_value()):
        right = f"an amount of {currency} such as {Decimal(85):.{digits}f}"
        raise WrongUse(f"--price {text!r} is no price; write {right}.")
    return int(minor)


def foreseen_json(
    book: Book, when: tuple[datetime, int], found: JobForecast | Calibration | ServiceOrReplace
) -> dict[str, Any]:
    """Give what was foreseen, with when, what was known, and the currency of its amounts."""
    at, known_seq = when
    currency = book.settings.currency
    return {
        "as_at": plain(at),
        "as_known": known_seq,
        "currency": currency,
        "minor_digits": minor_digits(currency),
        **_told(plain(found)),
    }


def _told(value: Any) -> Any:
    """Give figures of a model to nine digits: beyond, they differ from run to run."""
    if isinstance(value, float):
        return float(f"{value:.9g}")
    if isinstance(value, dict):
        return {name: _told(one) for name, one in value.items()}
    return [_told(one) for one in value] if isinstance(value, list) else value
