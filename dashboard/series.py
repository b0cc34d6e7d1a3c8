"""What has been measured on a bike: of what is fitted now, and of what was there before."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from decimal import Decimal

from dashboard import markup
from dashboard.entries import Entry, Point, reading_points
from dashboard.markup import capital, text
from dashboard.words import Words
from ledger.view import BikeView, Reading

LEGEND = ("within limit", "watch", "due", "unsafe")


@dataclass(frozen=True)
class Series:
    """The readings of one quantity at one position, with the last of them by an instant."""

    position: str
    quantity: str
    point: str | None
    value: Decimal | None
    low: Decimal | None
    high: Decimal | None
    unit: str
    measured_at: datetime
    limit: Decimal | None
    verdict: str | None
    is_of_now: bool
    """Whether it was read on what is there now; else another part has been fitted since."""
    event: str

    @property
    def key(self) -> tuple[str, str, str | None]:
        """Position, quantity, and the point on it."""
        return (self.position, self.quantity, self.point)


def _of_now(reading: Reading) -> Series:
    return Series(
        position=reading.position,
        quantity=reading.quantity,
        point=reading.point,
        value=reading.value,
        low=reading.value_low,
        high=reading.value_high,
        unit=reading.unit,
        measured_at=reading.measured_at,
        limit=reading.limit,
        verdict=reading.verdict,
        is_of_now=True,
        event=reading.event,
    )


def _of_before(point: Point, unit: str) -> Series:
    return Series(
        position=point.position,
        quantity=point.quantity,
        point=point.point,
        value=point.value,
        low=point.low,
        high=point.high,
        unit=unit,
        measured_at=point.measured_at,
        limit=point.limit,
        verdict=point.verdict,
        is_of_now=False,
        event=point.event,
    )


def series_of(view: BikeView, entries: list[Entry], words: Words) -> list[Series]:
    """Give a series a reading that holds, and one a quantity last read on a part since replaced.

    They stand in the order the bench goes through a bike, so that they keep their place.
    """
    now = [_of_now(reading) for reading in view.readings]
    held = {(one.position, one.quantity) for one in now}
    before = {
        (point.position, point.quantity): point
        for point in reading_points(entries)
        if point.measured_at <= view.as_at and (point.position, point.quantity) not in held
    }
    units = words.vocabulary.quantities
    gone = [
        _of_before(point, units[point.quantity].unit if point.quantity in units else "")
        for point in before.values()
    ]
    return sorted(now + gone, key=lambda one: _place(one, words))


def _place(one: Series, words: Words) -> tuple[tuple[int, str], str, str, str]:
    order = words.order_of(words.system_of(one.position))
    return (order, one.position, one.quantity, one.point or "")


def none_read() -> str:
    """Give what stands where the readings would."""
    said = "Nothing has been measured on this bike by this date. That says nothing of it."
    return markup.section("Readings", f'<p class="lk-note">{text(said)}</p>')


def head() -> str:
    """Give the title over the charts, and what their lines and shapes mean."""
    shapes = "".join(markup.verdict(word) for word in LEGEND)
    return (
        '<h2 class="lk-title">Readings against their limits</h2><p class="lk-legend">'
        "<span><i></i>limit, the side past it shaded</span>"
        '<span><i class="lk-fitmark"></i>part fitted</span>'
        f'<span><i class="lk-datemark"></i>the date looked at</span>{shapes}</p>'
    )


def _figure(one: Series, words: Words) -> str:
    if one.value is not None:
        return words.formats.figure(one.value, one.unit)
    return words.formats.between(one.low, one.high, one.unit)


def card_head(one: Series, entries: Sequence[Entry], words: Words) -> str:
    """Give one chart's title: what it is of, what was read last, and its verdict in words."""
    place = words.place(one.position, one.point)
    title = capital(f"{place}, {words.quantity(one.quantity)}")
    entered = next((entry.data for entry in entries if entry.event == one.event), {})
    as_entered = words.as_entered(entered.get("value"))
    said = f"{_figure(one, words)} on {words.formats.day(one.measured_at)}"
    said += f" ({as_entered})" if as_entered else ""
    said += f", {words.limit(one.position, one.quantity, one.limit, one.unit)}"
    judged = one.verdict
    if not one.is_of_now:
        judged, said = "not checked", f"Not measured yet. The part before: {said}"
    return (
        f'<div class="lk-reading"><h3>{text(title)}</h3>{markup.verdict(judged)}'
        f"<p>{text(said)}</p></div>"
    )
