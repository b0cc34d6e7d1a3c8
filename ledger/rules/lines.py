"""Rules about single lines and sums: what is charged is what was quoted, tax, sign, discount."""

from __future__ import annotations

from collections.abc import Iterator
from fractions import Fraction

from ledger.events import kinds
from ledger.events.job import Line
from ledger.money import tax_minor
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, refuses, some, warns
from ledger.state import BikeState

Billed = kinds.QuoteGiven | kinds.JobClosed


def _agreed(state: BikeState, event: kinds.JobClosed) -> Iterator[tuple[str, Line, Line]]:
    """Give (field, charged line, quoted line) of every charge that names a quoted one."""
    for index, line in enumerate(event.data.lines):
        named = state.charged_line(event.job, line)
        if named is not None:
            yield f"data.lines[{index}]", line, named


def _thing(line: Line) -> str:
    where = f" at {line.position}" if line.position else ""
    return f"{line.line_type} {line.code}{where}"


def _is_the_same(charged: Line, quoted: Line) -> bool:
    """Tell whether a charge is for what was quoted; a place only one of them names is no matter."""
    if (charged.line_type, charged.code) != (quoted.line_type, quoted.code):
        return False
    return None in (charged.position, quoted.position) or charged.position == quoted.position


@refuses(
    "charged_otherwise",
    "a charge that names the quoted line of another thing",
    "job_closed",
    is_of_entry=True,
)
def charged_otherwise(
    state: BikeState, event: kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to charge one thing on the yes to another."""
    for field, line, named in _agreed(state, event):
        if _is_the_same(line, named):
            continue
        wrong = f"line {line.line} is {_thing(line)}; the quoted line {named.line} is"
        own = [
            name
            for quote in state.standing_quotes(event.job)
            for name, offered in quote.lines.items()
            if _is_the_same(line, offered)
        ]
        right = f"Charge {_thing(named)} there, or quote {_thing(line)} and get a yes"
        if own:
            right = f"{_thing(line)} is quoted in line {some(own)}: name that one"
        yield Finding(f"{field}.quote_line", f"{wrong} {_thing(named)}", right)


@refuses(
    "charged_at_other_tax",
    "a charge at another rate of tax than was quoted",
    "job_closed",
    is_of_entry=True,
)
def charged_at_other_tax(
    state: BikeState, event: kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse a rate nobody agreed to: with more tax an agreed price would grow."""
    for field, line, named in _agreed(state, event):
        if Fraction(line.tax_rate) != Fraction(named.tax_rate):
            wrong = f"{line.tax_rate} is not the {named.tax_rate} quoted in line {named.line}"
            right = "Leave tax_rate out: it is taken from the quoted line; or quote again"
            yield Finding(f"{field}.tax_rate", wrong, right)


@refuses(
    "wrong_tax",
    "tax that is not net times rate, rounded as the terms in force say",
    *("quote_given", "job_closed"),
    is_of_entry=True,
)
def wrong_tax(state: BikeState, event: Billed, facts: BookFacts) -> Iterator[Finding]:
    """Refuse tax that does not follow from its own line."""
    rounding = facts.rounding_on(facts.day_of(event.occurred_at))
    for index, line in enumerate(event.data.lines):
        tax = tax_minor(line.net_minor, line.tax_rate, rounding)
        if line.tax_minor not in (None, tax):
            of = f"tax of {facts.money(line.net_minor)} at {line.tax_rate}"
            wrong = f"{facts.money(line.tax_minor)} is not the {of}"
            right = f"It is {facts.money(tax)} ({tax}); left out, it is filled in"
            yield Finding(f"data.lines[{index}].tax_minor", wrong, right)


@refuses(
    "below_nought",
    "a line below nought that is not a discount of its own (`other`), quoted as one",
    *("quote_given", "job_closed"),
    is_of_entry=True,
)
def below_nought(state: BikeState, event: Billed, facts: BookFacts) -> Iterator[Finding]:
    """Refuse to give money back on work, parts or consumables: a discount is seen, and agreed."""
    agreed = {}
    if event.kind == "job_closed":
        agreed = {line.line: named.net_minor for _, line, named in _agreed(state, event)}
    for index, line in enumerate(event.data.lines):
        if line.net_minor >= 0:
            continue
        field, sum_of = f"data.lines[{index}].net_minor", facts.money(line.net_minor)
        if line.line_type != "other":
            wrong = f"{_thing(line)} is {sum_of}, below nought"
            right = "Enter a discount as a line of its own (line_type other), quoted and agreed"
            yield Finding(field, wrong, right)
        elif agreed.get(line.line, -1) >= 0:
            wrong = f"{sum_of} is below nought; {facts.money(agreed[line.line])} was agreed"
            yield Finding(field, wrong, "Charge 0 at the least, or quote the discount as a line")


@warns(
    "discount_left_out",
    "a job closed without a discount that was agreed",
    "job_closed",
)
def discount_left_out(
    state: BikeState, event: kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Warn where the keeper pays more than the lines they said yes to come to."""
    lines = event.data.lines
    named = {line.quote_line for line in lines if not line.is_goodwill}
    if not any(line.net_minor > 0 for line in lines):
        return
    for quote in state.standing_quotes(event.job):
        for name, offered in quote.lines.items():
            if offered.net_minor < 0 and quote.answers[name] == "yes" and name not in named:
                wrong = (
                    f"line {name} ({offered.code}), {facts.money(offered.net_minor)}, was agreed"
                )
                right = (
                    "Charge it as a line of its own (line_type other), or tell the keeper why not"
                )
                yield Finding("data.lines", f"{wrong} and is left out", right)


RULES = (charged_otherwise, charged_at_other_tax, wrong_tax, below_nought, discount_left_out)
