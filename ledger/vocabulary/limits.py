"""When a figure is past its limit, and what is said of it then."""

from __future__ import annotations

from dataclasses import dataclass, replace
from decimal import Decimal
from fnmatch import fnmatchcase
from typing import Literal

Judged = Literal["within limit", "watch", "due", "unsafe"]


@dataclass(frozen=True, slots=True)
class Limit:
    """One limit; figures are canonical. A figure at the limit counts as past it."""

    position: str
    """A position, or a pattern of `*` and `?` over positions."""
    quantity: str
    direction: Literal["above", "below"]
    """The side of the figure that is past the limit."""
    watch: Decimal | None
    due: Decimal
    unsafe: Decimal | None
    speeds: tuple[int, int] | None
    """The sprocket counts it is for, both ends included; None for any."""
    is_safety: bool
    source: str
    from_on: str | None = None
    """The day the shop's own limit holds from; None for the vocabulary's."""

    def applies(self, position: str, quantity: str, speeds: int | None, on: str | None) -> bool:
        """Say whether this limit is for that position, quantity, sprocket count and day."""
        if quantity != self.quantity or not fnmatchcase(position, self.position):
            return False
        if self.from_on is not None and on is not None and on < self.from_on:
            return False
        if self.speeds is None:
            return True
        return speeds is not None and self.speeds[0] <= speeds <= self.speeds[1]

    def at(self, figure: Decimal) -> Limit:
        """Give this limit moved to the maker's figure.

        What was watched stays as far from the limit as it was. Past a maker's figure that
        decides safety is unsafe, not merely due.
        """
        watch = None if self.watch is None else figure + (self.watch - self.due)
        unsafe = figure if self.is_safety else None
        return replace(self, watch=watch, due=figure, unsafe=unsafe, source="maker's figure")

    def is_past(self, figure: Decimal | None, limit: Decimal | None) -> bool:
        """Say whether a figure is at or past a limit; nothing is past what is not known."""
        if figure is None or limit is None:
            return False
        return figure >= limit if self.direction == "above" else figure <= limit

    def judge(self, value: Decimal) -> Judged:
        """Give the verdict on an exact reading."""
        if self.is_past(value, self.unsafe):
            return "unsafe"
        if self.is_past(value, self.due):
            return "due"
        return "watch" if self.is_past(value, self.watch) else "within limit"

    def judge_interval(self, low: Decimal | None, high: Decimal | None) -> Judged:
        """Give the verdict on an interval, such as a go/no-go mark leaves.

        The mark that went in bounds the figure on the good side (at or past it), the mark that
        did not bounds it on the worn side (short of it).
        """
        good, worn = (low, high) if self.direction == "above" else (high, low)
        if self.is_past(good, self.unsafe):
            return "unsafe"
        if self.is_past(good, self.due):
            return "due"
        is_short = worn is not None and (worn == self.due or not self.is_past(worn, self.due))
        return "within limit" if is_short else "watch"

    def is_laxer(self, figure: Decimal) -> bool:
        """Say whether a figure allows more wear than this limit does."""
        return figure != self.due and self.is_past(figure, self.due)


def plain_limit(position: str, quantity: str, figure: Decimal, *, is_upper: bool) -> Limit:
    """Give the limit a lone maker's figure makes, where no vocabulary limit is known."""
    direction: Literal["above", "below"] = "above" if is_upper else "below"
    return Limit(position, quantity, direction, None, figure, None, None, False, "maker's figure")
