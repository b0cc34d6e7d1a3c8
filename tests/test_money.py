"""Money: rounded a line at a time, shared out without loss, written in any currency."""

from dataclasses import dataclass
from decimal import ROUND_HALF_EVEN, ROUND_HALF_UP, Decimal, localcontext
from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger import money
from tests.entries import completed

WAYS = {"half even": ROUND_HALF_EVEN, "half up": ROUND_HALF_UP}
ROUNDINGS = st.sampled_from(sorted(WAYS))
RATES = st.decimals(0, 1, places=4, allow_nan=False, allow_infinity=False)
NETS = st.integers(-(10**9), 10**9)


@dataclass(frozen=True)
class Shop:
    """A currency and a locale."""

    currency: str
    locale: str


def by_decimal(figure: Decimal, rounding: str) -> int:
    """Round by the decimal module, with room for every digit."""
    with localcontext(prec=60):
        return int(figure.quantize(Decimal(1), rounding=WAYS[rounding]))


@pytest.mark.parametrize(
    ("currency", "digits"), [("EUR", 2), ("JPY", 0), ("KWD", 3), ("ISK", 0), ("CLF", 4)]
)
def test_minor_units_are_those_of_iso_4217(currency, digits):
    """ISO 4217 (table A.1) tells how many digits the minor unit stands for."""
    assert money.minor_digits(currency) == digits


def test_an_unknown_currency_has_no_minor_unit():
    """A code that is not in ISO 4217 is an error, not two digits by guess."""
    with pytest.raises(ValueError, match="XQQ"):
        money.minor_digits("XQQ")


@pytest.mark.parametrize(
    ("figure", "even", "up"),
    [
        (Fraction(1, 2), 0, 1),
        (Fraction(3, 2), 2, 2),
        (Fraction(-1, 2), 0, -1),
        (Fraction(-5, 2), -2, -3),
        (Decimal("2.5"), 2, 3),
        (Decimal("2.4999999999999999999999999999999999"), 2, 2),
        (7, 7, 7),
    ],
)
def test_only_halves_go_by_the_rounding(figure, even, up):
    """A half goes to the even neighbour, or away from zero; all else to the nearest."""
    assert (money.rounded(figure), money.rounded(figure, "half up")) == (even, up)


@given(st.decimals(-(10**12), 10**12, places=6), ROUNDINGS)
def test_rounding_is_that_of_the_decimal_module(figure, rounding):
    """Both ways of rounding agree with an independent implementation on every figure."""
    assert money.rounded(figure, rounding) == by_decimal(figure, rounding)


@pytest.mark.parametrize("currency", ["JPY", "EUR", "KWD"])
@given(
    lines=st.lists(st.tuples(NETS, RATES, st.booleans()), min_size=1, max_size=30),
    rounding=ROUNDINGS,
)
def test_sums_of_lines_are_the_totals_of_an_invoice(currency, lines, rounding):
    """Written out and added up as decimals, every line's net and tax give the invoice's total.

    A tie is forced into every third line or so, where the two ways of rounding differ.
    """
    drawn = [(net * 50 + 25, Decimal("0.02")) if tie else (net, rate) for net, rate, tie in lines]
    taxes = [money.tax_minor(net, str(rate), rounding) for net, rate in drawn]
    digits = {"JPY": 0, "EUR": 2, "KWD": 3}[currency]
    with localcontext(prec=60):
        unit = Decimal(1).scaleb(-digits)
        nets = [Decimal(net) * unit for net, _ in drawn]
        exact = [
            (net * rate).quantize(unit, rounding=WAYS[rounding])
            for net, (_, rate) in zip(nets, drawn, strict=True)
        ]
        total = sum(nets) + sum(exact)
        assert money.major(sum(net for net, _ in drawn) + sum(taxes), currency) == total


@given(
    lines=st.lists(
        st.tuples(NETS, st.sampled_from(["0", "0.06", "0.21", "0.005"])), min_size=1, max_size=8
    )
)
def test_a_recorded_charge_has_the_tax_of_each_line(lines):
    """What is filled in when a charge is recorded is rounded line by line, not on the total."""
    drafts = [
        {"line": f"{at}", "line_type": "other", "code": "x", "net_minor": net, "tax_rate": rate}
        for at, (net, rate) in enumerate(lines)
    ]
    done, _ = completed("job_closed", {"currency": "EUR", "lines": drafts}, job="j1")
    told = [by_decimal(Decimal(net) * Decimal(rate), "half even") for net, rate in lines]
    assert [line.tax_minor for line in done.lines] == told


@pytest.mark.parametrize(
    ("minutes", "an_hour", "even", "up"),
    [(20, 3000, 1000, 1000), (1, 30, 0, 1), (3, 30, 2, 2), (50, Fraction(7), 6, 6), (0, 99, 0, 0)],
)
def test_minutes_are_priced_by_the_hour(minutes, an_hour, even, up):
    """Minutes times the rate an hour, rounded once: 1 min at 30 is half a minor unit."""
    found = [money.for_minutes(minutes, an_hour, way) for way in ("half even", "half up")]
    assert found == [even, up]


WEIGHTS = st.lists(st.integers(0, 10**6) | st.fractions(0, 100, max_denominator=97), min_size=1)


@given(st.integers(-(10**9), 10**9), WEIGHTS)
def test_shares_add_up_and_are_within_one_of_what_is_due(total, weights):
    """No minor unit is lost or made, and nobody is a whole one off (Hamilton's quota rule)."""
    shares = money.share_out(total, weights)
    whole = sum(map(Fraction, weights))
    assert sum(shares) == total
    if whole:
        due = [total * Fraction(weight) / whole for weight in weights]
        assert all(abs(share - one) < 1 for share, one in zip(shares, due, strict=True))


def test_the_largest_remainder_goes_first():
    """Of what is left over, the largest remainders get one each; of equal ones the first."""
    assert money.share_out(10, [1, 1, 1]) == [4, 3, 3]
    assert money.share_out(-10, [1, 1, 1]) == [-4, -3, -3]
    assert money.share_out(100, [47, 16, 15, 22]) == [47, 16, 15, 22]
    assert money.share_out(7, [0, 0]) == [4, 3]
    assert money.share_out(0, []) == []


@pytest.mark.parametrize(("total", "weights"), [(1, []), (5, [2, -1])])
def test_what_cannot_be_shared_out_is_an_error(total, weights):
    """Nobody to share with, or a share below nothing, is refused."""
    with pytest.raises(ValueError, match=r"cannot be shared|0 or more"):
        money.share_out(total, weights)


@pytest.mark.parametrize(
    ("minor", "currency", "locale", "said"),
    [
        (123456, "EUR", "en", "€1,234.56"),
        (123456, "EUR", "de_DE", "1.234,56\u00a0€"),
        (-5, "EUR", "en", "-€0.05"),
        (1250, "JPY", "en", "¥1,250"),
        (1250, "KWD", "de-DE", "1,250\u00a0KWD"),
        (1250, "IQD", "de_DE", "1,250\u00a0IQD"),
    ],
)
def test_money_is_written_as_the_shops_locale_does(minor, currency, locale, said):
    """The digits are those of ISO 4217, also where CLDR drops them (IQD)."""
    assert money.words(minor, Shop(currency, locale)) == said
