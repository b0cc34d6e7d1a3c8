"""A job's quotes and the answers to them, and the drafts that quote, answer and charge.

Nothing here writes: every function that moves something gives drafts to append, or raises
`QuoteRefused` with what would be right.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any, Literal

from ledger.errors import LedgerError
from ledger.state import in_order, live

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.events import Event, kinds
    from ledger.events.job import Line

Draft = dict[str, Any]
Form = Literal["fixed", "up to"]


class QuoteRefused(LedgerError):
    """A quote that cannot be given or answered like that."""


@dataclass(frozen=True, slots=True)
class QuotedLine:
    """One line of a quote with the last answer to it; money in minor units for the whole line."""

    line: Line
    quote: str
    form: Form
    """That of its quote: the price itself, or the most it may come to."""
    answer: str | None = None
    """None where nobody answered."""
    answered_at: datetime | None = None
    answered_by: str | None = None
    how: str | None = None

    @property
    def gross_minor(self) -> int:
        """The line with its tax."""
        return self.line.net_minor + (self.line.tax_minor or 0)

    @property
    def is_agreed(self) -> bool:
        """Whether the keeper's last word on it is yes."""
        return self.answer == "yes"


@dataclass(frozen=True, slots=True)
class JobQuote:
    """One quote of a job."""

    quote: str
    job: str
    form: Form
    is_found_later: bool
    given_at: datetime
    given_by: str
    """The mechanic who gave it."""
    lines: tuple[QuotedLine, ...]
    replaces: str | None = None
    replaced_by: str | None = None

    @property
    def is_standing(self) -> bool:
        """Whether no newer quote stands in its place."""
        return self.replaced_by is None


def quotes_of(book: Book, bike: str, job: str | None = None) -> tuple[JobQuote, ...]:
    """Give the quotes of one job of a bike, or of all, in the order they were given.

    Descriptions stay sealed. Raises UnknownBike.
    """
    book.require_bike(bike)
    return of_events(live(book.bike_events(bike)), job)


def of_events(counted: Iterable[Event], job: str | None = None) -> tuple[JobQuote, ...]:
    """Give the quotes in a bike's live events, of one job or of all."""
    found: dict[str, JobQuote] = {}
    for event in in_order(counted):
        if job is not None and event.job != job:
            continue
        if event.kind == "quote_given":
            found[event.data.quote] = _given(event)
            older = found.get(event.data.replaces or "")
            if older is not None:
                found[older.quote] = replace(older, replaced_by=event.data.quote)
        elif event.kind == "quote_answered" and event.data.quote in found:
            found[event.data.quote] = _answered(found[event.data.quote], event)
    return tuple(found.values())


def _given(event: kinds.QuoteGiven) -> JobQuote:
    data = event.data
    return JobQuote(
        quote=data.quote,
        job=event.job or "",
        form=data.form,
        is_found_later=data.is_found_later,
        given_at=event.occurred_at,
        given_by=event.actor,
        lines=tuple(QuotedLine(line, data.quote, data.form) for line in data.lines),
        replaces=data.replaces,
    )


def _answered(quote: JobQuote, event: kinds.QuoteAnswered) -> JobQuote:
    said = {one.line: one.answer for one in event.data.answers}

    def answered(one: QuotedLine) -> QuotedLine:
        if one.line.line not in said:
            return one
        return replace(
            one,
            answer=said[one.line.line],
            answered_at=event.occurred_at,
            answered_by=event.data.by,
            how=event.data.how,
        )

    return replace(quote, lines=tuple(map(answered, quote.lines)))


def standing_lines(quotes: Iterable[JobQuote]) -> list[QuotedLine]:
    """Give the lines of every quote that stands."""
    return [line for quote in quotes if quote.is_standing for line in quote.lines]


def give_draft(
    actor: str,
    bike: str,
    job: str,
    quote: str,
    lines: Sequence[Mapping[str, Any]],
    currency: str,
    *,
    form: Form = "fixed",
    is_found_later: bool = False,
    replaces: str | None = None,
    note: str | None = None,
) -> Draft:
    """Give what quotes these lines; a line without an id gets one: the quote's and a number.

    Raises QuoteRefused where there are no lines.
    """
    if not lines:
        raise QuoteRefused("A quote needs a line at least: what is done, and its price.")
    named = [{"line": f"{quote}.{place}", **line} for place, line in enumerate(lines, 1)]
    data: Draft = {"quote": quote, "form": form, "currency": currency, "lines": named}
    data |= {"is_found_later": True} if is_found_later else {}
    data |= {"replaces": replaces} if replaces else {}
    data |= {"note": note} if note else {}
    return {"kind": "quote_given", "bike": bike, "job": job, "actor": actor, "data": data}


def answer_drafts(
    quotes: Sequence[JobQuote],
    answers: Mapping[str, str],
    actor: str,
    bike: str,
    how: str,
    by: str | None = None,
) -> list[Draft]:
    """Give what records the keeper's answers, by line id; one event for each quote they are of.

    Raises QuoteRefused for a line that no standing quote has.
    """
    where = {line.line.line: quote for quote in quotes if quote.is_standing for line in quote.lines}
    unknown = [line for line in answers if line not in where]
    if unknown:
        raise QuoteRefused(_no_line(unknown[0], quotes, where))
    drafts = []
    for quote in dict.fromkeys(where[line].quote for line in answers):
        said = [
            {"line": line, "answer": answer}
            for line, answer in answers.items()
            if where[line].quote == quote
        ]
        data: Draft = {"quote": quote, "answers": said, "how": how} | ({"by": by} if by else {})
        job = next(one.job for one in quotes if one.quote == quote)
        event = {"kind": "quote_answered", "bike": bike, "job": job, "actor": actor}
        drafts.append({**event, "data": data})
    return drafts


def _no_line(line: str, quotes: Sequence[JobQuote], standing: Iterable[str]) -> str:
    """Give why a line cannot be answered: its quote was replaced, or there is no such line."""
    newest = {one.quote: one for one in quotes}
    older = next((one for one in quotes if any(line == o.line.line for o in one.lines)), None)
    if older is not None and older.replaced_by is not None:
        stands = newest[older.replaced_by]
        while stands.replaced_by is not None:
            stands = newest[stands.replaced_by]
        own = ", ".join(one.line.line for one in stands.lines)
        return (
            f"Line {line} is of quote {older.quote}, which {stands.quote} replaces. "
            f"Answer that one's: {own}."
        )
    known = ", ".join(standing) or "none: nothing is quoted"
    return f"No line {line} stands in this job. Its lines are {known}."


def charged(line: QuotedLine, net_minor: int | None = None) -> dict[str, Any]:
    """Give the line that charges an agreed one, at its price or at the lower one given."""
    # Its tax is filled in when it is charged, rounded as is done that day.
    left_out = {"description", "quote_line", "tax_minor"}
    plain = line.line.model_dump(mode="json", exclude_none=True, exclude=left_out)
    if net_minor is not None:
        plain["net_minor"] = net_minor
    return {**plain, "quote_line": line.line.line}
