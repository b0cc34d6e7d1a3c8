"""Quotients rounded exactly, whole columns at once."""

from __future__ import annotations

from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal, localcontext

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.analysis.rounding import rounded_quotient
from ledger.analysis.unfit import CannotFit

MODES = {"half even": ROUND_HALF_EVEN, "half up": ROUND_HALF_UP}


@given(
    st.lists(st.tuples(st.integers(-(10**12), 10**12), st.integers(1, 10**4)), min_size=1),
    st.sampled_from(sorted(MODES)),
)
def test_a_quotient_is_rounded_as_decimal_does(pairs, rounding):
    """Python's decimal, with digits to spare, rounds every quotient to the same whole number."""
    with localcontext(prec=60):
        want = [
            int((Decimal(over) / under).quantize(Decimal(1), MODES[rounding]))
            for over, under in pairs
        ]
    over, under = (np.array(column) for column in zip(*pairs, strict=True))
    assert rounded_quotient(over, under, rounding).tolist() == want


def test_only_a_half_goes_by_the_shops_rounding():
    """2.5 and -2.5 go to 2 and -2 by the even neighbour, to 3 and -3 the commercial way."""
    over = [25, -25, 35, 24, 26]
    assert rounded_quotient(over, 10, "half even").tolist() == [2, -2, 4, 2, 3]
    assert rounded_quotient(over, 10, "half up").tolist() == [3, -3, 4, 2, 3]


def test_every_row_may_have_its_own_rounding():
    """A shop that changed its terms: each row by the terms in force for it."""
    assert rounded_quotient([25, 25], 10, [True, False]).tolist() == [2, 3]


def test_no_float_comes_between():
    """A quotient that floats would get wrong by a unit: beyond 2**53."""
    assert rounded_quotient(2**60 + 1, 1, "half even") == 2**60 + 1


@pytest.mark.parametrize(
    ("under", "rounding", "message"),
    [(0, "half up", "not above 0"), (10, "down", "'down' is not known")],
)
def test_what_cannot_be_rounded_is_refused(under, rounding, message):
    """A denominator of 0 and an unknown rounding are named."""
    with pytest.raises(CannotFit, match=message):
        rounded_quotient([5], under, rounding)
