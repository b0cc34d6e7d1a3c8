"""Figures, sums of money, minutes and dates as people write them in a log.

Every function takes a cell's text and raises NotReadable, saying what was wrong and what would be
right. Cells a spreadsheet held as figures or dates (`Exact`) are read as they are.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date, datetime, time
from decimal import Decimal, InvalidOperation
from functools import lru_cache

from ledger.exchange.workbook import Exact

CURRENCY_SIGNS = "€$£¥₹"
_TO_SPACE = str.maketrans(dict.fromkeys("\u00a0\u202f\u2009'’", " "))
_NUMBER = re.compile(r"[+-]?[0-9]+(\.[0-9]+)?")
_FRACTION = re.compile(r"(?:([0-9]{1,6}) +)?([0-9]{1,3})/(2|4|8|16|32|64|128) *([A-Za-z\"″]+)?")
_WITH_UNIT = re.compile(r"\s*([+-]?[\d.,\s\u00a0\u202f\u2009'’]*\d)\s*([^\d\s].*?)?\s*")
_CLOCK = re.compile(r"(\d{1,3})\s*(?::|h)\s*([0-5]?\d)\s*(?:m|min)?")
_TIME_OF_DAY = re.compile(r"([01]?\d|2[0-3])[:.h]([0-5]\d)(?::([0-5]\d))?")


class NotReadable(ValueError):
    """A cell that does not hold what its column should."""

    def __init__(self, wrong: str, right: str) -> None:
        super().__init__(f"{wrong}. {right}")
        self.wrong, self.right = wrong, right


def shown(text: str) -> str:
    """Give a cell in quotes, cut to a length that fits a message."""
    return f"'{text if len(text) <= 40 else text[:39] + '…'}'"


def decimal_text(cell: str, decimal: str = ".", thousands: str = "") -> str:
    """Give a figure as decimal text: `1.234,5` with decimal `,` and thousands `.` is `1234.5`."""
    text = cell.strip()
    if not isinstance(cell, Exact):
        text = _one_form(text, decimal, " " if thousands == "'" else thousands)
    if text.startswith((".", "-.", "+.")):
        text = text.replace(".", "0.", 1)
    if not _NUMBER.fullmatch(text) or len(text) > 24:
        raise NotReadable(f"{shown(cell)} is not a figure", f"Write it such as {_sample(decimal)}")
    return text.removeprefix("+")


def _one_form(text: str, decimal: str, thousands: str) -> str:
    """Give a figure with a point and no groups; a space may group whatever the sign is."""
    whole, point, rest = text.partition(decimal)
    whole = whole.translate(_TO_SPACE)
    for sign in {thousands, " "} - {""}:
        whole = _ungrouped(whole, sign, text, decimal)
    if "." in rest or (decimal != "." and "." in whole) or "," in whole + rest:
        wrong = f"{shown(text)} mixes points and commas"
        raise NotReadable(wrong, f"This file's decimal sign is '{decimal}'")
    return f"{whole}.{rest}" if point and rest else whole


def _ungrouped(whole: str, sign: str, text: str, decimal: str) -> str:
    first, *groups = whole.split(sign)
    if groups and (
        not 0 < len(first.lstrip("+-")) <= 3 or any(len(group) != 3 for group in groups)
    ):
        wrong = f"{shown(text)} has '{sign}' where no thousands end"
        raise NotReadable(wrong, f"This file's decimal sign is '{decimal}'")
    return first + "".join(groups)


def _sample(decimal: str) -> str:
    return f"72{decimal}5"


def amount(cell: str, unit: str | None, decimal: str = ".", thousands: str = "") -> dict[str, str]:
    """Give a figure with its unit: the one in the cell (`72 psi`), else the one given."""
    fraction = _FRACTION.fullmatch(cell.strip())
    if fraction and (fraction[4] or unit):
        whole = Decimal(fraction[1] or 0) + Decimal(fraction[2]) / Decimal(fraction[3])
        return {"value": format(whole, "f"), "unit": fraction[4] or unit or ""}
    match = None if isinstance(cell, Exact) else _WITH_UNIT.fullmatch(cell)
    own = match[2] if match else None
    figure = match[1] if match and own else cell
    found = own or unit
    if not found:
        raise NotReadable(f"{shown(cell)} has no unit", "Write one, or give the column's unit")
    if len(found) > 16:
        raise NotReadable(f"{shown(cell)} is not a figure", f"Write it such as {_sample(decimal)}")
    return {"value": decimal_text(figure, decimal, thousands), "unit": found}


def minor_units(cell: str, exponent: int, decimal: str = ".", thousands: str = "") -> Decimal:
    """Give a sum of money in the currency's smallest unit, currency signs and codes taken off.

    `exponent` is the currency's number of minor digits (ISO 4217). Not rounded where the cell is
    exact; a sum with more digits than the currency has is refused.
    """
    text = cell
    if not isinstance(cell, Exact):
        text = re.sub(rf"^([+-]?)\s*[{CURRENCY_SIGNS}]\s*|[{CURRENCY_SIGNS}]$", r"\1", cell.strip())
        text = re.sub(r"^[A-Za-z]{2,3}\.?(?=[\s\d])|(?<=[\s\d])[A-Za-z]{2,3}\.?$", "", text.strip())
        text = re.sub(r"[,.](-{1,2}|–)$", "", text.strip())
    minor = Decimal(decimal_text(text.strip() if text is not cell else cell, decimal, thousands))
    minor = minor.scaleb(exponent)
    if minor != minor.to_integral_value():
        wrong = f"{shown(cell)} has more digits than the currency"
        raise NotReadable(wrong, f"Write at most {exponent} digits after the '{decimal}'")
    return minor


def minutes(cell: str, in_hours: bool, decimal: str = ".", thousands: str = "") -> int:
    """Give whole minutes from `75`, `75 min`, `1:15`, `1h15` or, in hours, `1,25`."""
    text = cell.strip()
    clock = _CLOCK.fullmatch(text)
    if clock:
        return int(clock[1]) * 60 + int(clock[2])
    number = re.sub(r"\s*(min(ute)?[sn]?\.?|m|h|hours?|std\.?|uur|heures?)$", "", text, flags=re.I)
    is_hours = in_hours if number == text else text[len(number) :].strip()[0].lower() in "hsu"
    try:
        value = Decimal(decimal_text(number, decimal, thousands)) * (60 if is_hours else 1)
    except (NotReadable, InvalidOperation):
        right = "Write minutes such as 75, or hours such as 1:15"
        raise NotReadable(f"{shown(cell)} is not a length of time", right) from None
    if value < 0:
        raise NotReadable(f"{shown(cell)} is less than nothing", "Write minutes such as 75")
    return int(value.to_integral_value())


def moment(cell: str, formats: Sequence[str]) -> tuple[datetime, bool]:
    """Give a date and time without zone, and whether it is a bare day; ISO form always reads.

    `formats` are as in Python's strptime, tried in order.
    """
    found = _moment(cell.strip(), tuple(formats))
    if found is None:
        right = "Write it in one of the forms " + ", ".join([*formats, "2026-03-01"])
        raise NotReadable(f"{shown(cell)} is not a date this file's forms read", right)
    return found


@lru_cache(maxsize=8192)
def _moment(text: str, formats: tuple[str, ...]) -> tuple[datetime, bool] | None:
    for form in formats:
        try:
            found = datetime.strptime(text, form)
        except ValueError:
            continue
        return _possible(found, not any(part in form for part in ("%H", "%I", "%X", "%c", "%T")))
    if not re.match(r"\d{4}-\d{2}-\d{2}", text):
        return None
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return None
    return _possible(found, len(text) == len("2026-03-01"))


def _possible(found: datetime, is_day: bool) -> tuple[datetime, bool] | None:
    return (found, is_day) if 1900 <= found.year <= 2200 else None


def time_of_day(cell: str) -> time:
    """Give a time of day from `9:30`, `09.30`, `9h30` or `09:30:15`."""
    match = _TIME_OF_DAY.fullmatch(cell.strip())
    if match is None:
        raise NotReadable(f"{shown(cell)} is not a time of day", "Write it such as 09:30")
    return time(int(match[1]), int(match[2]), int(match[3] or 0))


def day(cell: str, formats: Sequence[str]) -> date:
    """Give a day, without a time."""
    return moment(cell, formats)[0].date()
