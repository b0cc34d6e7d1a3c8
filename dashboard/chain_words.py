"""What is said of chains run long: shares, money and gears, each with how sure it is."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import Decimal

from babel.numbers import format_currency

from dashboard.words import Words
from ledger.figures.chain_report import BikeGears, LimitCurve, RiderChains, ShopChains
from ledger.figures.written import percent
from ledger.settings import BookSettings

LONGEST_LABEL = 22
"""Signs of a name that a chart has room for, on a telephone too."""


@dataclass(frozen=True)
class Money:
    """Writes amounts in minor units as the book's people write them."""

    settings: BookSettings
    words: Words

    def exact(self, minor: float) -> str:
        """Give an amount to the minor unit."""
        return self._written(Decimal(round(minor)).scaleb(-self.settings.minor_digits))

    def rough(self, minor: float) -> str:
        """Give an amount that was worked out, to two significant digits."""
        value = Decimal(f"{minor / 10**self.settings.minor_digits:.2g}")
        return self._written(value.quantize(Decimal(1)) if abs(value) >= 1 else value)

    def _written(self, value: Decimal) -> str:
        said = format_currency(value, self.settings.currency, locale=self.words.formats.locale)
        return said.removesuffix(".00") if value == value.to_integral_value() else said


def short(name: str) -> str:
    """Give a name whole, or cut where it is longer than the label of a chart."""
    return name if len(name) <= LONGEST_LABEL else f"{name[: LONGEST_LABEL - 1].rstrip()}…"


def share(middle: float, low: float, high: float) -> str:
    """Give a share with its 80 % interval."""
    return f"{percent(middle)} ({100 * low:.0f} to {100 * high:.0f}\u00a0%)"


def difference(middle: float | None, low: float | None, high: float | None, money: Money) -> str:
    """Give what was used up against changing at the limit: more, less, or not to be told.

    Positive is more. Nothing where money is not known.
    """
    if middle is None:
        return "not known"
    if low is None or high is None:
        return f"{_signed(middle, money)} (range not known, one rider's sprockets alone were read)"
    if low < 0 < high:
        return f"{_signed(middle, money)} ({_signed(low, money)} to {_signed(high, money)})"
    ends = sorted((abs(low), abs(high)))
    span = f"{money.rough(ends[0])} to {money.rough(ends[1])}"
    return f"{_signed(middle, money)} ({span})"


def _signed(minor: float, money: Money) -> str:
    return f"{money.rough(abs(minor))} {'more' if minor >= 0 else 'less'}"


def beyond(row: RiderChains, words: Words) -> str:
    """Give how far past the limit a rider's chains were when they were past it."""
    if row.over is None:
        return "no look found it past"
    said = f"{words.formats.rough(row.over)} % points over"
    if row.beyond_km is None or row.beyond_low_km is None or row.beyond_high_km is None:
        return said
    low, high = words.formats.rough(row.beyond_low_km), words.formats.rough(row.beyond_high_km)
    return f"{said}, about {words.formats.rough(row.beyond_km, 'km')} ({low} to {high})"


def followed(row: RiderChains) -> str:
    """Give the sprockets used up within a year after a look found a chain past its limit."""
    told = [
        f"{count} {one if count == 1 else one + 's'}"
        for count, one in ((row.cassettes_followed, "cassette"), (row.chainrings_followed, "ring"))
        if count
    ]
    return " and ".join(told) or "none seen"


def finding(shop: ShopChains, words: Words) -> str:
    """Give the page's title: how many looks at a chain found it past its limit."""
    number = words.formats.number
    looks = "look" if shop.seen == 1 else "looks"
    return f"Of {number(shop.seen)} {looks} at a chain, {number(shop.past)} found it past its limit"


def near_least(curve: LimitCurve, words: Words) -> str:
    """Give the thresholds whose cost is within 2 % of the least, as ranges."""
    runs: list[list[float]] = []
    is_before = False
    for one in curve.thresholds:
        if one.is_near_least:
            runs = (
                [*runs[:-1], [runs[-1][0], one.change_at]]
                if is_before
                else [*runs, [one.change_at] * 2]
            )
        is_before = one.is_near_least
    said = [_range(low, high, words) for low, high in runs]
    return " and ".join(said)


def _range(low: float, high: float, words: Words) -> str:
    ends = words.formats.rough(low, digits=3), words.formats.rough(high, "%", digits=3)
    return ends[1] if low == high else " to ".join(ends)


def cost_title(curve: LimitCurve, words: Words) -> str:
    """Give what a cost curve says."""
    limit = words.formats.rough(curve.limit, "%", digits=3)
    return f"Chains with a limit of {limit}: 1,000\u00a0km cost least when changed at " + (
        near_least(curve, words)
    )


def gears_title(found: BikeGears, words: Words) -> str:
    """Give which sprocket of a bike takes most of the wear, of those measured."""
    told = [gear for gear in found.gears if gear.share is not None]
    if not told:
        return "Only one sprocket measured: no share can be told"
    most = max(told, key=lambda gear: gear.share or 0.0)
    said = share(most.share or 0.0, most.share_low or 0.0, most.share_high or 0.0)
    return f"The sprocket of {most.teeth} teeth takes {said} of the wear"
