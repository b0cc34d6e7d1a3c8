"""Money in whole minor units: rounded one line at a time, shared out without loss, written.

Everything is exact. Halves are rounded as the shop's terms say: to the even neighbour, or up
(away from zero).
"""

from __future__ import annotations

from collections.abc import Sequence
from copy import copy
from decimal import Decimal
from fractions import Fraction
from functools import cache
from typing import TYPE_CHECKING, Literal, Protocol

if TYPE_CHECKING:
    from babel import Locale

Rounding = Literal["half even", "half up"]
Exact = int | Fraction | Decimal
_HALF = Fraction(1, 2)


class MoneySettings(Protocol):
    """What of a book's settings says how money is written."""

    @property
    def currency(self) -> str:
        """The ISO 4217 code."""

    @property
    def locale(self) -> str:
        """Such as `en` or `de_DE`."""


@cache
def minor_digits(currency: str) -> int:
    """Give how many digits a currency's minor unit stands for (ISO 4217): 0 for JPY, 3 for KWD.

    Raises ValueError for a code that is not of ISO 4217.
    """
    import iso4217

    return int(iso4217.Currency(currency).exponent or 0)


def rounded(value: Exact, rounding: str = "half even") -> int:
    """Give an exact figure as a whole number; only a half goes by `rounding`."""
    exact = Fraction(value)
    if rounding == "half up":
        whole = int(abs(exact) + _HALF)
        return whole if exact >= 0 else -whole
    return round(exact)


def tax_minor(net_minor: int, rate: str | Exact, rounding: str = "half even") -> int:
    """Give the tax of one line in minor units: net times a rate such as `0.21`."""
    return rounded(net_minor * Fraction(rate), rounding)


def for_minutes(minutes: int, minor_per_hour: Exact, rounding: str = "half even") -> int:
    """Give in minor units what so many minutes come to at a rate an hour."""
    return rounded(minutes * Fraction(minor_per_hour) / 60, rounding)


def share_out(total: int, weights: Sequence[Exact]) -> list[int]:
    """Share a total out by weights so that the shares add up to it, by largest remainder.

    What is left over goes one each to the largest remainders, the first of equal ones before.
    Weights that are all 0 count as equal. Raises ValueError for a negative weight, and for
    no weights where there is something to share out.
    """
    exact = [Fraction(weight) for weight in weights]
    if any(weight < 0 for weight in exact):
        raise ValueError("weights to share out by are 0 or more")
    if not exact:
        if total:
            raise ValueError(f"{total} cannot be shared out among nothing")
        return []
    exact = exact if any(exact) else [Fraction(1)] * len(exact)
    due = [abs(total) * weight / sum(exact) for weight in exact]
    shares = [int(one) for one in due]
    by_remainder = sorted(range(len(due)), key=lambda place: shares[place] - due[place])
    for place in by_remainder[: abs(total) - sum(shares)]:
        shares[place] += 1
    return shares if total >= 0 else [-share for share in shares]


def major(minor: int, currency: str) -> Decimal:
    """Give an amount in minor units as the decimal figure people write: `12.50`."""
    return Decimal(minor).scaleb(-minor_digits(currency))


def words(minor: int, settings: MoneySettings) -> str:
    """Give an amount as the book's people write money, in the digits ISO 4217 gives it."""
    return written(minor, settings.currency, settings.locale)


def written(minor: int, currency: str, locale: str) -> str:
    """Give an amount of a currency as a locale writes it: `€12.50`, `12,50 €`, `¥1,250`."""
    spoken, pattern = _spoken(locale), copy(_spoken(locale).currency_formats["standard"])
    # The locale's own digits are those of shop prices, which for some currencies are fewer.
    pattern.frac_prec = (minor_digits(currency),) * 2
    text = pattern.apply(major(minor, currency), spoken, currency=currency, currency_digits=False)
    return str(text)


@cache
def _spoken(locale: str) -> Locale:
    from babel import Locale

    return Locale.parse(locale, sep="-" if "-" in locale else "_")
