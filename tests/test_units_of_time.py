"""Ages are entered as people say them, and held in days."""

from __future__ import annotations

from decimal import Decimal

import pytest

from ledger.vocabulary import UnitProblem, canonical, standard

AGE = standard().quantities["age"]


@pytest.mark.parametrize(
    ("value", "unit", "days"),
    [("6", "years", "2191.5"), ("1", "year", "365.25"), ("18", "months", "547.875"),
     ("2", "weeks", "14"), ("400", "days", "400"), ("1", "month", "30.4375")],
)  # fmt: skip
def test_an_age_is_entered_in_years_months_weeks_or_days(value: str, unit: str, days: str) -> None:
    """A year is 365.25 days of 86,400 s, a month a twelfth of it."""
    # The Julian year of the IAU's recommendations of 1976; from memory.
    assert canonical(AGE, value, unit) == Decimal(days)


def test_a_length_is_no_age() -> None:
    """What was entered, and what would be right, are both named."""
    with pytest.raises(UnitProblem) as raised:
        canonical(AGE, "6", "mm")
    assert raised.value.wrong == "6 mm is a length"
    assert raised.value.right == "Age is entered in years, months, weeks or days"


def test_no_limit_on_age_is_given_for_all_parts() -> None:
    """Nothing is published that holds for every maker: a limit is the maker's or the shop's."""
    assert not [limit for limit in standard().limits if limit.quantity == "age"]
