"""Minutes, amounts, ratios and shares as the bench reads them, in one book's locale."""

from __future__ import annotations

from fractions import Fraction
from typing import TYPE_CHECKING

from ledger.figures.written import Written, percent
from ledger.money import rounded, words

if TYPE_CHECKING:
    from ledger.figures.labour_shapes import Period, RatioSpread
    from ledger.figures.margin_shapes import Estimate


class MoneyWords(Written):
    """Writes the figures of time and money; what is not there is nothing."""

    def money(self, minor: float | None) -> str:
        """Give an amount; one that was worked out, to the nearest minor unit."""
        if minor is None:
            return ""
        return words(rounded(Fraction(minor)), self.settings)

    def whole(self, count: float | None) -> str:
        """Give a count, or minutes, to the whole."""
        return "" if count is None else self.figure(round(count))

    def hours(self, minutes: int | None) -> str:
        """Give minutes as hours, to a tenth."""
        return "" if minutes is None else self.figure(round(minutes / 60, 1))

    def share(self, share: float | None) -> str:
        """Give a share in per cent, to a tenth; it may be below nought or above one."""
        return "" if share is None else f"{self.figure(round(100 * share, 1))} %"

    def change(self, share: float) -> str:
        """Give a change in per cent with its sign; nothing for none."""
        return f"{'+' if share > 0 else ''}{self.share(share)}" if share else ""

    def ratio(self, spread: RatioSpread) -> str:
        """Give the median with the middle half of the jobs; nothing for too few."""
        if spread.is_too_few or spread.median is None:
            return ""
        middle = self._two(spread.median)
        if spread.quarter_low is None or spread.quarter_high is None:
            return middle
        return f"{middle} ({self._two(spread.quarter_low)} to {self._two(spread.quarter_high)})"

    def share_over(self, spread: RatioSpread) -> str:
        """Give the share over by 20 % with its 95 % interval; nothing for too few."""
        if spread.is_too_few or spread.share_over is None:
            return ""
        if spread.share_over_low is None or spread.share_over_high is None:
            return percent(spread.share_over)
        low, high = percent(spread.share_over_low), percent(spread.share_over_high)
        return f"{percent(spread.share_over)} ({low} to {high})"

    def estimate(self, found: Estimate | None) -> str:
        """Give an amount with its 80 % interval, as far as there is one."""
        if found is None:
            return ""
        if found.low_80 is None or found.high_80 is None:
            return self.money(found.value)
        low, high = self.money(found.low_80), self.money(found.high_80)
        return f"{self.money(found.value)} ({low} to {high})"

    def days(self, period: Period) -> str:
        """Give a period by its first and last day."""
        return f"{self.day(period.since)} to {self.day(period.until)}"

    def _two(self, value: float) -> str:
        return self.figure(round(value, 2))
