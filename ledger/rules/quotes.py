"""Rules about quotes: each line told apart, newer versions, and whose answer counts."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.events import Event, kinds
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, refuses, some, warns
from ledger.state import BikeState, in_order

_MAY_STILL_BE_CHARGED = ("yes", "no reply", None)
"""Answers that leave a line agreed, or open."""


@refuses("quote_twice", "a quote given again under the same id", "quote_given")
def quote_twice(state: BikeState, event: kinds.QuoteGiven, facts: BookFacts) -> Iterator[Finding]:
    """Refuse a quote id that is taken."""
    if event.data.quote in state.quotes:
        yield Finding("data.quote", f"quote {event.data.quote} is given already", "Use a new id")


@refuses(
    "line_twice", "two lines of one quote or charge with the same id", "quote_given", "job_closed"
)
def line_twice(
    state: BikeState, event: kinds.QuoteGiven | kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse lines nobody could tell apart."""
    seen: set[str] = set()
    for index, line in enumerate(event.data.lines):
        if line.line in seen:
            field = f"data.lines[{index}].line"
            yield Finding(field, f"line {line.line} is there already", "Give each line its own id")
        seen.add(line.line)


@refuses(
    "line_quoted_already",
    "a line with the id of a line in another standing quote of the job",
    "quote_given",
    is_of_entry=True,
)
def line_quoted_already(
    state: BikeState, event: kinds.QuoteGiven, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse lines that a charge could not tell apart."""
    standing = {
        line: quote.quote
        for quote in state.standing_quotes(event.job)
        if quote.quote not in (event.data.replaces, event.data.quote)
        for line in quote.answers
    }
    for index, line in enumerate(event.data.lines):
        if line.line in standing:
            wrong = f"line {line.line} is in quote {standing[line.line]} already"
            right = f"Give it another id, or say which quote this one replaces ({some(standing)})"
            yield Finding(f"data.lines[{index}].line", wrong, right)


@refuses(
    "replaces_unknown_quote",
    "a quote that replaces one which does not stand in that job",
    "quote_given",
)
def replaces_unknown_quote(
    state: BikeState, event: kinds.QuoteGiven, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to replace a quote that was not given, is of another job, or is replaced already."""
    replaced = event.data.replaces
    standing = [quote.quote for quote in state.standing_quotes(event.job)]
    if replaced is None or replaced in standing:
        return
    known = state.quotes.get(replaced)
    wrong = f"no quote {replaced} in job {event.job} then"
    if known is not None and known.job == event.job:
        wrong = f"quote {replaced} is replaced by {known.replaced_by} already"
    right = f"Standing are: {some(standing)}" if standing else "Leave replaces out"
    yield Finding("data.replaces", wrong, right)


@refuses(
    "unknown_quote", "an answer to a quote or line that was not given in that job", "quote_answered"
)
def unknown_quote(
    state: BikeState, event: kinds.QuoteAnswered, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse an answer to what nobody asked."""
    quote = state.quotes.get(event.data.quote)
    if quote is None or quote.job != event.job:
        given = [name for name, known in state.quotes.items() if known.job == event.job]
        right = f"Given in this job: {some(given)}" if given else "Record the quote first"
        yield Finding("data.quote", f"no quote {event.data.quote} in job {event.job} then", right)
        return
    for index, answer in enumerate(event.data.answers):
        if answer.line not in quote.answers:
            wrong = f"quote {event.data.quote} has no line {answer.line}"
            right = f"Its lines are {some(quote.answers)}"
            yield Finding(f"data.answers[{index}].line", wrong, right)


@refuses("replaced_quote", "an answer to a quote that another one replaces", "quote_answered")
def replaced_quote(
    state: BikeState, event: kinds.QuoteAnswered, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse an answer to a version that is not offered any more."""
    quote = state.quotes.get(event.data.quote)
    if quote is not None and quote.replaced_by is not None:
        wrong = f"quote {event.data.quote} is replaced by {quote.replaced_by}"
        yield Finding("data.quote", wrong, f"Answer quote {quote.replaced_by}")


@warns(
    "answered_by_another",
    "a yes by somebody who was not named as one who may say it",
    "quote_answered",
)
def answered_by_another(
    state: BikeState, event: kinds.QuoteAnswered, facts: BookFacts
) -> Iterator[Finding]:
    """Warn of a yes that may not hold: only the keeper and who was named may give it."""
    job = state.jobs.get(event.job or "")
    if job is None or not job.may_approve:
        return
    if all(answer.answer != "yes" for answer in event.data.answers):
        return
    who = event.data.by
    if who is None or who not in {*job.may_approve, state.keeper}:
        wrong = f"{who} may not say yes" if who else "it does not say who said yes"
        yield Finding("data.by", wrong, f"May say yes: {some(job.may_approve)}")


@warns(
    "over_ceiling",
    "a quote, yes or charge above what the keeper set as the most",
    *("quote_given", "quote_answered", "job_closed"),
)
def over_ceiling(
    state: BikeState,
    event: kinds.QuoteGiven | kinds.QuoteAnswered | kinds.JobClosed,
    facts: BookFacts,
) -> Iterator[Finding]:
    """Warn before the ceiling told at booking-in is passed, tax included.

    A quote counts with every line that was agreed or still has no answer; a charge as it is.
    A no is never warned of, and several quotes or answers of one commit are once, at the last.
    """
    job = state.jobs.get(event.job or "")
    if job is None or job.ceiling_minor is None or not _is_last_of_commit(event, facts):
        return
    total, field = _coming_to(state, event)
    if total > job.ceiling_minor:
        said = f"{facts.money(total)} with tax is more than the ceiling of"
        right = "Past the ceiling another yes is needed: ask who may say it, before the work"
        yield Finding(field, f"{said} {facts.money(job.ceiling_minor)}", right)


def _adds_to_the_bill(event: Event) -> bool:
    """Tell whether after an event more may be charged than before."""
    if event.kind == "quote_answered":
        return any(one.answer == "yes" for one in event.data.answers)
    return event.kind in ("quote_given", "job_closed")


def _is_last_of_commit(event: Event, facts: BookFacts) -> bool:
    """Tell whether an event is the last of its kind in its commit that adds to its job's bill."""
    if not _adds_to_the_bill(event):
        return False
    what = (event.bike, event.job, event.kind)
    alike = [
        one
        for one in facts.commit_events
        if (one.bike, one.job, one.kind) == what and _adds_to_the_bill(one)
    ]
    return not alike or in_order(alike)[-1].id == event.id


def _coming_to(
    state: BikeState, event: kinds.QuoteGiven | kinds.QuoteAnswered | kinds.JobClosed
) -> tuple[int, str]:
    """Give what a job may come to after an event, with tax, and the field that says so."""
    if event.kind == "job_closed":
        return sum(
            line.net_minor + (line.tax_minor or 0) for line in event.data.lines
        ), "data.lines"
    answers: dict[tuple[str, str], str | None] = {}
    gross: dict[tuple[str, str], int] = {}
    for quote in state.standing_quotes(event.job):
        if event.kind == "quote_given" and quote.quote == event.data.replaces:
            continue
        answers |= {(quote.quote, line): said for line, said in quote.answers.items()}
        gross |= {(quote.quote, line): minor for line, minor in quote.gross_minor.items()}
    if event.kind == "quote_given":
        new = {(event.data.quote, line.line): line for line in event.data.lines}
        gross |= {key: line.net_minor + (line.tax_minor or 0) for key, line in new.items()}
    else:
        answers |= {(event.data.quote, one.line): one.answer for one in event.data.answers}
    total = sum(minor for key, minor in gross.items() if answers.get(key) in _MAY_STILL_BE_CHARGED)
    return total, "data.lines" if event.kind == "quote_given" else "data.answers"


RULES = (
    quote_twice,
    line_twice,
    line_quoted_already,
    replaces_unknown_quote,
    unknown_quote,
    replaced_quote,
    answered_by_another,
    over_ceiling,
)
