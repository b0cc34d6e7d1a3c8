"""A bike's state as people read it: tables in the bench's words, limits beside the readings."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

from ledger.cli import words
from ledger.cli.output import say, say_table

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.view import BikeView
    from ledger.vocabulary import Vocabulary


def say_bike(book: Book, view: BikeView) -> None:
    """Print one bike as at its date."""
    known = f"to event {view.as_known}"
    say_view(view, book.vocabulary, book.settings.zone, lambda one: person(book, one), known)


def say_view(
    view: BikeView,
    known: Vocabulary,
    zone: ZoneInfo,
    who: Callable[[str | None], str],
    as_known: str,
) -> None:
    """Print one bike as at its date; `who` gives a person's name, `as_known` what was known."""
    for line in _head(view, known, zone, who, as_known):
        say(line)
    say()
    for table in (_fitted, _readings, _settings, _faults, _advice, _jobs):
        table(view, known, zone)
    if _shows_safety(view, known):
        say(words.CAUTION)


def _head(
    view: BikeView,
    known: Vocabulary,
    zone: ZoneInfo,
    who: Callable[[str | None], str],
    as_known: str,
) -> Iterator[str]:
    yield (
        f"Bike {view.bike} as at {words.moment_words(view.as_at, zone)}, "
        f"as known {as_known} ({view.events_used} used)"
    )
    if view.rider or view.keeper:
        rider, keeper = who(view.rider), who(view.keeper)
        yield f"Rider: {rider}" + ("" if keeper == rider else f"; keeper: {keeper}")
    if view.riding:
        riding = known.ridings.get(view.riding)
        yield f"Ridden for: {riding.label if riding else view.riding}"
    yield (
        "Distance: not known"
        if view.distance_km is None
        else f"Distance: {words.figure(view.distance_km, 'km')}"
    )


def person(book: Book, rider: str | None) -> str:
    """Give a rider's name and id; the id alone where the register no longer has a name."""
    if rider is None:
        return "not known"
    row = book.riders.get(rider)
    return f"{row.name} ({rider})" if row and row.name else rider


def _fitted(view: BikeView, known: Vocabulary, zone: ZoneInfo) -> None:
    say_table(
        "Fitted",
        ("position", "!part", "make", "model", "!fitted", ">km since", ">days since"),
        (
            (
                words.position_words(known, item.position),
                words.part_words(item.part),
                item.make or "",
                item.model or "",
                words.day_words(item.fitted_at, zone) or "not known",
                words.figure(item.distance_since_fitted_km),
                "" if item.days_since_fitted is None else str(item.days_since_fitted),
            )
            for item in view.fitted
        ),
    )


def _readings(view: BikeView, known: Vocabulary, zone: ZoneInfo) -> None:
    say_table(
        "Measured",
        ("position", "what", ">reading", ">limit", "!verdict", "!measured"),
        (
            (
                words.position_words(known, item.position, item.point),
                words.quantity_words(known, item.quantity),
                words.span(item.value, item.value_low, item.value_high, item.unit),
                words.figure(item.limit, item.unit) if item.limit is not None else "none set",
                item.verdict or "",
                words.day_words(item.measured_at, zone),
            )
            for item in view.readings
        ),
    )


def _settings(view: BikeView, known: Vocabulary, zone: ZoneInfo) -> None:
    say_table(
        "Set",
        ("position", "what", ">set to", "!on"),
        (
            (
                words.position_words(known, item.position, item.point),
                words.quantity_words(known, item.quantity),
                words.figure(item.value, item.unit),
                words.day_words(item.set_at, zone),
            )
            for item in view.settings
        ),
    )


def _faults(view: BikeView, known: Vocabulary, zone: ZoneInfo) -> None:
    say_table(
        "Faults open",
        ("position", "fault", "!verdict", "!found"),
        (
            (
                words.position_words(known, item.position),
                words.fault_words(known, item.fault, item.cause),
                item.verdict or "",
                words.day_words(item.found_at, zone),
            )
            for item in view.faults_open
        ),
    )
    say_table(
        "Judged past a limit, nothing named",
        ("position", "!verdict", "!found"),
        (
            (
                words.position_words(known, item.position),
                f"judged {item.verdict}, nothing named",
                words.day_words(item.found_at, zone),
            )
            for item in view.findings_open
        ),
    )


def _advice(view: BikeView, known: Vocabulary, zone: ZoneInfo) -> None:
    say_table(
        "Advice not answered with yes or no",
        ("position", "!verdict", "when", "answer", "!advised"),
        (
            (
                words.position_words(known, item.position),
                item.verdict,
                item.urgency,
                item.answer or "none yet",
                words.day_words(item.advised_at, zone),
            )
            for item in view.advice_open
        ),
    )


def _jobs(view: BikeView, known: Vocabulary, zone: ZoneInfo) -> None:
    say_table(
        "Jobs open",
        ("!job", "tier", "!opened", "!promised", "waiting for"),
        (
            (
                item.job,
                words.tier_words(known, item.tier),
                words.moment_words(item.opened_at, zone),
                words.moment_words(item.promised_at, zone),
                item.waiting_for or "",
            )
            for item in view.jobs_open
        ),
    )


def _shows_safety(view: BikeView, known: Vocabulary) -> bool:
    places = [(item.position, item.quantity) for item in view.readings]
    places += [(item.position, item.quantity) for item in view.settings]
    found = [one.position for one in view.faults_open]
    found += [one.position for one in view.findings_open]
    return any(words.needs_caution(known, *place) for place in places) or any(
        words.needs_caution(known, position) for position in found
    )
