"""Labour variances against published worked examples, and their arithmetic."""

from __future__ import annotations

from decimal import Decimal
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.analysis.variances import (
    effective_rate,
    efficiency_share,
    utilisation,
    variances,
    variances_minor,
    variances_of_cost,
)

D = Decimal
BIGLOW = D(565_600) / 16_000


@pytest.mark.parametrize(
    ("actual", "standard", "rate", "efficiency"),
    [
        # OpenStax, Principles of Accounting vol. 2, m68073 (read): (hours, rate), positive is U
        ((D("0.20"), D("9.50")), (D("0.10"), D("8.00")), D("0.30"), D("0.80")),
        ((D("0.10"), D("7.50")), (D("0.10"), D("8.00")), D("-0.05"), D(0)),
        ((D("0.05"), D("8.00")), (D("0.10"), D("8.00")), D(0), D("-0.40")),
        # the same book's end-of-chapter firm (read; recomputed, for its figure misprints a sum)
        ((16_000, BIGLOW), (D(11_000) * D("1.5"), 35), D(5_600), D(-17_500)),
        # a garage's oil changes (read, ya.guru): 1,600 of 0.30 h at 17; 310 h at 24
        ((310, 24), (1_600 * D("0.30"), 17), D(2_170), D(-2_890)),
        # accountingcoach.com, blog on the labour efficiency variance (read): 6,000 units of 3 h
        ((18_400, D("10.30")), (6_000 * 3, 10), D(5_520), D(4_000)),
        # partnerperformance.uonbi.ac.ke 16856287 (read): 1,500 units of 4.4 h, 142,100 paid
        ((7_000, D(142_100) / 7_000), (1_500 * D("4.4"), D("20.20")), D(700), D(8_080)),
        # aheadinclass.com, direct labor variance (inputs read, answers recomputed): 600 chairs
        ((1_260, D("26.50")), (600 * 2, 25), D(1_890), D(1_500)),
    ],
)
def test_published_variances(actual, standard, rate, efficiency):
    """Worked examples of textbooks come out to the last digit, and add up."""
    found = variances(*actual, *standard)
    assert (found.rate, found.efficiency) == (rate, efficiency)
    assert found.total == rate + efficiency


@pytest.mark.parametrize(
    ("actual_hours", "cost", "standard_hours", "standard_rate", "want"),
    [
        (16_000, 565_600, 16_500, 35, (5_600, -17_500, -11_900)),
        (7_000, 142_100, 6_600, Fraction(202, 10), (700, 8_080, 8_780)),
        # accountingcoach.com (read): "actual direct labor cost was $189,520"
        (18_400, 189_520, 18_000, 10, (5_520, 4_000, 9_520)),
        # gaodun.com 106ili (read): 5,200 units of 1.25 h at 12, 6,600 h: efficiency 1,200 U
        (6_600, 6_600 * 12, 6_500, 12, (0, 1_200, 1_200)),
    ],
)
def test_published_variances_from_what_was_paid(
    actual_hours, cost, standard_hours, standard_rate, want
):
    """With the sum paid in place of a rate, the same examples come out."""
    found = variances_of_cost(actual_hours, cost, standard_hours, standard_rate)
    assert (found.rate, found.efficiency, found.total) == want


def test_a_published_effective_rate():
    """25,000 charged in 275 hours is 90.91 an hour, 13.59 below the posted 104.50."""
    # automotivemanagementnetwork.com, Key 23 (read)
    rate = effective_rate(Fraction(25_000), 275)
    assert round(float(rate), 2) == 90.91
    assert round(104.50 - float(rate), 2) == 13.59


def test_efficiency_and_utilisation_are_shares_of_hours():
    """33 hours allowed and 30 worked of the 40 there were: 1.1 and 0.75."""
    assert efficiency_share(Fraction(33), 30) == Fraction(11, 10)
    assert utilisation(Fraction(30), 40) == Fraction(3, 4)


def test_columns_go_in_whole():
    """Arrays come out as arrays, job by job."""
    found = variances(np.array([2.0, 1.0]), 30.0, np.array([1.5, 1.5]), 28.0)
    assert found.rate.tolist() == [4.0, 2.0]
    assert found.efficiency.tolist() == [14.0, -14.0]


minutes = st.integers(0, 2_000)


@given(
    st.lists(
        st.tuples(
            minutes, st.integers(0, 10**6), minutes, st.integers(1, 30_000), st.integers(1, 5)
        ),
        min_size=1,
        max_size=20,
    ),
    st.sampled_from(["half even", "half up"]),
)
def test_variances_in_minor_units_add_up_and_are_rounded_once(jobs, rounding):
    """Of every job, rate + efficiency = total; each is within a minor unit of the exact one."""
    actual, cost, standard, wages, count = (np.array(column) for column in zip(*jobs, strict=True))
    found = variances_minor(actual, cost, standard, wages, count, rounding)
    assert (found.rate + found.efficiency == found.total).all()
    for row, (worked, paid, allowed, wage, of) in enumerate(jobs):
        exact = variances_of_cost(
            Fraction(worked, 60), paid, Fraction(allowed, 60), Fraction(wage, of)
        )
        assert abs(found.efficiency[row] - exact.efficiency) <= Fraction(1, 2)
        assert abs(found.total[row] - exact.total) <= Fraction(1, 2)
        assert abs(found.rate[row] - exact.rate) <= 1


def test_a_job_without_a_told_wage_has_no_standard_cost():
    """Nobody's wage is told: what was paid is all there is."""
    found = variances_minor([60], [0], [30], [0], [0], "half even")
    assert [found.rate[0], found.efficiency[0], found.total[0]] == [0, 0, 0]
