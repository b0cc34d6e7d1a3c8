"""Quotes and the answers to them in words and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from ledger.cli.output import say, say_table
from ledger.events.types import format_moment
from ledger.money import words
from ledger.quotes import standing_lines

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.quotes import JobQuote, QuotedLine


def quote_json(quote: JobQuote) -> dict[str, Any]:
    """Give one quote as plain JSON types; free text stays sealed and is left out."""
    return {
        "quote": quote.quote,
        "job": quote.job,
        "form": quote.form,
        "is_found_later": quote.is_found_later,
        "given_at": format_moment(quote.given_at),
        "given_by": quote.given_by,
        "replaces": quote.replaces,
        "replaced_by": quote.replaced_by,
        "is_standing": quote.is_standing,
        "lines": [_line_json(line) for line in quote.lines],
    }


def _line_json(one: QuotedLine) -> dict[str, Any]:
    plain = one.line.model_dump(mode="json", exclude={"description", "quote_line"})
    return {
        **plain,
        "gross_minor": one.gross_minor,
        "answer": one.answer,
        "answered_at": one.answered_at and format_moment(one.answered_at),
        "answered_by": one.answered_by,
        "how": one.how,
    }


def say_quotes(book: Book, quotes: Sequence[JobQuote]) -> None:
    """Print each quote with its lines and answers, then what is agreed and what is open."""
    for quote in quotes:
        say_table(
            _title(book, quote),
            ("!line", "what", "where", ">min", ">before tax", ">with tax", "answer", "who, how"),
            [_row(book, line) for line in quote.lines],
        )
    standing = standing_lines(quotes)
    agreed = sum(line.gross_minor for line in standing if line.is_agreed)
    waits = [line for line in standing if line.answer in (None, "no reply")]
    say(f"Agreed: {words(agreed, book.settings)} with tax.")
    if waits:
        asked = words(sum(line.gross_minor for line in waits), book.settings)
        say(f"Not answered: {asked} with tax, {', '.join(line.line.line for line in waits)}.")


def _title(book: Book, quote: JobQuote) -> str:
    day = f"{book.settings.local(quote.given_at):%Y-%m-%d %H:%M}"
    said = [f"Quote {quote.quote}", f"job {quote.job}", quote.form, f"given {day}"]
    said += ["found later"] if quote.is_found_later else []
    said += [f"replaces {quote.replaces}"] if quote.replaces else []
    said += [f"REPLACED by {quote.replaced_by}: counts no more"] if quote.replaced_by else []
    return ", ".join(said)


def _row(book: Book, one: QuotedLine) -> tuple[str, ...]:
    from ledger.cli.words import position_words

    line, settings = one.line, book.settings
    task = book.vocabulary.tasks.get(line.code) if line.line_type == "labour" else None
    tier = book.vocabulary.tiers.get(line.code) if line.line_type == "labour" else None
    word = task or tier
    who = ", ".join(part for part in (one.answered_by, one.how) if part)
    return (
        line.line,
        word.label if word else line.code,
        position_words(book.vocabulary, line.position, None) if line.position else "",
        "" if line.minutes is None else str(line.minutes),
        words(line.net_minor, settings),
        words(one.gross_minor, settings),
        one.answer or "not answered",
        who,
    )
