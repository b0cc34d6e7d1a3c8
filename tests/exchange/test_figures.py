from __future__ import annotations

from datetime import datetime, time
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.exchange import figures
from ledger.exchange.figures import NotReadable
from ledger.exchange.workbook import Exact


@pytest.mark.parametrize(
    ("cell", "decimal", "thousands", "expected"),
    [
        ("1.234,5", ",", ".", "1234.5"),
        ("133,1", ",", "", "133.1"),
        ("1,234.50", ".", ",", "1234.50"),
        ("1 234", ",", "", "1234"),
        ("1\u202f234,5", ",", "", "1234.5"),
        ("-3", ".", "", "-3"),
        (".5", ".", "", "0.5"),
        ("+7", ".", "", "7"),
        (Exact("133.1"), ",", ".", "133.1"),
    ],
)
def test_figures_are_read_as_the_file_writes_them(
    cell: str, decimal: str, thousands: str, expected: str
) -> None:
    """A figure is read by the file's own decimal and thousands signs, typed cells as they are."""
    assert figures.decimal_text(cell, decimal, thousands) == expected


@pytest.mark.parametrize(
    ("cell", "decimal", "thousands"),
    [
        ("133.1", ",", "."),
        ("1,5", ".", ""),
        ("1.2.3", ",", "."),
        ("1.23,4", ",", "."),
        ("abc", ".", ""),
        ("", ".", ""),
        ("1e5", ".", ""),
        ("=1+1", ".", ""),
        ("\u0663", ".", ""),
        ("1" * 40, ".", ""),
    ],
)
def test_what_may_mean_something_else_is_not_read(cell: str, decimal: str, thousands: str) -> None:
    """A figure that the file's own signs do not explain is refused, never guessed."""
    with pytest.raises(NotReadable):
        figures.decimal_text(cell, decimal, thousands)


@given(
    st.decimals(-999999, 999999, places=3), st.sampled_from([(",", "."), (".", ","), (",", " ")])
)
def test_grouped_figures_come_back(value: Decimal, signs: tuple[str, str]) -> None:
    """Any figure written with grouped thousands is read back exactly."""
    decimal, thousands = signs
    written = f"{value:,}".replace(",", "\0").replace(".", decimal).replace("\0", thousands)
    assert Decimal(figures.decimal_text(written, decimal, thousands)) == value


@pytest.mark.parametrize(
    ("cell", "unit", "expected"),
    [
        ("72 psi", "bar", ("72", "psi")),
        ("72", "psi", ("72", "psi")),
        ("0,5%", None, ("0.5", "%")),
        ("1200 mi", "km", ("1200", "mi")),
        ("12 1/16 in", None, ("12.0625", "in")),
        ("1/2", "in", ("0.5", "in")),
    ],
)
def test_a_unit_in_the_cell_goes_before_the_columns(
    cell: str, unit: str | None, expected: tuple[str, str]
) -> None:
    """A figure keeps the unit written beside it, else it has the column's."""
    found = figures.amount(cell, unit, ",")
    assert (found["value"], found["unit"]) == expected


def test_a_figure_without_any_unit_is_not_read() -> None:
    """A figure with no unit in its cell or its column is refused."""
    with pytest.raises(NotReadable, match="has no unit"):
        figures.amount("72", None)


@pytest.mark.parametrize(
    ("cell", "digits", "expected"),
    [
        ("€ 12,50", 2, 1250),
        ("12,50 EUR", 2, 1250),
        ("12,-", 2, 1200),
        ("-€ 5", 2, -500),
        ("5 €", 2, 500),
        ("kr 120", 2, 12000),
        ("€ 1.250,00", 2, 125000),
        ("1.200", 0, 1200),
        (Exact("12.5"), 2, 1250),
    ],
)
def test_sums_of_money_lose_their_signs(cell: str, digits: int, expected: int) -> None:
    """A sum is read without its currency sign or code, in the currency's smallest unit."""
    assert figures.minor_units(cell, digits, ",", ".") == expected


def test_a_sum_finer_than_the_currency_is_not_read() -> None:
    """Tenths of a cent are refused, not rounded."""
    with pytest.raises(NotReadable, match="more digits than the currency"):
        figures.minor_units("12.505", 2)


@pytest.mark.parametrize(
    ("cell", "in_hours", "expected"),
    [
        ("75", False, 75),
        ("75 min", True, 75),
        ("1:15", False, 75),
        ("1h15", False, 75),
        ("1.25", True, 75),
        ("2 h", False, 120),
        ("1.5 Std", False, 90),
    ],
)
def test_lengths_of_time(cell: str, in_hours: bool, expected: int) -> None:
    """Minutes are read from minutes, hours, and hours with minutes."""
    assert figures.minutes(cell, in_hours) == expected


def test_dates_are_read_by_the_files_forms_and_iso_always() -> None:
    """A date is read by the forms given, in order; ISO form always; nothing else is."""
    assert figures.moment("15.04.2016", ["%d.%m.%Y"]) == (datetime(2016, 4, 15), True)
    assert figures.moment("2016-04-15", ["%d.%m.%Y"]) == (datetime(2016, 4, 15), True)
    both = ["%d/%m/%y %H:%M", "%d/%m/%y"]
    assert figures.moment("15/04/16 09:30", both) == (datetime(2016, 4, 15, 9, 30), False)
    for cell in ("31.02.2016", "04/15/2016", "0001-01-01", "soon"):
        with pytest.raises(NotReadable, match="is not a date"):
            figures.moment(cell, ["%d.%m.%Y"])


def test_times_of_day() -> None:
    """A time of day is read with a colon, a point or an h."""
    assert [figures.time_of_day(cell) for cell in ("9:30", "09.30", "9h30")] == [time(9, 30)] * 3
    with pytest.raises(NotReadable):
        figures.time_of_day("25:00")


@given(st.text(max_size=30))
def test_no_text_is_too_odd(cell: str) -> None:
    """Whatever stands in a cell is read or refused; nothing else is raised."""
    readers: list[Any] = [
        lambda: figures.decimal_text(cell, ",", "."),
        lambda: figures.amount(cell, "km"),
        lambda: figures.minor_units(cell, 2),
        lambda: figures.minutes(cell, True),
        lambda: figures.moment(cell, ["%d.%m.%Y", "%d/%m/%y %H:%M"]),
        lambda: figures.time_of_day(cell),
    ]
    for reader in readers:
        try:
            reader()
        except NotReadable as error:
            assert error.wrong and error.right
