"""One bike's wear as people and programs read it: readings, rate, figure now, when due."""

from __future__ import annotations

from decimal import Decimal
from typing import TYPE_CHECKING, Any

from ledger.cli.chains import plain
from ledger.cli.due_forms import dates, day, estimate, moment, number
from ledger.cli.output import say, say_table
from ledger.cli.wear_fleet import rate_name
from ledger.cli.words import CAUTION, needs_caution, part_words, position_words
from ledger.figures.ages import age_words
from ledger.figures.bench_words import BenchWords
from ledger.figures.wear_words import WearWords
from ledger.figures.written import made

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.figures.ages import PartAge
    from ledger.figures.bench import BikeChoice, NoChoice
    from ledger.figures.bike_wear import BikeWear
    from ledger.figures.wear import PartWear, WearReading

COLUMNS = ("!read", "figure", "gauge", ">gone", "left out")


def say_bike(book: Book, found: BikeWear, choice: BikeChoice | NoChoice | None = None) -> None:
    """Print each part of one bike, and the choice over its worn chain where there is one."""
    words = WearWords(book.settings, book.vocabulary)
    say(f"Bike {found.bike} as at {words.day(found.as_at)}")
    say()
    for part in found.parts:
        _say_part(part, words)
    for age in found.ages:
        say(f"{position_words(book.vocabulary, age.position)}, age: {age_line(age, words)}")
    if choice is not None:
        bench = BenchWords(book.settings)
        say(" ".join(filter(None, (bench.line(choice), bench.assumes(choice)))))
    if found.unread:
        places = ", ".join(
            position_words(book.vocabulary, position) for position, _ in found.unread
        )
        say(f"Fitted and never read for wear: {places}.")
    if not found.parts and not found.ages and not found.unread:
        say("No part of it that wears is recorded.")
    if any(needs_caution(book.vocabulary, part.position, part.quantity) for part in found.parts):
        say(CAUTION)


def _say_part(part: PartWear, words: WearWords) -> None:
    rows = [_row(part, read, words) for read in part.readings]
    what = ", ".join(
        each
        for each in (words.title(part), made(part.make, part.model), part_words(part.part))
        if each
    )
    state = "" if part.is_fitted else ", no longer fitted"
    say_table(f"{what}, there since {words.day(part.fitted_at)}{state}", COLUMNS, rows)
    for line in (words.rate(part), words.now(part), words.limit(part), words.due(part)):
        if line:
            say(f"  {line}")
    say()


def _row(part: PartWear, read: WearReading, words: WearWords) -> tuple[str, ...]:
    return (
        words.day(read.measured_at),
        words.reading(part, read),
        read.gauge or "",
        words.gone(part, read),
        read.flag or "",
    )


def age_line(age: PartAge, words: WearWords) -> str:
    """Give a part's age in words: `fitted 2 Apr 2021, age limit 6 years: due 2 Apr 2027`."""
    whose = "the maker's" if age.is_makers else "the shop's own"
    limit = f"age limit {age_words(Decimal(repr(age.limit_days)))} ({whose})"
    if age.due_on is None:
        return f"{limit}; {age.why_unknown}, so its age is not known and no day can be given."
    return f"fitted {words.day(age.fitted_at)}, {limit}: due {words.day(age.due_on)}."


# -- for programs -----------------------------------------------------------------------------


def bike_json(found: BikeWear, choice: BikeChoice | NoChoice | None = None) -> dict[str, Any]:
    """Give one bike's wear, and the choice over its worn chain, as plain JSON types."""
    return {
        "bike": found.bike,
        "as_at": moment(found.as_at),
        "parts": [_part_json(part) for part in found.parts],
        "ages": [_age_json(age) for age in found.ages],
        "bench": plain(choice),
        "never_read": [{"position": place, "part": part} for place, part in found.unread],
    }


def _part_json(part: PartWear) -> dict[str, Any]:
    ending = f"_{part.exposure_unit}"
    same = ("part", "position", "quantity", "point", "make", "model", "riding", "unit",
            "is_fitted", "is_from_new")  # fmt: skip
    return {
        **{name: getattr(part, name) for name in same},
        "fitted_at": moment(part.fitted_at),
        "readings": [_reading_json(part, read) for read in part.readings],
        rate_name(part.exposure_unit): estimate(part.rate),
        "now": estimate(part.now),
        f"exposure_now{ending}": number(part.exposure_now),
        f"exposure_now_error{ending}": number(part.exposure_now_error),
        "limit": number(part.limit),
        "past_is": "above" if part.direction > 0 else "below",
        "chance_past": number(part.chance_past),
        "due_in": estimate(part.due_in, ending),
        "due_on": dates(part.due_on),
    }


def _reading_json(part: PartWear, read: WearReading) -> dict[str, Any]:
    ending = f"_{part.exposure_unit}"
    return {
        "event": read.event,
        "measured_at": moment(read.measured_at),
        "value": number(read.value),
        "low": number(read.low),
        "high": number(read.high),
        "gauge": read.gauge,
        f"exposure{ending}": number(read.exposure),
        f"exposure_error{ending}": number(read.exposure_error),
        "left_out": read.flag,
    }


def _age_json(age: PartAge) -> dict[str, Any]:
    return {
        "part": age.part,
        "position": age.position,
        "fitted_at": moment(age.fitted_at),
        "age_days": number(age.age_days),
        "limit_days": number(age.limit_days),
        "is_makers_limit": age.is_makers,
        "due_on": day(age.due_on),
        "why_age_unknown": age.why_unknown,
    }
