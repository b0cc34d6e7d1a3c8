"""When the parts of one bike are due next, in the words of the rider's page."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from datetime import date, datetime

from ledger.book import Book
from ledger.figures.ahead import OF_DUE, BookTables
from ledger.figures.bike_wear import BikeWear, bike_wear
from ledger.figures.wear import BookWear, PartWear, wear_of
from ledger.figures.wear_shapes import was_past
from ledger.reports.shapes import Due
from ledger.reports.words import PageWords, capital
from ledger.view import Reading

AHEAD = "more than three years from now"
TOO_FEW = "not enough readings to say"
ONE_READING = "one reading"
READ_PAST = "now: past its limit when read"
PAST = "by now, more likely than not"
_NEVER = date.max
_Key = tuple[str, str, str | None, datetime]
"""Position, quantity, point and instant of a reading."""


def wear_of_bike(book: Book, bike: str, as_at: datetime, wear: BookWear | None) -> BikeWear:
    """Give how one bike wears; without `wear`, of the families its parts were read in alone."""
    if wear is None:
        ahead = BookTables(book, as_at).ask_beside_kept(*OF_DUE)
        wear = wear_of(book, as_at, ahead=ahead, bikes=_tags(book, bike))
    return bike_wear(book, bike, as_at, wear=wear)


def _tags(book: Book, bike: str) -> frozenset[str]:
    return book.aliases().get(bike, frozenset({bike}))


def due_next(
    found: BikeWear, words: PageWords, readings: Iterable[Reading] = ()
) -> tuple[Due, ...]:
    """Give what is due when, the soonest first; of each part and quantity the soonest point.

    What was past its limit when it was last read is due now, whatever is estimated of it; so is
    what one of `readings` judged due or unsafe, where no newer reading came after.
    """
    today = words.settings.local(found.as_at).date()
    judged = {_key(one, one.measured_at) for one in readings if one.verdict in ("due", "unsafe")}
    limited = [part for part in found.parts if part.limit is not None]
    rows = [
        (_order(part, judged), _worn(part, today, words, is_past=_is_past(part, judged)))
        for part in _soonest(limited, judged)
    ]
    for age in found.ages:
        place = capital(words.label("positions", age.position))
        when = words.day(age.due_on) if age.due_on else "its age is not known"
        row = Due(f"{place}, age", f"fitted {words.day(age.fitted_at)}", when, "by its age alone")
        rows.append((age.due_on or _NEVER, row))
    return tuple(row for _, row in sorted(rows, key=lambda each: each[0]))


def _soonest(parts: Iterable[PartWear], judged: Collection[_Key]) -> list[PartWear]:
    found: dict[tuple[str, str], PartWear] = {}
    for part in parts:
        key = part.part, part.quantity
        if key not in found or _order(part, judged) < _order(found[key], judged):
            found[key] = part
    return list(found.values())


def _key(one: PartWear | Reading, at: datetime) -> _Key:
    return one.position, one.quantity, one.point, at


def _is_past(part: PartWear, judged: Collection[_Key]) -> bool:
    return was_past(part) or _key(part, part.last.measured_at) in judged


def _order(part: PartWear, judged: Collection[_Key]) -> date:
    if _is_past(part, judged):
        return date.min
    on = part.due_on
    return _NEVER if on is None else on.middle or on.late or _NEVER


def _worn(part: PartWear, today: date, words: PageWords, *, is_past: bool) -> Due:
    named = {"position": part.position, "point": part.point, "quantity": part.quantity}
    return Due(
        what=capital(words.what(named)),
        read=f"read {words.day(part.last.measured_at)}",
        when=READ_PAST if is_past else _when(part, words),
        between="" if is_past else _between(part, today, words),
    )


def _when(part: PartWear, words: PageWords) -> str:
    on = part.due_on
    if on is None or part.chance_past is None or part.due_in is None:
        return TOO_FEW
    if part.due_in.middle == 0:
        return PAST
    return AHEAD if on.middle is None else words.day(on.middle)


def _between(part: PartWear, today: date, words: PageWords) -> str:
    on = part.due_on
    few = ONE_READING if len(part.readings) == 1 else ""
    if on is None or part.chance_past is None:
        return ""
    if on.early is None or on.early == on.late:
        return few
    early = "now" if on.early <= today else words.day(on.early)
    late = words.day(on.late) if on.late else AHEAD
    return words.said(f"{early} to {late}", few)


def unread(found: BikeWear, words: PageWords) -> tuple[str, ...]:
    """Give what is fitted, wears, and was never read."""
    return tuple(dict.fromkeys(words.label("positions", place) for place, _ in found.unread))
