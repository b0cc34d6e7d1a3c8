"""Work not done yet for people: the answer first, then what it rests on, and the cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ledger.cli.labour_words import MoneyWords
from ledger.cli.output import say, say_table
from ledger.figures.foresee_shapes import FEWEST_ALIKE
from ledger.figures.foresee_words import chance_words
from ledger.figures.written import percent

if TYPE_CHECKING:
    from collections.abc import Sequence

    from ledger.book import Book
    from ledger.figures.foresee_shapes import (
        Calibration,
        CostPerKm,
        JobForecast,
        KmExpected,
        ServiceOrReplace,
    )

SCORE = "Mean loss in minutes (pinball, of P50 and P80; the smaller the better): "


def _say_front(front: str, notes: Sequence[str]) -> None:
    say(front)
    say()
    for note in notes:
        say(f"- {note}")
    if notes:
        say()


def _say_cautions(cautions: Sequence[str]) -> None:
    for caution in cautions:
        say(caution)


# -- a planned job ----------------------------------------------------------------------------


def say_forecast(book: Book, found: JobForecast) -> None:
    """Print the minutes and price of a planned job, and whether today's bench can take it."""
    words = MoneyWords(book.settings)
    if found.count_jobs < FEWEST_ALIKE:
        say(f"Too few to judge: {words.whole(found.count_jobs)} closed jobs to foresee from. "
            "What follows is hardly more than a guess.")  # fmt: skip
        say()
    _say_front(found.front, found.notes)
    say_table(
        "Planned",
        ("task", ">minutes", "taken from"),
        [(one.label, words.whole(one.minutes), one.source) for one in found.tasks],
    )
    say_table("Foreseen", ("what", ">minutes", ">labour, net"), _foreseen(found, words))
    say(found.bench.line)
    say()
    _say_cautions(found.cautions)


def _foreseen(found: JobForecast, words: MoneyWords) -> list[tuple[str, ...]]:
    risk = percent(found.risk)
    return [
        ("planned", words.whole(found.planned_minutes), ""),
        ("not passed in half of such jobs (P50)", words.whole(found.p50_minutes), ""),
        ("not passed in four of five (P80)", words.whole(found.p80_minutes), ""),
        (f"passed with a chance of {risk}", words.whole(found.risk_minutes),
         words.money(found.risk_price_minor)),
    ]  # fmt: skip


# -- how good it is ---------------------------------------------------------------------------


def say_calibration(book: Book, found: Calibration) -> None:
    """Print how such forecasts would have fared, step by step."""
    words = MoneyWords(book.settings)
    _say_front(found.front, found.notes)
    say_table(
        "Each step: fitted on what was known by then, scored on the jobs closed after it",
        ("!fitted until", "!scored until", ">jobs fitted", ">scored", ">under P50", ">under P80"),
        [
            (words.day(fold.fitted_until), words.day(fold.scored_until),
             words.whole(fold.count_fitted), words.whole(fold.count_scored),
             words.share(fold.share_under_p50), words.share(fold.share_under_p80))
            for fold in found.folds
        ],
    )  # fmt: skip
    scores = (
        ("these forecasts", found.pinball_minutes),
        ("planned minutes as they are", found.pinball_planned_minutes),
        ("planned minutes times the shop's median ratio", found.pinball_ratio_minutes),
    )
    said = [f"{what} {words.figure(round(one, 2))}" for what, one in scores if one is not None]
    if said:
        say(f"{SCORE}{'; '.join(said)}.")


# -- service or replace -----------------------------------------------------------------------


def say_service_or_replace(book: Book, found: ServiceOrReplace) -> None:
    """Print servicing a part against replacing it, with what both are taken from."""
    words = MoneyWords(book.settings)
    _say_front(found.front, found.notes)
    place = f"{found.place[:1].upper()}{found.place[1:]}"
    say_table(
        f"{place} of {found.bike}, as at {words.day(found.as_at)}",
        ("what", ">costs", "km expected (80 %)", "cost per 1,000 km (80 %)", "taken from"),
        [
            ("service", words.money(found.service_minor), _km(found.service_km, words),
             _per_km(found.service, words), _assumed(found.service_km)),
            ("replace", words.money(found.replace_minor), _km(found.replace_km, words),
             _per_km(found.replace, words), _assumed(found.replace_km)),
        ],
    )  # fmt: skip
    if found.chance_replace_cheaper is not None:
        chance = chance_words(found.chance_replace_cheaper)
        say(f"A new part is the cheaper with a chance of {chance}.")
    for assumption in found.assumptions:
        say(f"- {assumption}")
    say()
    _say_cautions(found.cautions)


def _km(found: KmExpected | None, words: MoneyWords) -> str:
    if found is None:
        return "not known"
    if found.low is None or found.high is None:
        return words.whole(found.km)
    return f"{words.whole(found.km)} ({words.whole(found.low)} to {words.whole(found.high)})"


def _per_km(found: CostPerKm | None, words: MoneyWords) -> str:
    if found is None:
        return "not known"
    middle = words.money(1000 * found.minor_per_km)
    if found.low is None or found.high is None:
        return middle
    return f"{middle} ({words.money(1000 * found.low)} to {words.money(1000 * found.high)})"


def _assumed(found: KmExpected | None) -> str:
    return "" if found is None else found.assumption
