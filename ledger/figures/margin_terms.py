"""Fixed cost that no hour carried, the break-even charge, lowest prices, and what-if."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from fractions import Fraction

from ledger.analysis.break_even import break_even_charge, lowest_price
from ledger.errors import WrongUse
from ledger.figures.columns import Columns
from ledger.figures.margin_shapes import BreakEven, Earning, LowestPrice, WhatIfRow
from ledger.figures.period import Span
from ledger.figures.terms_in_force import WEEKS_A_YEAR, TermsInForce
from ledger.money import rounded


def rounding_on(terms: TermsInForce, day: int) -> str:
    """Give the shop's rounding in force on a day."""
    import numpy as np

    return "half even" if terms.is_half_even(np.array([day]))[0] else "half up"


def mean_wage(terms: TermsInForce, days: Columns, day: int) -> tuple[Fraction, bool] | None:
    """Give the mean wage an hour, and whether it is that of stretches worked.

    Of the stretches of `days` by minutes; where none has a wage told, the plain mean in force on
    the day; None where none is.
    """
    import numpy as np

    minutes = days.total("minutes_with_wage")
    if minutes:
        return Fraction(days.total("wage_minutes"), minutes), True
    total, count = (int(found[0]) for found in terms.mean_wage_on(np.array([day])))
    return (Fraction(total, count), False) if count else None


def exact_charge(terms: TermsInForce, days: Columns, day: int) -> Fraction | None:
    """Give the break-even charge of a sellable hour, exactly; None where it is not known."""
    wage, hours = mean_wage(terms, days, day), terms.sellable_hours(day)
    cost = terms.fixed_cost_minor(day)
    if wage is None or hours is None or cost is None:
        return None
    paid = terms.paid_hours(day)
    a_week = cost * 12 / WEEKS_A_YEAR
    used = terms.consumables_minor(day) or 0
    return break_even_charge(wage[0], hours if paid is None else paid, a_week, hours, used)


def break_even(terms: TermsInForce, days: Columns, day: int) -> BreakEven | None:
    """Give the break-even charge by the terms of a day, with what it is made of."""
    charge, wage = exact_charge(terms, days, day), mean_wage(terms, days, day)
    hours, cost = terms.sellable_hours(day), terms.fixed_cost_minor(day)
    if charge is None or wage is None or hours is None or cost is None:
        return None
    paid = terms.paid_hours(day)
    return BreakEven(
        charge_minor=float(charge),
        mean_wage_minor=float(wage[0]),
        is_wage_of_stretches=wage[1],
        paid_hours=float(hours if paid is None else paid),
        is_paid_hours_told=paid is not None,
        sellable_hours=float(hours),
        fixed_cost_week_minor=float(cost * 12 / WEEKS_A_YEAR),
        consumables_minor=float(terms.consumables_minor(day) or 0),
    )


def lowest(
    earning: Earning, lines: tuple[int, int], charge: Fraction | None, in_force_minor: int | None
) -> LowestPrice | None:
    """Give a tier's lowest worthwhile price; `lines` are the sum and count of its own lines."""
    total, count = lines
    if charge is None or not count:
        return None
    hours = Fraction(earning.bench_minutes, 60)
    mean = Fraction(total, count)
    left = earning.net_minor - earning.parts_cost_minor
    price = lowest_price(mean, charge, hours, left, count)
    return LowestPrice(count, float(mean), price, in_force_minor)


def what_if_row(
    tier: str | None,
    label: str,
    earning: Earning,
    tier_line_minor: int,
    changes: tuple[float, float],
    rounding: str,
) -> WhatIfRow:
    """Give a tier had its own line's price, and its minutes, been other by shares."""
    price, minutes = (Fraction(change).limit_denominator(1_000_000) for change in changes)
    net = rounded(price * tier_line_minor, rounding)
    spent = rounded(minutes * (earning.wages_minor + earning.consumables_minor), rounding)
    fixed = rounded(minutes * earning.fixed_minor, rounding)
    contribution = earning.contribution_minor + net - spent
    hours = float(Fraction(earning.bench_minutes, 60) * (1 + minutes))
    left = earning.net_minor + net - earning.parts_cost_minor
    return WhatIfRow(
        tier=tier,
        label=label,
        price_change=changes[0],
        minutes_change=changes[1],
        margin_minor=earning.margin_minor,
        margin_after_minor=contribution - earning.fixed_minor - fixed,
        contribution_per_hour_minor=earning.contribution_per_hour_minor,
        contribution_per_hour_after_minor=contribution / hours if hours else None,
        earned_rate_after_minor=left / hours if hours else None,
    )


def check_changes(
    changes: Mapping[str | None, float], tiers: Sequence[str | None], what: str
) -> None:
    """Refuse a change of a tier nobody had, or below -100 %; raises WrongUse."""
    for tier, change in changes.items():
        if tier not in tiers:
            known = ", ".join(name or "no tier" for name in tiers)
            raise WrongUse(f"No job of this time has the tier {tier}. It has: {known}.")
        if not -1 <= change <= 10:
            wrong = f"The {what} of {tier} cannot change by {change}"
            raise WrongUse(f"{wrong}. Give a share from -1 to 10: 0.05 is 5 % more.")


def not_carried(terms: TermsInForce, span: Span, rounding: str) -> tuple[int, int]:
    """Give the fixed cost of a span's days, rounded once, and the days it is not told of."""
    cost, untold = terms.fixed_cost_of_days(span.first, span.last)
    return rounded(cost, rounding), untold
