"""What has to be charged: break-even, the charge an hour that covers all, the lowest price."""

from __future__ import annotations

import math
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from ledger.analysis.unfit import CannotFit

Exact = int | Fraction
"""Money is in minor units; give whole numbers or fractions to have exact figures out."""


@dataclass(frozen=True, slots=True)
class BreakEven:
    """Where the sales of one thing cover its fixed cost (OpenStax, Principles of Accounting 2)."""

    price: Any
    variable: Any
    fixed: Any

    @property
    def contribution(self) -> Any:
        """Give what each unit sold leaves for fixed cost."""
        return self.price - self.variable

    @property
    def units(self) -> Any:
        """Give the units to sell, unrounded: a part of a unit is not sold, so round up."""
        return self.fixed / self.contribution

    @property
    def revenue(self) -> Any:
        """Give the sales at that many units."""
        return self.units * self.price

    def units_for(self, profit: Any) -> Any:
        """Give the units to sell to earn a profit, unrounded."""
        return (self.fixed + profit) / self.contribution

    def profit_at(self, units: Any) -> Any:
        """Give what is earned at so many units; below 0 a loss."""
        return units * self.contribution - self.fixed


def break_even(price: Any, variable: Any, fixed: Any) -> BreakEven:
    """Give where sales at a price break even, from cost a unit and fixed cost.

    Raises `CannotFit` where a unit leaves nothing over its own cost: no number sold would do.
    """
    if not price > variable:
        wrong = f"{price} does not cover the {variable} that a unit costs"
        raise CannotFit("argument", "price", wrong, "Give a price above the cost of a unit")
    return BreakEven(price, variable, fixed)


def break_even_charge(
    mean_wage: Exact,
    paid_hours: Exact,
    fixed_cost_a_week: Exact,
    sellable_hours: Exact,
    consumables: Exact = 0,
) -> Fraction:
    """Give the charge per sellable bench hour that covers wages, fixed cost and consumables.

    (mean wage x hours paid + fixed cost) / sellable hours, all of one week, + consumables an
    hour. Raises `CannotFit` where no hours can be sold.
    """
    if not sellable_hours > 0:
        wrong = f"it is {sellable_hours}"
        raise CannotFit("argument", "sellable_hours", wrong, "Give the hours of a week")
    carried = Fraction(mean_wage) * Fraction(paid_hours) + Fraction(fixed_cost_a_week)
    return carried / Fraction(sellable_hours) + Fraction(consumables)


def lowest_price(
    mean_line_net: Exact,
    charge_an_hour: Exact,
    hours: Exact,
    net_less_parts: Exact,
    count_lines: int,
) -> int:
    """Give what a tier's line would have to be charged to earn the break-even charge an hour.

    With everything else as it was: the mean line, plus what is missing, shared over the lines;
    in minor units, rounded up. Below the mean line where the tier earns more than that; never
    below 0. Raises `CannotFit` where no line was charged.
    """
    if count_lines < 1:
        raise CannotFit("argument", "count_lines", "there is none", "Give one line or more")
    missing = Fraction(charge_an_hour) * Fraction(hours) - Fraction(net_less_parts)
    return max(math.ceil(Fraction(mean_line_net) + missing / count_lines), 0)


def margin_percent(cost: Any, price: Any) -> Any:
    """Give what of the price is left after the cost, in % of the price."""
    return 100 * (price - cost) / price


def markup_percent(cost: Any, price: Any) -> Any:
    """Give what is put on the cost, in % of the cost: not the margin."""
    return 100 * (price - cost) / cost
