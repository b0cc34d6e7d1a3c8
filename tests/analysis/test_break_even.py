"""Break-even, margin and markup against published examples; the charge an hour must bring."""

from __future__ import annotations

import math
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.analysis.break_even import (
    break_even,
    break_even_charge,
    lowest_price,
    margin_percent,
    markup_percent,
)
from ledger.analysis.unfit import CannotFit

whole = st.integers(0, 10**6)


def test_a_published_break_even():
    """Price 100, cost 20, fixed 18,000: 225 units, 22,500 of sales; 175 lose, 300 earn."""
    found = break_even(100, 20, 18_000)  # OpenStax, Principles of Accounting 2, m68116 (read)
    assert (found.units, found.revenue) == (225, 22_500)
    assert (found.profit_at(175), found.profit_at(300)) == (-4_000, 6_000)


@pytest.mark.parametrize(
    ("price", "variable", "fixed", "profit", "units"),
    [
        (10, 6, 300_000, 0, 75_000),  # accountingcoach.com, break-even formula (read)
        (100, 60, 300_000, 0, 7_500),  # the same page, of hours billed at 100
        (75, 45, 200_000, 100_000, 10_000),  # loscostos.info, target profit (read)
        (90, 55, 40_000, 0, 1_143),  # studyblue.com, a firm of one product (read), rounded up
        (50, 20, 10_000, 0, 334),  # e-consult.co.ke 2490, a T-shirt shop (read), rounded up
    ],
)
def test_published_units_to_sell(price, variable, fixed, profit, units):
    """Units to break even or to earn a profit, a part of a unit rounded up."""
    found = break_even(Fraction(price), variable, fixed)
    assert math.ceil(found.units_for(profit)) == units


def test_margin_is_of_the_price_and_markup_of_the_cost():
    """Bought at 300 and sold at 500: a margin of 40 %, a markup of 66.67 %."""
    # a trade question-and-answer page (read); a price of 2.2 times the cost is no 220 % markup
    assert margin_percent(300, 500) == 40
    assert markup_percent(300, 500) == pytest.approx(66.67, abs=0.005)
    assert markup_percent(100, 220) == 120


@given(whole, st.integers(1, 90), whole, st.integers(1, 90), whole)
def test_the_break_even_charge_covers_a_week_to_the_last_unit(wage, paid, fixed, sold, used):
    """Sold for that charge, a week's hours bring just its wages, fixed cost and consumables."""
    charge = break_even_charge(wage, paid, fixed, sold, used)
    assert charge * sold == wage * paid + fixed + used * sold


def test_a_worked_break_even_charge():
    """Three at 2,900 for 90 hours, 66,700 fixed, 66 hours sold, 240 an hour used: 52.05 an hour."""
    charge = break_even_charge(2_900, 90, 66_700, 66, 240)
    assert charge == Fraction(261_000 + 66_700, 66) + 240
    assert round(float(charge)) == 5_205


@given(
    st.integers(0, 50_000), whole, st.integers(1, 5_000), st.integers(0, 10**7), st.integers(1, 500)
)
def test_at_the_lowest_price_a_tier_earns_the_charge_and_a_unit_less_would_not(
    line, charge, hours, net, count
):
    """With every line moved to that price, net less parts is at least charge x hours, just so."""
    price = lowest_price(line, charge, hours, net, count)
    earned = net + count * (price - line)
    assert earned >= charge * hours
    assert price == 0 or earned - count < charge * hours


@pytest.mark.parametrize(
    ("call", "message"),
    [
        (lambda: break_even(20, 20, 1), "does not cover"),
        (lambda: break_even_charge(1, 1, 1, 0), "sellable_hours"),
        (lambda: lowest_price(1, 1, 1, 1, 0), "count_lines"),
    ],
)
def test_what_has_no_break_even_is_refused(call, message):
    """A unit sold at cost, no hours to sell and no line charged are named."""
    with pytest.raises(CannotFit, match=message):
        call()
