"""Rules about what is charged: only what was quoted and agreed, or goodwill at nil."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.events import kinds
from ledger.events.job import Line
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, refuses, some
from ledger.state import BikeState
from ledger.state.bike import Quote

_RIGHT = "Quote it and record the keeper's yes (quote_answered), or give it as goodwill at nil"


def _standing(state: BikeState, job: str | None) -> dict[str, Quote]:
    """Give, for each line of a job's standing quotes, the quote it is in."""
    return {line: quote for quote in state.standing_quotes(job) for line in quote.answers}


def _charged(event: kinds.JobClosed) -> Iterator[tuple[str, Line]]:
    """Give (field, line) of every line that is charged, not given away."""
    for index, line in enumerate(event.data.lines):
        if not line.is_goodwill:
            yield f"data.lines[{index}]", line


@refuses(
    "unknown_quote_line", "a charge for a quoted line that was not quoted in that job", "job_closed"
)
def unknown_quote_line(
    state: BikeState, event: kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse a charge that refers to nothing."""
    quoted = state.quoted_lines(event.job)
    for index, line in enumerate(event.data.lines):
        if line.quote_line is not None and line.quote_line not in quoted:
            right = f"Quoted are: {some(quoted)}" if quoted else "Quote it first, or leave it out"
            wrong = f"no line {line.quote_line} was quoted in job {event.job}"
            yield Finding(f"data.lines[{index}].quote_line", wrong, right)


@refuses(
    "charged_without_quote",
    "a charge for what was never quoted, unless it is goodwill at nil",
    "job_closed",
    is_of_entry=True,
)
def charged_without_quote(
    state: BikeState, event: kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to charge what nobody was asked about."""
    standing = _standing(state, event.job)
    agreed = [line for line, quote in standing.items() if quote.answers[line] == "yes"]
    for field, line in _charged(event):
        if line.quote_line is None:
            wrong = f"line {line.line} ({line.code}) names no quoted line: nobody was asked"
            right = f"{_RIGHT}. Agreed are: {some(agreed)}" if agreed else _RIGHT
            yield Finding(f"{field}.quote_line", wrong, right)


@refuses(
    "charged_without_yes",
    "a charge for a quoted line the keeper did not say yes to",
    "job_closed",
    is_of_entry=True,
)
def charged_without_yes(
    state: BikeState, event: kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse work charged on silence or against a no: no reply is not a yes."""
    standing, quoted = _standing(state, event.job), state.quoted_lines(event.job)
    for field, line in _charged(event):
        named = line.quote_line
        if named is None or named not in quoted:
            continue
        if named not in standing:
            newer = quoted[named].replaced_by
            wrong = f"line {named} is of quote {quoted[named].quote}, which {newer} replaces"
            yield Finding(f"{field}.quote_line", wrong, f"Charge the lines agreed in {newer}")
        elif standing[named].answers[named] != "yes":
            answer = standing[named].answers[named] or "by nobody"
            yield Finding(f"{field}.quote_line", f"line {named} was answered {answer}", _RIGHT)


@refuses("charged_twice", "one quoted line charged in two lines", "job_closed", is_of_entry=True)
def charged_twice(state: BikeState, event: kinds.JobClosed, facts: BookFacts) -> Iterator[Finding]:
    """Refuse to take the same yes twice."""
    seen: dict[str, str] = {}
    for field, line in _charged(event):
        if line.quote_line is None:
            continue
        if line.quote_line in seen:
            wrong = f"line {line.quote_line} is charged in line {seen[line.quote_line]} already"
            yield Finding(f"{field}.quote_line", wrong, "Charge each agreed line once")
        seen[line.quote_line] = line.line


@refuses(
    "charged_above_quote",
    "a charge above the price that was agreed",
    "job_closed",
    is_of_entry=True,
)
def charged_above_quote(
    state: BikeState, event: kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse more than was said yes to: a fixed price is that price, `up to` the most it may be."""
    standing = _standing(state, event.job)
    for field, line in _charged(event):
        quote = standing.get(line.quote_line or "")
        agreed = None if quote is None else quote.lines.get(line.quote_line or "")
        if agreed is not None and line.net_minor > agreed.net_minor:
            most = facts.money(agreed.net_minor)
            wrong = f"{facts.money(line.net_minor)} is more than the {most} agreed"
            right = "Charge that at most; for more, quote again (replaces) and get a yes"
            yield Finding(f"{field}.net_minor", wrong, right)


@refuses("goodwill_charged", "goodwill that is charged", "job_closed", is_of_entry=True)
def goodwill_charged(
    state: BikeState, event: kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to call goodwill what the keeper pays for."""
    for index, line in enumerate(event.data.lines):
        if line.is_goodwill and line.net_minor:
            wrong = f"line {line.line} is goodwill and charged at {facts.money(line.net_minor)}"
            right = "Set net_minor to 0, or is_goodwill to false"
            yield Finding(f"data.lines[{index}].net_minor", wrong, right)


RULES = (
    unknown_quote_line,
    charged_without_quote,
    charged_without_yes,
    charged_twice,
    charged_above_quote,
    goodwill_charged,
)
