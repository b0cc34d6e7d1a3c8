"""How a due part, and a message about it, is worded: an estimate, and no more than that."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime
from decimal import Decimal

from babel import Locale
from babel.dates import format_date
from babel.numbers import format_decimal

from ledger.figures.calls import DueBike, DuePart, Person
from ledger.settings import BookSettings

CAUTION = (
    "Brakes, tyres, rims, steering, frame and battery: until a qualified mechanic has looked, "
    "the maker's figure decides, not this estimate."
)
DAYS_A_YEAR = 365.25


class DueWords:
    """Words due parts in the locale and time zone of one book."""

    def __init__(self, settings: BookSettings) -> None:
        self._settings = settings
        self._locale = Locale.parse(settings.locale, sep="-" if "-" in settings.locale else "_")

    def day(self, when: datetime | date) -> str:
        """Give a day as the book's people write it."""
        day = self._settings.local(when).date() if isinstance(when, datetime) else when
        return format_date(day, "medium", locale=self._locale)

    def figure(self, value: float, unit: str = "") -> str:
        """Give a figure of three digits after the point at most, with its unit."""
        exact = Decimal(repr(round(value, 3)))
        return f"{format_decimal(exact, format='#,##0.###', locale=self._locale)} {unit}".strip()

    def reading(self, part: DuePart) -> str:
        """Give the last reading and its day, or since when a part has been fitted."""
        read = part.reading
        if read is None:
            return f"fitted {self.day(part.fitted_at)}"
        return f"{self._read(read.value, read.low, read.high, part.unit)} on " + self.day(
            read.measured_at
        )

    def _read(self, value: float | None, low: float | None, high: float | None, unit: str) -> str:
        if value is not None:
            return self.figure(value, unit)
        if low is None or high is None:
            side, end = ("under", high) if low is None else ("over", low)
            return "no figure" if end is None else f"{side} {self.figure(end, unit)}"
        return f"{self.figure(low)} to {self.figure(high, unit)}"

    def limit(self, part: DuePart) -> str:
        """Give the limit in words."""
        if part.quantity == "age":
            return f"age limit {self.figure(part.limit / DAYS_A_YEAR)} years"
        return f"limit {self.figure(part.limit, part.unit)}"

    def when(self, part: DuePart) -> str:
        """Give when it is due, and between which days, as far as anything tells."""
        if part.standing == "unclear" and part.reading:
            return f"not read since {self.day(part.reading.measured_at)}: ask them in for a look"
        if part.standing == "past":
            return self._past(part)
        assert part.on and part.on.middle
        return f"about {self.day(part.on.middle)}{self._between(part)}"

    def _between(self, part: DuePart) -> str:
        on = part.on
        if on is None or on.early == on.late:
            return ""
        early = self.day(on.early) if on.early else "later"
        late = self.day(on.late) if on.late else "years from now"
        return f" (80 %: {early} to {late})"

    def _past(self, part: DuePart) -> str:
        if part.quantity == "age" and part.on and part.on.middle:
            return f"was due {self.day(part.on.middle)}"
        if part.chance_past is None:
            return "was past it when read"
        how = f", by about {part.beyond:,.0f} {part.exposure_unit}" if part.beyond else ""
        return f"past it now, more likely than not{how}"

    def sure(self, part: DuePart) -> str:
        """Say how sure that is."""
        if part.reading is None:
            return "by its age alone"
        if part.chance_past is None:
            return "nothing tells yet how fast it wears"
        said = f"{100 * part.chance_past:.0f} % that it is past now"
        return said + ("; first reading only, wide" if part.count_readings == 1 else "")

    # -- the message ------------------------------------------------------------------------

    def message(self, keeper: Person, bikes: Sequence[DueBike]) -> str:
        """Give one message to a keeper about all of their bikes."""
        shop = self._settings.name or self._settings.shop
        parts = [part for bike in bikes for part in bike.parts]
        lines = [
            f"Hello{f' {keeper.name}' if keeper.name else ''},",
            f"this is {shop}, about {'your bike' if len(bikes) == 1 else 'your bikes'}. "
            "We have not looked at it again: these are estimates from what we last read."
            if len(bikes) == 1
            else f"this is {shop}, about your bikes. "
            "We have not looked at them again: these are estimates from what we last read.",
        ]
        for bike in bikes:
            lines += [f"{bike_words(bike)}:", *(f"- {self.told(part)}" for part in bike.parts)]
        lines.append(
            "Bring it in when it suits you, and we will measure before we change anything."
        )
        if any(part.decides_safety for part in parts):
            lines.append(CAUTION)
        return "\n".join(lines)

    def told(self, part: DuePart) -> str:
        """Give what a keeper is told about one part."""
        if part.quantity == "age":
            return f"{part.place}: {self.reading(part)}, {self.limit(part)}: " + self.when(part)
        read = f"{part.place}, {part.quantity_label}: {self.reading(part)} ({self.limit(part)})"
        if part.standing == "unclear":
            return f"{read}. That is too long ago to name a day; we would like to look at it."
        if part.standing == "past":
            return f"{read}. By now it may well be past that limit."
        return f"{read}. It may reach that limit {self._window(part)}."

    def _window(self, part: DuePart) -> str:
        assert part.on and part.on.middle
        if part.on.early is None or part.on.late is None or part.on.early == part.on.late:
            return f"about {self.day(part.on.middle)}"
        return f"between {self.day(part.on.early)} and {self.day(part.on.late)}"


def bike_words(bike: DueBike) -> str:
    """Give a bike as its keeper knows it, with its tag."""
    what = " ".join(name for name in (bike.make, bike.model) if name)
    return f"{what} ({bike.bike})" if what else f"Bike {bike.bike}"
