"""Dates, times and numbers as the book's own people write them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, tzinfo
from decimal import Decimal

from babel import Locale, UnknownLocaleError
from babel.dates import format_date, format_skeleton, format_time
from babel.numbers import format_decimal

SIGNS = {"degree": "°", "count": "", "percent": "%"}
"""Units that are written otherwise than they are named."""


def find_locale(name: str) -> Locale:
    """Give the locale called `en_GB`, `en-GB` or `de`; English where there is none such."""
    try:
        return Locale.parse(name, sep="-" if "-" in name else "_")
    except (UnknownLocaleError, ValueError):
        return Locale("en")


@dataclass(frozen=True)
class Formats:
    """How one book writes figures and instants."""

    locale: Locale
    zone: tzinfo

    def number(self, value: Decimal | int) -> str:
        """Give a number with at most three digits after the point and no idle zeros."""
        return format_decimal(value, format="#,##0.###", locale=self.locale)

    def figure(self, value: Decimal, unit: str) -> str:
        """Give a number with its unit, held together by a no-break space."""
        sign = SIGNS.get(unit, unit)
        gap = "" if sign in ("", "°") else "\u00a0"
        return f"{self.number(value)}{gap}{sign}"

    def rough(self, value: float, unit: str = "", digits: int = 2) -> str:
        """Give a figure that was worked out, to so many significant digits, with its unit."""
        rounded = Decimal(f"{value:.{digits}g}") + 0  # never minus nought
        number = format_decimal(rounded, format="#,##0.######", locale=self.locale)
        sign = SIGNS.get(unit, unit)
        return f"{number}\u00a0{sign}" if sign else number

    def between(self, low: Decimal | None, high: Decimal | None, unit: str) -> str:
        """Give an interval in words: `0.5 to 0.75 %`, `over 0.75 %`, `under 0.5 %`."""
        if low is None and high is None:
            return "no figure"
        if low is None and high is not None:
            return f"under {self.figure(high, unit)}"
        if high is None and low is not None:
            return f"over {self.figure(low, unit)}"
        assert low is not None and high is not None
        return f"{self.number(low)} to {self.figure(high, unit)}"

    def local(self, moment: datetime) -> datetime:
        """Give an instant in the book's time zone."""
        return moment.astimezone(self.zone)

    def day(self, when: datetime | date) -> str:
        """Give a day, such as `3 Mar 2026`; an instant is taken in the book's time zone."""
        day = self.local(when).date() if isinstance(when, datetime) else when
        return format_date(day, "medium", locale=self.locale)

    def short_day(self, when: datetime | date) -> str:
        """Give a day without its year, such as `3 Mar`."""
        day = self.local(when).date() if isinstance(when, datetime) else when
        return format_skeleton("MMMd", day, locale=self.locale)

    def weekday(self, day: date) -> str:
        """Give a day of this week or the next, such as `Tue 3 Mar`."""
        return format_skeleton("MMMEd", day, locale=self.locale)

    def time(self, when: datetime) -> str:
        """Give the time of day, in the book's time zone."""
        return format_time(self.local(when), "short", locale=self.locale)

    def moment(self, when: datetime) -> str:
        """Give a day with the time of day, in the book's time zone."""
        return f"{self.day(when)}, {self.time(when)}"

    def picker_pattern(self) -> str:
        """Give the locale's short date in the date picker's own tokens, such as `DD.MM.YYYY`."""
        short = self.locale.date_formats["short"].pattern
        tokens = {"d": "DD", "M": "MM", "y": "YYYY"}
        order = [tokens[letter] for letter in dict.fromkeys(short) if letter in tokens]
        separator = next((sign for sign in short if sign in "/.-"), "/")
        return separator.join(order if order[0] != "MM" or order[1] == "DD" else order[::-1])
