"""How minutes, money and shares are written on the pages of time, earnings and quotes."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal

from babel.dates import format_date
from babel.numbers import format_decimal

from dashboard.labour_table import Cell, Column
from dashboard.markup import text
from ledger import money
from ledger.figures.foresee_words import chance_words
from ledger.figures.labour_words import LabourWords
from ledger.figures.written import percent

NONE = "–"
"""What stands where there is no figure."""


class LabourSay(LabourWords):
    """Words minutes and money of one book, figures and units held together."""

    @property
    def currency(self) -> str:
        """The ISO 4217 code."""
        return self.settings.currency

    # -- figures ------------------------------------------------------------------------------

    def whole(self, minor: float | None) -> float | None:
        """Give minor units in whole currency, for an axis."""
        return None if minor is None else minor / 10**self.settings.minor_digits

    def short_month(self, month: str) -> str:
        """Give a month in short, the year with the first of a year: `Jan 2026`, `Feb`."""
        first = date.fromisoformat(f"{month}-01")
        form = "MMM y" if first.month == 1 else "MMM"
        return str(format_date(first, form, locale=self._locale))

    def money(self, minor: float | None) -> str:
        """Give an amount in minor units; what lies between two is rounded."""
        return NONE if minor is None else held(money.words(round(minor), self.settings))

    def more(self, minor: float) -> str:
        """Give a difference in money with its sign."""
        return signed(self.money(abs(minor)), minor)

    def minutes(self, minutes: float | None) -> str:
        """Give minutes, to the whole one."""
        return NONE if minutes is None else held(self.figure(round(minutes), "min"))

    def hours(self, minutes: float) -> str:
        """Give minutes as hours, to one digit after the point."""
        return held(self.figure(round(minutes / 60, 1), "h"))

    def times(self, ratio: float | None) -> str:
        """Give a ratio to two digits: `1.50 ×`."""
        if ratio is None:
            return NONE
        said = format_decimal(Decimal(f"{ratio:.2f}"), format="#,##0.00", locale=self._locale)
        return f"{said}\u00a0×"

    def share(self, share: float | None) -> str:
        """Give a share in per cent."""
        return NONE if share is None else held(percent(share))

    def chance(self, chance: float) -> str:
        """Give a chance foreseen in per cent: it is never none or certain."""
        return held(chance_words(chance))

    def count_of(self, figure: float, noun: str) -> str:
        """Give a figure with its noun: `1 week`, `0.4 weeks`."""
        return f"{self.figure(figure)} {noun}{'' if figure == 1 else 's'}"

    def change(self, share: float) -> str:
        """Give a change in per cent with its sign; none as such."""
        return "as it was" if not share else signed(held(f"{abs(100 * share):.0f} %"), share)

    def spread(self, low: str, high: str) -> str:
        """Give an interval."""
        return f"{low} to {high}"

    def place(self, position: str) -> str:
        """Give what a position is called."""
        word = self.words.positions.get(position)
        return word.label if word else position.replace("_", " ").replace(".", ", ")

    # -- cells --------------------------------------------------------------------------------

    def money_cell(self, minor: float | None) -> Cell:
        """Give a cell of money; a download holds it in whole currency."""
        whole = None if minor is None else money.major(round(minor), self.currency)
        return Cell(whole, text(self.money(minor)))

    def money_column(self, head: str, room: int = 0, *, is_shown: bool = True) -> Column:
        """Give a column of money."""
        return Column(head, self.currency, is_figure=True, is_shown=is_shown, room=room)

    def minutes_cell(self, minutes: float | None) -> Cell:
        """Give a cell of minutes."""
        return Cell(minutes, text(self.minutes(minutes)))

    def hours_cell(self, minutes: float | None) -> Cell:
        """Give a cell of hours."""
        if minutes is None:
            return Cell(None, NONE)
        return Cell(round(minutes / 60, 2), text(self.hours(minutes)))

    def count_cell(self, count: int) -> Cell:
        """Give a cell of a count."""
        return Cell(count, text(self.figure(count)))

    def ratio_cell(self, ratio: float | None) -> Cell:
        """Give a cell of a ratio; a download holds four digits of it."""
        return Cell(_digits(ratio), text(self.times(ratio)))

    def share_cell(self, share: float | None) -> Cell:
        """Give a cell of a share; a download holds it as a part of one."""
        return Cell(_digits(share), text(self.share(share)))

    def day_cell(self, when: datetime | date | None, none: str = NONE) -> Cell:
        """Give a cell of a local day."""
        if when is None:
            return Cell(None, text(none))
        day = self.settings.local(when).date() if isinstance(when, datetime) else when
        return Cell(day, text(self.day(day)))


def _digits(value: float | None) -> Decimal | None:
    return None if value is None else Decimal(f"{value:.4f}")


def held(words: str) -> str:
    """Give a figure and its unit held together."""
    return words.replace(" ", "\u00a0")


def signed(figure: str, value: float) -> str:
    """Give a figure of something's size with the sign it has."""
    if not value:
        return figure
    return f"{'+' if value > 0 else '−'}\u2060{figure}"


def listed(names: Sequence[str]) -> str:
    """Give names in a row: `a, b and c`."""
    first = ", ".join(names[:-1])
    return f"{first} and {names[-1]}" if first else "".join(names)
