"""How the rider's page words what the book holds."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from babel import Locale
from babel.dates import format_date, get_date_format
from babel.numbers import format_decimal

if TYPE_CHECKING:
    from datetime import date

    from ledger.settings import BookSettings
    from ledger.vocabulary import Vocabulary

Data = Mapping[str, Any]
NO_LONGER_KEPT = "no longer kept"
"""Stands for words whose key is gone."""
ANOTHER_RIDERS = "left out: another rider had the bike then"
NO_LIMIT = "no limit known"
DIGITS = {"bar": 2}
"""Digits after the point of units in which more would be turned from other units, not read."""
SIGNS = {"degree": "°", "count": "", "percent": "%"}


def capital(words: str) -> str:
    """Give words with their first letter raised, the rest as it is."""
    return words[:1].upper() + words[1:]


class PageWords:
    """Words one book's codes, figures, days and texts for one rider's page."""

    def __init__(
        self, settings: BookSettings, vocabulary: Vocabulary, *, is_withheld: bool = False
    ) -> None:
        self.settings = settings
        self.vocabulary = vocabulary
        self._is_withheld = is_withheld
        self._locale = Locale.parse(settings.locale, sep="-" if "-" in settings.locale else "_")
        self._day_form = get_date_format("medium", self._locale).pattern

    @property
    def territory(self) -> str | None:
        """The locale's territory, such as `NL`."""
        found = self._locale.territory
        return found if found and found.isalpha() else None

    # -- codes --------------------------------------------------------------------------------

    def label(self, list_name: str, code: str | None) -> str:
        """Give what a code of one of the vocabulary's lists is called; nothing for none."""
        if code is None:
            return ""
        word = getattr(self.vocabulary, list_name).get(code)
        return str(word.label) if word else code.replace("_", " ").replace(".", ", ")

    def place(self, data: Data) -> str:
        """Give the position of a payload, with the point on it in brackets."""
        label, point = self.label("positions", data["position"]), data.get("point")
        return f"{label} ({point})" if point else label

    def what(self, data: Data) -> str:
        """Give a position and the quantity read or set there, said once."""
        place, quantity = self.place(data), self.label("quantities", data.get("quantity"))
        is_said = not quantity or quantity.startswith(place)
        return quantity if is_said and quantity else ", ".join(filter(None, (place, quantity)))

    def fault(self, data: Data) -> str:
        """Give a fault with the cause behind it; nothing where there is none."""
        fault, cause = (self.label(f"{name}s", data.get(name)) for name in ("fault", "cause"))
        return f"{fault} ({cause})" if fault and cause else fault

    def system(self, position: str) -> str:
        """Give the code of the system a position is part of."""
        word = self.vocabulary.positions.get(position)
        return word.system if word else position.split(".")[0]

    def positions(self, codes: Any) -> str:
        """Give several positions in one phrase."""
        return ", ".join(self.label("positions", code) for code in codes)

    # -- figures ------------------------------------------------------------------------------

    def number(self, value: Decimal, digits: int = 3) -> str:
        """Give a number as the locale writes it, with at most so many digits after the point."""
        return format_decimal(value, format=f"#,##0.{'#' * digits}", locale=self._locale)

    def figure(self, value: Decimal, unit: str) -> str:
        """Give a number with its unit, held together by a no-break space."""
        sign = SIGNS.get(unit, unit)
        gap = "" if sign in ("", "°") else "\u00a0"
        return f"{self.number(value, DIGITS.get(unit, 3))}{gap}{sign}"

    def amount(self, quantity: str | None, amount: Data | None) -> str:
        """Give a figure in the canonical unit of its quantity; as entered where it has none."""
        if not amount:
            return ""
        word = self.vocabulary.quantities.get(quantity or "")
        if word is None or amount.get("canonical") is None:
            return self.figure(Decimal(amount["value"]), amount["unit"])
        return self.figure(Decimal(amount["canonical"]), word.unit)

    def range(self, quantity: str | None, low: Data | None, high: Data | None) -> str:
        """Give an interval: `5 N·m to 6 N·m`, `5 N·m or more`, `6 N·m at most`."""
        below, above = self.amount(quantity, low), self.amount(quantity, high)
        if below and above:
            return f"{below} to {above}"
        if below:
            return f"{below} or more"
        return f"{above} at most" if above else ""

    def reading(self, data: Data) -> str:
        """Give a reading: its figure, or the interval a mark left."""
        quantity, ends = data["quantity"], (data.get("low"), data.get("high"))
        if data.get("value"):
            return self.amount(quantity, data["value"])
        low, high = (self.amount(quantity, end) for end in ends)
        if low and high:
            return f"{low} to {high}"
        return f"over {low}" if low else f"under {high}"

    def limit(self, data: Data) -> str:
        """Give the limit of a reading with the side that is past it: `0.75 % or more`."""
        said = self.amount(data["quantity"], data.get("limit"))
        if not said:
            return NO_LIMIT
        limit = self.vocabulary.limit_for(data["position"], data["quantity"], None)
        side = {"above": " or more", "below": " or less"}
        return said + side.get(limit.direction if limit else "", "")

    # -- days and texts -----------------------------------------------------------------------

    def day(self, when: datetime | date) -> str:
        """Give a day as the book's people write it, in the book's time zone."""
        day = self.settings.local(when).date() if isinstance(when, datetime) else when
        return format_date(day, self._day_form, locale=self._locale)

    def text(self, data: Data, name: str) -> str:
        """Give what somebody wrote in a field; what stands for it where it cannot be given.

        Nothing where nothing was written.
        """
        if name not in data:
            return ""
        if data[name] is None:
            return NO_LONGER_KEPT
        return ANOTHER_RIDERS if self._is_withheld else " ".join(str(data[name]).split())

    def said(self, *parts: str) -> str:
        """Join what there is of some remarks."""
        return "; ".join(part for part in parts if part)
