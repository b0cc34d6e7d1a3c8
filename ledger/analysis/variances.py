"""Labour variances of standard costing: what was paid too much an hour, what took too long.

Positive is unfavourable. Rate variance = AH x (AR - SR), efficiency variance = (AH - SH) x SR,
total = AH x AR - SH x SR, with A actual, S standard, H hours, R rate (OpenStax, Principles of
Accounting vol. 2, 8.3). Plain arithmetic: whole numbers, fractions, decimals and arrays go in,
and come out exactly.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ledger.analysis.rounding import IntArray, Rounding, rounded_quotient

Figure = Any
"""A whole number, Fraction, Decimal, float, or an array of them."""


@dataclass(frozen=True, slots=True)
class Variances:
    """The two variances and their sum, in money; above 0 cost more than the standard allows."""

    rate: Figure
    efficiency: Figure
    total: Figure


def variances(
    actual_hours: Figure, actual_rate: Figure, standard_hours: Figure, standard_rate: Figure
) -> Variances:
    """Give the variances of hours worked at a rate against those allowed at the standard rate."""
    rate = actual_hours * (actual_rate - standard_rate)
    efficiency = (actual_hours - standard_hours) * standard_rate
    return Variances(rate, efficiency, rate + efficiency)


def variances_of_cost(
    actual_hours: Figure, actual_cost: Figure, standard_hours: Figure, standard_rate: Figure
) -> Variances:
    """Give the same where the cost of all hours is known, and not the rate of each."""
    efficiency = (actual_hours - standard_hours) * standard_rate
    total = actual_cost - standard_hours * standard_rate
    return Variances(total - efficiency, efficiency, total)


def variances_minor(
    actual_minutes: IntArray,
    actual_cost_minor: IntArray,
    standard_minutes: IntArray,
    rate_sum_minor: IntArray,
    rate_count: IntArray,
    rounding: Rounding | IntArray,
) -> Variances:
    """Give the variances of N jobs in whole minor units, so that rate + efficiency = total.

    The standard rate of a job is a mean wage an hour, given exactly as a sum over a count. Where
    the count is 0 no wage is told, and the standard costs nothing. `rounding` as in
    `rounded_quotient`. Efficiency and standard cost are rounded once a job; the rate variance is
    what is left.
    """
    hours = 60 * np.maximum(np.asarray(rate_count, dtype=np.int64), 1)
    over = np.asarray(actual_minutes, dtype=np.int64) - standard_minutes
    efficiency = rounded_quotient(over * rate_sum_minor, hours, rounding)
    standard_cost = rounded_quotient(
        np.asarray(standard_minutes, dtype=np.int64) * rate_sum_minor, hours, rounding
    )
    total = np.asarray(actual_cost_minor, dtype=np.int64) - standard_cost
    return Variances(total - efficiency, efficiency, total)


def efficiency_share(standard_hours: Figure, actual_hours: Figure) -> Figure:
    """Give standard over actual hours: above 1, the work took less than allowed."""
    return standard_hours / actual_hours


def utilisation(productive_hours: Figure, available_hours: Figure) -> Figure:
    """Give the share of the hours there were that went into work."""
    return productive_hours / available_hours


def effective_rate(net_labour: Figure, bench_hours: Figure) -> Figure:
    """Give the labour charged (net of tax) an hour at the bench: beside the posted rate."""
    return net_labour / bench_hours
