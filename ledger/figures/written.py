"""Days and figures as one book's people write them."""

from __future__ import annotations

from datetime import date, datetime
from decimal import Decimal

from babel import Locale
from babel.dates import format_date, get_date_format
from babel.numbers import format_decimal

from ledger.settings import BookSettings


class Written:
    """Writes days and figures in the locale and time zone of one book."""

    def __init__(self, settings: BookSettings) -> None:
        self.settings = settings
        self._locale = Locale.parse(settings.locale, sep="-" if "-" in settings.locale else "_")
        self._day_form = get_date_format("medium", self._locale).pattern

    def day(self, when: datetime | date) -> str:
        """Give a day as the book's people write it."""
        day = self.settings.local(when).date() if isinstance(when, datetime) else when
        return format_date(day, self._day_form, locale=self._locale)

    def figure(self, value: float, unit: str = "") -> str:
        """Give a figure of three digits after the point at most, with its unit."""
        exact = Decimal(repr(round(value, 3))) + 0
        return f"{format_decimal(exact, format='#,##0.###', locale=self._locale)} {unit}".strip()

    def rough(self, value: float, unit: str = "") -> str:
        """Give a figure that was worked out, to two significant digits, with its unit."""
        exact = Decimal(f"{value:.2g}") + 0
        said = format_decimal(exact, format="#,##0.########", locale=self._locale)
        return f"{said} {unit}".strip()

    def span(self, value: float | None, low: float | None, high: float | None, unit: str) -> str:
        """Give a reading: a figure, or the interval a go/no-go mark leaves."""
        if value is not None:
            return self.figure(value, unit)
        if low is not None and high is not None:
            return f"{self.figure(low)} to {self.figure(high, unit)}"
        if high is not None:
            return f"under {self.figure(high, unit)}"
        return "no figure" if low is None else f"over {self.figure(low, unit)}"


def percent(chance: float) -> str:
    """Give a chance in per cent; one that is not quite 0 or 1 is never rounded to it."""
    if 0 < chance < 0.01:
        return "under 1 %"
    return "over 99 %" if 0.99 < chance < 1 else f"{100 * chance:.0f} %"


def made(make: str | None, model: str | None) -> str:
    """Give make and model; the make once where the model begins with it."""
    is_said = bool(make) and (model or "").split(" ")[0] == make
    return " ".join(name for name in ("" if is_said else make, model) if name)
