"""What is foretold of a part, in words: how fast it wears, where it stands, when it is due."""

from __future__ import annotations

import math
from datetime import date

from dashboard import markup
from dashboard.formats import Formats
from dashboard.words import Words
from ledger.figures.due_parts import was_past
from ledger.figures.wear import DueDates, Estimate, PartWear, RateFigure, WearReading
from ledger.figures.wear_words import family_words
from ledger.figures.written import made, percent

LIKELY, POSSIBLE = 0.5, 0.1
"""Chances from which a part is more likely past its limit than not, and from which it may be."""
FEWEST_COMPARED = 5
"""Parts a kind of riding needs before it is compared with another."""
LEAST_RATIO = 1.15
"""Rates nearer to each other than this are called alike."""
FAR_OFF = 0.1
"""Share of its use by now from which a part's error of that use is said."""
HORIZON = "not within three years"
NOTHING_LEFT = "nothing left by this estimate"
PAST_WHEN_READ = "It was past its limit when last read; how fast it wears is not known."


def family_name(family: str, words: Words) -> str:
    """Give what a family is called, such as `chain wear` or `pads, thickness`."""
    return family_words(words.vocabulary, family)


def part_name(part: PartWear, words: Words) -> str:
    """Give where a part sits, and the point on it."""
    return words.place(part.position, part.point)


def model_name(part: PartWear) -> str:
    """Give a part's model, with its maker where the model does not begin with that already."""
    return made(part.make, part.model) or "make not noted"


def per(exposure_unit: str, unit: str) -> str:
    """Give the unit of a rate."""
    return f"{unit} per 1,000\u00a0km" if exposure_unit == "km" else f"{unit} a year"


def span(figure: Estimate, unit: str, formats: Formats, floor: float | None = None) -> str:
    """Give a figure with its 80 % interval in brackets; an end beyond what can be foretold is said.

    Nothing is shown below `floor`: a pad is not thinner than nought.
    """
    low, middle, high = (_floored(end, floor) for end in (figure.low, figure.middle, figure.high))
    if middle is None:
        return f"more than {formats.rough(low, unit)}" if low is not None else "not foretold"
    if floor is not None and high == floor:
        return NOTHING_LEFT
    ends = f"{_end(low, formats)} to {_end(high, formats)}"
    return f"{formats.rough(middle, unit)} ({ends})"


def _floored(value: float | None, floor: float | None) -> float | None:
    return value if value is None or floor is None else max(value, floor)


def _end(value: float | None, formats: Formats) -> str:
    return "beyond what is foretold" if value is None else formats.rough(value)


def floor_of(part: PartWear) -> float | None:
    """Give the figure a part cannot go below: what wears away ends at nought."""
    return 0.0 if part.direction < 0 else None


def chance_mark(part: PartWear) -> str:
    """Give the chance of being past the limit, in the shape of the verdict it would be."""
    if part.limit is None:
        return markup.verdict(None)
    if part.chance_past is None:
        return _read_mark(part)
    said = f"{percent(part.chance_past)} past limit"
    return markup.marked(chance_kind(part.chance_past), said)


def _read_mark(part: PartWear) -> str:
    """Give what the last reading alone says, where nothing tells how such parts wear."""
    if was_past(part):
        return markup.marked("due", "past limit when read")
    return markup.marked("not checked", "not foretold")


def chance_kind(chance: float) -> str:
    """Give the verdict a chance of being past the limit leans to."""
    if chance >= LIKELY:
        return "due"
    return "watch" if chance >= POSSIBLE else "within limit"


def read(reading: WearReading, unit: str, formats: Formats) -> str:
    """Give what a reading showed: a figure, or the interval a go/no-go gauge leaves."""
    if reading.value is not None:
        return formats.rough(reading.value, unit, digits=3)
    low, high = reading.low, reading.high
    if low is None:
        return f"under {formats.rough(high, unit, 3)}" if high is not None else "no figure"
    if high is None:
        return f"over {formats.rough(low, unit, 3)}"
    return f"{formats.rough(low, digits=3)} to {formats.rough(high, unit, 3)}"


def exposure(value: float, unit: str, formats: Formats) -> str:
    """Give how far or how long a part was used."""
    return formats.rough(value, unit, digits=2 if value < 100 else 3)


def stands(part: PartWear, formats: Formats) -> str:
    """Give where a part stands against its limit, in one line."""
    if part.limit is None or part.now is None:
        return f"Last read {read(part.last, part.unit, formats)}"
    side = "or more" if part.direction > 0 else "or less"
    now = span(part.now, part.unit, formats, floor_of(part))
    limit = formats.rough(part.limit, part.unit, 4)
    if now == NOTHING_LEFT:
        return f"{markup.capital(now)}; limit {limit} {side}"
    return f"About {now} {'now' if part.is_fitted else 'at the last'}; limit {limit} {side}"


def due(part: PartWear, formats: Formats) -> str:
    """Give when a part reaches its limit, in km or days and as dates, with how sure that is."""
    if part.limit is None:
        return "No limit is known for it."
    if not part.is_fitted:
        return "It has been taken off."
    if part.due_in is None or part.due_on is None:
        return PAST_WHEN_READ if was_past(part) else "Too little is known to say when."
    if part.due_in.middle == 0:
        return _past(part, part.due_in, part.due_on, formats)
    way = span(part.due_in, part.exposure_unit, formats)
    return f"Reaches its limit in {way}, {_window(part.due_on, formats)}."


def _past(part: PartWear, way: Estimate, on: DueDates, formats: Formats) -> str:
    if not way.high:
        return "By this estimate it is past its limit already."
    latest = formats.rough(way.high, part.exposure_unit)
    until = _by(on.late, formats)
    return f"More likely past it already than not; nine times in ten within {latest}, {until}."


def _by(day: date | None, formats: Formats) -> str:
    return HORIZON if day is None else f"by {formats.day(day)}"


def _window(on: DueDates, formats: Formats) -> str:
    if on.middle is None:
        first = f", at the earliest {formats.day(on.early)}" if on.early else ""
        return f"{HORIZON}{first}"
    early = formats.day(on.early) if on.early else "now"
    late = formats.day(on.late) if on.late else HORIZON
    return f"about {formats.day(on.middle)} ({early} to {late})"


def fleet_finding(past: int, fitted: int, words: Words) -> str:
    """Give how many of the parts fitted are more likely past their limit than not."""
    number = words.formats.number
    noun = "fitted part" if fitted == 1 else "fitted parts"
    if not fitted:
        return "No part that was read is fitted now"
    if not past:
        return "No fitted part is more likely past its limit than not"
    return (
        f"{number(past)} of {number(fitted)} {noun} {'is' if past == 1 else 'are'} "
        "more likely past the limit than not"
    )


def finding(rates: list[RateFigure], unit: str, words: Words) -> str:
    """Give what a family's rates say: the usual one, and the kinds of riding furthest apart."""
    whole = next(rate for rate in rates if rate.factor == "all")
    usual = words.formats.rough(whole.rate.middle or 0.0, per(whole.exposure_unit, unit))
    told = [
        rate
        for rate in rates
        if rate.factor == "riding" and rate.count_series >= FEWEST_COMPARED and rate.rate.middle
    ]
    if len(told) < 2:
        return f"usually {usual}"
    slow, *_, fast = sorted(told, key=lambda rate: rate.rate.middle or 0.0)
    ratio = (fast.rate.middle or 0.0) / (slow.rate.middle or 1.0)
    if ratio < LEAST_RATIO:
        return f"usually {usual}, much alike for every kind of riding"
    times = words.formats.rough(ratio)
    ridings = f"{words.riding(fast.level)} {times} times {words.riding(slow.level)}"
    return f"usually {usual}; {ridings}"


def remarks(part: PartWear) -> list[str]:
    """Give what a part's figures are conditional on."""
    said = []
    if sum(1 for one in part.readings if one.flag is None) <= 1:
        said.append(
            "One reading so far: its rate is mostly what such parts usually show here, "
            "so every range is wide."
        )
    if part.exposure_unit == "days":
        said.append("No distance is known for it, so its use is counted in days.")
    if part.is_fitted and part.exposure_now_error > FAR_OFF * (part.exposure_now or math.inf):
        said.append(
            "How far it has gone since its last reading is an estimate too: what is said of now "
            "and of dates allows for that, the band along its line does not."
        )
    if not part.is_from_new:
        said.append("How far it had gone before it was first seen here is not known.")
    if not part.is_fitted:
        said.append("It has been taken off; shown as it last was.")
    return said
