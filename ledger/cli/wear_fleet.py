"""The fleet's wear as people and programs read it: usual rates, gauges, what was left out."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING, Any

from ledger.cli.due_forms import estimate, moment, number
from ledger.cli.output import say, say_table
from ledger.figures import wear_words
from ledger.figures.wear_words import WearWords, family_unit, family_words

if TYPE_CHECKING:
    from ledger.analysis.backtest import Backtest, Score
    from ledger.book import Book
    from ledger.figures.wear import BookWear, GaugeFigure, PartWear, RateFigure, WearReading
    from ledger.vocabulary import Vocabulary

_COUNTED = {"km": "by km", "days": "by days"}
_SCORES = ("coverage", "bias", "loss", "loss_line", "loss_fleet")
_JSON_SCORES = ("coverage", "bias_percent", "loss_percent", "loss_line_percent",
                "loss_fleet_percent")  # fmt: skip


def _left_out(flagged: Sequence[PartWear]) -> Iterator[tuple[PartWear, WearReading]]:
    for part in flagged:
        yield from ((part, read) for read in part.readings if read.flag)


# -- for people -------------------------------------------------------------------------------


def say_fleet(book: Book, wear: BookWear, flagged: Sequence[PartWear]) -> None:
    """Print the usual rates, the gauges and the readings left out."""
    words = WearWords(book.settings, book.vocabulary)
    if not wear.rates:
        say("No readings of wear tell a rate yet." if book.bikes() else
            "The book holds no bikes yet.")  # fmt: skip
    rates = [_rate_row(rate, words) for rate in wear.rates]
    say_table("Usual rates", ("what", "of", "wears", ">parts"), rates)
    if wear.rates:
        say(wear_words.RATES_MEAN)
        say()
    _say_gauges(wear.gauges, words)
    columns = ("!bike", "what", "!read", "figure", "why")
    rows = [_flag_row(part, read, words) for part, read in _left_out(flagged)]
    say_table("Readings left out of the rates", columns, rows)


def _rate_row(rate: RateFigure, words: WearWords) -> tuple[str, ...]:
    what = family_words(words.words, rate.family)
    return what, words.level(rate), words.rate_of(rate), str(rate.count_series)


def _say_gauges(gauges: Sequence[GaugeFigure], words: WearWords) -> None:
    beside = Counter(one.family for one in gauges)
    rows = [
        (
            one.gauge or "not noted",
            family_words(words.words, one.family),
            words.bias(one, is_alone=beside[one.family] == 1),
            f"{words.signed(100 * one.gain)} %",
            f"{words.rough(one.error)} {family_unit(words.words, one.family)}",
            f"{one.count} {_COUNTED[one.exposure_unit]}",
        )
        for one in gauges
    ]
    say_table("Gauges, as measured from the readings",
              ("gauge", "what", "bias", ">gain", ">error", ">readings"), rows)  # fmt: skip
    if rows:
        say(wear_words.GAUGES_MEAN)
        say()


def _flag_row(part: PartWear, read: WearReading, words: WearWords) -> tuple[str, ...]:
    day = words.day(read.measured_at)
    return part.bike, words.title(part), day, words.reading(part, read), read.flag or ""


# -- for programs -----------------------------------------------------------------------------


def fleet_json(book: Book, wear: BookWear, flagged: Sequence[PartWear]) -> dict[str, Any]:
    """Give the fleet's wear as plain JSON types."""
    known = book.vocabulary
    return {
        "as_at": moment(wear.as_at),
        "rates": [_rate_json(rate, known) for rate in wear.rates],
        "gauges": [_gauge_json(one, known) for one in wear.gauges],
        "left_out": [_left_out_json(part, read) for part, read in _left_out(flagged)],
    }


def _rate_json(rate: RateFigure, known: Vocabulary) -> dict[str, Any]:
    return {
        "family": rate.family,
        "factor": rate.factor,
        "level": rate.level,
        "unit": family_unit(known, rate.family),
        rate_name(rate.exposure_unit): estimate(rate.rate),
        "count_parts": rate.count_series,
    }


def _gauge_json(one: GaugeFigure, known: Vocabulary) -> dict[str, Any]:
    figures = {name: number(getattr(one, name)) for name in ("bias", "bias_error", "gain", "error")}
    return {
        "gauge": one.gauge,
        "family": one.family,
        "unit": family_unit(known, one.family),
        **figures,
        "count_readings": one.count,
        "exposure_unit": one.exposure_unit,
    }


def _left_out_json(part: PartWear, read: WearReading) -> dict[str, Any]:
    same = {name: getattr(part, name) for name in ("bike", "part", "position", "quantity")}
    when = {"event": read.event, "measured_at": moment(read.measured_at)}
    return {**same, **when, "why": read.flag}


def rate_name(exposure_unit: str) -> str:
    """Give the name of a rate in JSON, which says what it is per."""
    return "rate_per_1000_km" if exposure_unit == "km" else "rate_per_year"


# -- the backtest -----------------------------------------------------------------------------


def say_backtest(book: Book, found: Backtest) -> None:
    """Print how forecasts of past readings did, in all and by family."""
    words = WearWords(book.settings, book.vocabulary)
    say(words.verdict(found))
    if found.total is None:
        return
    say()
    columns = (
        "what",
        ">readings",
        ">inside 80 %",
        ">bias",
        ">loss",
        ">of the line",
        ">of the mean",
    )
    rows = [_score_row(score, words) for score in (found.total, *found.families)]
    say_table("Forecasts of past readings", columns, rows)
    for line in wear_words.BACKTEST_MEANS:
        say(line)


def _score_row(score: Score, words: WearWords) -> tuple[str, ...]:
    name = "all" if score.family == "all" else family_words(words.words, score.family)
    losses = (words.rough(loss) for loss in (score.loss, score.loss_line, score.loss_fleet))
    coverage = f"{100 * score.coverage:.1f} %"
    return name, words.figure(score.count), coverage, f"{words.signed(score.bias)} %", *losses


def backtest_json(found: Backtest) -> dict[str, Any]:
    """Give the scores as plain JSON types; losses and bias in % of the way to the limit."""
    return {
        "total": None if found.total is None else _score_json(found.total),
        "families": [_score_json(score) for score in found.families],
    }


def _score_json(score: Score) -> dict[str, Any]:
    names = zip(_JSON_SCORES, _SCORES, strict=True)
    figures = {name: number(getattr(score, field)) for name, field in names}
    return {"family": score.family, "count_readings": score.count, **figures}
