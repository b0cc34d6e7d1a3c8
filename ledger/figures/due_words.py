"""How a due part, and a message about it, is worded: an estimate, and no more than that."""

from __future__ import annotations

from collections.abc import Sequence
from decimal import Decimal

from ledger.figures.ages import age_words
from ledger.figures.calls import DueBike, DueList, DuePart, Person
from ledger.figures.written import Written, made, percent

CAUTION = (
    "Brakes, tyres, rims, wheels, steering, suspension, frame and battery: until a qualified "
    "mechanic has looked at it, the maker's figure decides, not this estimate."
)
NO_CONSENT = "no consent to be contacted"
NOT_REGISTERED = "not in the register, so no consent to be contacted"
NOBODY = "nobody is known"
SURE = 0.05
"""Chances nearer to 0 or 1 than this are not called wide."""
NOT_FORETOLD = "more than three years from now"


class DueWords(Written):
    """Words due parts in the locale and time zone of one book."""

    def reading(self, part: DuePart) -> str:
        """Give the last reading and its day, or since when a part has been fitted."""
        read = part.reading
        if read is None:
            return f"fitted {self.day(part.fitted_at)}"
        figure = self.span(read.value, read.low, read.high, part.unit)
        return f"{figure} on {self.day(read.measured_at)}"

    def limit(self, part: DuePart) -> str:
        """Give the limit in words."""
        if part.quantity == "age":
            return f"age limit {age_words(Decimal(repr(part.limit)))}"
        return f"limit {self.figure(part.limit, part.unit)}"

    def when(self, part: DuePart) -> str:
        """Give when it is due, and between which days, as far as anything tells."""
        if part.standing == "unclear" and part.reading:
            return f"not read since {self.day(part.reading.measured_at)}: ask them in for a look"
        if part.standing == "past":
            return self._past(part)
        middle = part.on.middle if part.on else None
        return "" if middle is None else f"{self.day(middle)}{self._between(part)}"

    def _between(self, part: DuePart) -> str:
        on = part.on
        if on is None or on.early == on.late:
            return ""
        early, late = (self.day(day) if day else NOT_FORETOLD for day in (on.early, on.late))
        return f" (80 %: {early} to {late})"

    def _past(self, part: DuePart) -> str:
        if part.quantity == "age" and part.on and part.on.middle:
            return f"was due {self.day(part.on.middle)}"
        how = f" by about {self.rough(part.beyond, part.exposure_unit)}" if part.beyond else ""
        if part.was_past:
            return f"past it when read{f'; now{how}' if how else ''}"
        return f"probably past it by now{f',{how}' if how else ''}"

    def sure(self, part: DuePart) -> str:
        """Say how sure that is."""
        if part.reading is None:
            return "by its age alone"
        if part.chance_past is None:
            return "nothing tells yet how fast it wears"
        said = f"{percent(part.chance_past)} that it is past now"
        is_wide = SURE < part.chance_past < 1 - SURE
        first = "; first reading only" + (", wide" if is_wide else "")
        return said + (first if part.count_readings == 1 else "")

    def unseen(self, found: DueList) -> str:
        """Give how many bikes were not seen for too long to call about; nothing for none."""
        count, since = found.count_long_unseen, found.seen_since
        if not count or since is None:
            return ""
        what = "1 more bike was" if count == 1 else f"{self.figure(count)} more bikes were"
        return f"{what} not seen since {self.day(since)}"

    # -- the message ------------------------------------------------------------------------

    def message(self, keeper: Person, bikes: Sequence[DueBike]) -> str:
        """Give one message to a keeper about all of their bikes."""
        shop, is_one = self.settings.name or self.settings.shop, len(bikes) == 1
        lines = [
            f"Hello {keeper.name}," if keeper.name else "Hello,",
            f"this is {shop}, about your {'bike' if is_one else 'bikes'}. We have not looked at "
            f"{'it' if is_one else 'them'} again: this is estimated from what we last noted.",
        ]
        for bike in bikes:
            lines += [f"{bike_words(bike)}:", *(f"- {self.told(part)}" for part in bike.parts)]
        lines.append("Come by when it suits you; we look and measure before anything is changed.")
        if any(part.decides_safety for bike in bikes for part in bike.parts):
            lines.append(CAUTION)
        return "\n".join(lines)

    def told(self, part: DuePart) -> str:
        """Give what a keeper is told about one part."""
        if part.quantity == "age":
            until = f": {self.day(part.on.middle)}" if part.on and part.on.middle else ""
            return f"{part.place}: {self.reading(part)}, {self.limit(part)}{until}."
        read = f"{part.place}, {part.quantity_label}: {self.reading(part)}, {self.limit(part)}. "
        if part.was_past:
            return read + "That was at its limit or past it."
        if part.standing == "unclear":
            return read + "That is too long ago to name a day; we would like to look at it."
        if part.standing == "past":
            return read + "By now it may well be past that limit."
        return f"{read}It may reach that limit {self._window(part)}."

    def _window(self, part: DuePart) -> str:
        on = part.on
        if on is None or on.early is None or on.late is None or on.middle is None:
            return f"about {self.day(on.middle)}" if on and on.middle else "soon"
        return f"between {self.day(on.early)} and {self.day(on.late)}"


def bike_words(bike: DueBike) -> str:
    """Give a bike as its keeper knows it, with its tag."""
    name = made(bike.make, bike.model)
    return f"{name} ({bike.bike})" if name else f"Bike {bike.bike}"


def person_words(person: Person) -> str:
    """Give who somebody is: by name where they agreed to be contacted, else by the id alone."""
    if person.rider is None:
        return NOBODY
    if not person.may_contact:
        return f"{person.rider}: {NO_CONSENT if person.is_registered else NOT_REGISTERED}"
    contact = " ".join(each for each in (person.phone, person.email) if each)
    return ", ".join(each for each in (person.name or person.rider, contact) if each)
