"""Rules about a visit: opened once, labour and money inside it, quotes and advice answered."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from ledger.events import Event, kinds
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, refuses, some, warns, when
from ledger.state import BikeState, in_order

_NEEDS_JOB = (
    "job_opened",
    "job_held",
    "job_resumed",
    "quote_given",
    "quote_answered",
    "labour_started",
    "labour_stopped",
    "labour_logged",
    "released",
    "job_closed",
    "come_back_judged",
)
_ENDS_WITH_JOB = (
    "job_held",
    "job_resumed",
    "quote_given",
    "labour_started",
    "labour_stopped",
    "labour_logged",
    "goodwill_given",
    "job_closed",
)


@refuses("job_missing", "labour, a quote or a charge without a job", *_NEEDS_JOB)
def job_missing(state: BikeState, event: Event, facts: BookFacts) -> Iterator[Finding]:
    """Refuse what belongs to a visit without saying which."""
    if event.job is None:
        yield Finding("job", f"{event.kind} names no job", "Enter the job it belongs to")


@refuses("unknown_job", "an event of a job that is not opened by then")
def unknown_job(state: BikeState, event: Event, facts: BookFacts) -> Iterator[Finding]:
    """Refuse an event of a visit that this bike does not have (yet)."""
    if event.job is None or event.kind == "job_opened":
        return
    known = state.jobs.get(event.job)
    if known is not None and known.opened_at is not None:
        return
    other = facts.job_bikes.get(event.job)
    if other is not None and other != event.bike and other not in state.registered:
        right = f"Enter the bike's own job, or bike {other}"
        yield Finding("job", f"job {event.job} is of bike {other}", right)
        return
    open_now = [job.job for job in state.jobs.values() if not job.is_closed]
    right = f"Open are: {some(open_now)}" if open_now else "Open it first (job_opened)"
    yield Finding("job", f"job {event.job} is not open on this bike then", right)


@refuses("job_opened_twice", "a job opened again, or by another bike", "job_opened")
def job_opened_twice(
    state: BikeState, event: kinds.JobOpened, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse a job id that is taken."""
    if event.job is None:
        return
    known = state.jobs.get(event.job)
    other = facts.job_bikes.get(event.job)
    is_elsewhere = other is not None and other != event.bike and other not in state.registered
    if is_elsewhere or (known is not None and known.opened_at is not None):
        of = f"bike {other}" if is_elsewhere else "this bike"
        yield Finding("job", f"job {event.job} is opened already, by {of}", "Use a new job id")


@warns("another_job_open", "a job opened while another of the bike is open", "job_opened")
def another_job_open(
    state: BikeState, event: kinds.JobOpened, facts: BookFacts
) -> Iterator[Finding]:
    """Warn of two visits at once."""
    others = [
        job.job
        for job in state.jobs.values()
        if job.opened_at is not None and not job.is_closed and job.job != event.job
    ]
    if others:
        wrong = f"job {some(others)} of this bike is still open"
        yield Finding("job", wrong, "Close it, if that visit has ended")


@refuses(
    "job_closed_before", "labour, a hold, a quote or a charge on a closed job", *_ENDS_WITH_JOB
)
def job_closed_before(state: BikeState, event: Event, facts: BookFacts) -> Iterator[Finding]:
    """Refuse work on a visit that has ended."""
    known = state.jobs.get(event.job or "")
    if known is not None and known.is_closed:
        right = "Enter a time before the job was closed, or open another job"
        yield Finding("job", f"job {event.job} is closed by then", right)


@refuses("not_held", "a job resumed that is not held", "job_resumed")
def not_held(state: BikeState, event: kinds.JobResumed, facts: BookFacts) -> Iterator[Finding]:
    """Refuse to resume a visit that waits for nothing."""
    known = state.jobs.get(event.job or "")
    if known is not None and known.opened_at is not None and known.waiting_for is None:
        yield Finding(
            "job", f"job {event.job} is not held then", "Record the hold first (job_held)"
        )


def _clocks(state: BikeState, event: Event, facts: BookFacts) -> list[Event]:
    """Give the mechanic's starts and stops on any bike, with what runs here, in order."""
    clocks = [*facts.labour_events.get(event.actor, ()), *state.running.values()]
    own = {clock.id: clock for clock in clocks if clock.actor == event.actor}
    return in_order((own | {event.id: event}).values())


@refuses("labour_already_running", "a second clock of one mechanic, on any bike", "labour_started")
def labour_already_running(
    state: BikeState, event: kinds.LabourStarted, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to run two clocks for one pair of hands."""
    clocks = _clocks(state, event, facts)
    place = next(index for index, clock in enumerate(clocks) if clock.id == event.id)
    for other in (clocks[place - 1] if place else None, *clocks[place + 1 : place + 2]):
        if other is not None and other.kind == "labour_started":
            wrong = f"{event.actor}'s clock runs on job {other.job} from {when(other, facts)}"
            yield Finding("actor", wrong, "Stop that clock first (labour_stopped)")


@refuses("labour_not_started", "a clock stopped that does not run on that job", "labour_stopped")
def labour_not_started(
    state: BikeState, event: kinds.LabourStopped, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to stop what was not started."""
    running = state.running.get(event.actor)
    if running is None or running.job != event.job:
        wrong = f"no clock of {event.actor} runs on job {event.job} then"
        right = "Start it first (labour_started), or enter the minutes (labour_logged)"
        yield Finding("job", wrong, right)


@refuses("labour_too_long", "a clock that ran for longer than 10,000 minutes", "labour_stopped")
def labour_too_long(
    state: BikeState, event: kinds.LabourStopped, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse the minutes of a clock that somebody forgot."""
    minutes = event.data.minutes
    if minutes is not None and minutes > 10_000:
        right = "Enter the minutes that were worked"
        yield Finding("data.minutes", f"the clock ran for {minutes} minutes", right)


@refuses("labour_still_running", "a job closed while a clock runs on it", "job_closed")
def labour_still_running(
    state: BikeState, event: kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to close over a running clock, which nothing could stop afterwards."""
    for actor, started in sorted(state.running.items()):
        if started.job == event.job:
            wrong = f"{actor}'s clock runs on it from {when(started, facts)}"
            yield Finding("job", wrong, "Stop it first (labour_stopped)")


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


def _answers(state: BikeState, job: str | None) -> dict[str, str | None]:
    """Give the last answer to each quoted line of a job."""
    return {
        line: answer
        for quote in state.quotes.values()
        if quote.job == job
        for line, answer in quote.answers.items()
    }


@refuses(
    "unknown_quote_line", "a charge for a quoted line that was not quoted in that job", "job_closed"
)
def unknown_quote_line(
    state: BikeState, event: kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse a charge that refers to nothing."""
    quoted = _answers(state, event.job)
    for index, line in enumerate(event.data.lines):
        if line.quote_line is not None and line.quote_line not in quoted:
            right = f"Quoted are: {some(quoted)}" if quoted else "Leave quote_line out"
            wrong = f"no line {line.quote_line} was quoted in job {event.job}"
            yield Finding(f"data.lines[{index}].quote_line", wrong, right)


@warns(
    "charged_without_yes", "a charge for a quoted line the keeper did not say yes to", "job_closed"
)
def charged_without_yes(
    state: BikeState, event: kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Warn of work charged on silence: no reply is not a yes."""
    quoted = _answers(state, event.job)
    for index, line in enumerate(event.data.lines):
        answer = quoted.get(line.quote_line or "", "yes")
        if answer != "yes" and not line.is_goodwill:
            wrong = f"line {line.quote_line} was answered {answer or 'by nobody'}"
            right = "Record the keeper's yes (quote_answered), or do not charge it"
            yield Finding(f"data.lines[{index}].quote_line", wrong, right)


@warns("over_ceiling", "a charge above what the keeper set as the most", "job_closed")
def over_ceiling(state: BikeState, event: kinds.JobClosed, facts: BookFacts) -> Iterator[Finding]:
    """Warn of a charge past the ceiling told at booking-in, tax included."""
    known = state.jobs.get(event.job or "")
    total = sum(line.net_minor + (line.tax_minor or 0) for line in event.data.lines)
    if known is not None and known.ceiling_minor is not None and total > known.ceiling_minor:
        wrong = f"{total} is more than the ceiling of {known.ceiling_minor}, in minor units"
        yield Finding("data.lines", wrong, "Past the ceiling another yes is needed")


Money = (
    kinds.JobOpened
    | kinds.QuoteGiven
    | kinds.GoodwillGiven
    | kinds.Advised
    | kinds.JobClosed
    | kinds.TermsSet
)


@refuses(
    "wrong_currency",
    "money in another currency than the book's",
    "job_opened",
    "quote_given",
    "goodwill_given",
    "advised",
    "job_closed",
    "terms_set",
)
def wrong_currency(state: BikeState, event: Money, facts: BookFacts) -> Iterator[Finding]:
    """Refuse sums that could not be added up."""
    entered = event.data.currency
    if entered is not None and entered != facts.currency:
        wrong = f"{entered} is not this book's currency"
        yield Finding("data.currency", wrong, f"Enter amounts in {facts.currency}")


@refuses("unknown_advice", "an answer to advice that was not given by then", "advice_answered")
def unknown_advice(
    state: BikeState, event: kinds.AdviceAnswered, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse an answer to advice nobody gave."""
    if event.data.advice not in state.advice:
        given = some(state.advice)
        right = f"Given are: {given}" if given else "Record the advice first (advised)"
        yield Finding("data.advice", f"no advice {event.data.advice} then", right)


def _not_answered(
    state: BikeState, event: Event, answered: str, opened: datetime | None, field: str
) -> Iterator[Finding]:
    """Find fault with a job that is not one of this bike's, opened before another of them."""
    known = [
        job.job
        for job in state.jobs.values()
        if job.job != event.job
        and job.opened_at is not None
        and (opened is None or job.opened_at <= opened)
    ]
    if answered in known:
        return
    wrong = f"job {answered} was not opened on this bike before"
    if answered == event.job:
        wrong = f"job {answered} cannot answer for itself"
    right = (
        f"Its earlier jobs are {some(known)}" if known else "Leave it out: it has no earlier job"
    )
    yield Finding(f"data.{field}", wrong, right)


@refuses(
    "unknown_answered_job",
    "a visit judged to answer for a job that this bike did not have before it",
    "come_back_judged",
)
def unknown_answered_job(
    state: BikeState, event: kinds.ComeBackJudged, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to answer for the job itself, a later one, or one of another bike."""
    own = state.jobs.get(event.job or "")
    if event.data.answers is not None:
        opened = None if own is None else own.opened_at
        yield from _not_answered(state, event, event.data.answers, opened, "answers")


@warns(
    "come_back_of_unknown_job",
    "a visit said to come back from a job that this bike did not have before",
    "job_opened",
)
def come_back_of_unknown_job(
    state: BikeState, event: kinds.JobOpened, facts: BookFacts
) -> Iterator[Finding]:
    """Warn only: it may be a job under another tag that is not joined to this one yet."""
    if event.data.come_back_of is not None:
        said = event.data.come_back_of
        yield from _not_answered(state, event, said, event.occurred_at, "come_back_of")


RULES = (
    job_missing,
    unknown_job,
    job_opened_twice,
    another_job_open,
    job_closed_before,
    not_held,
    labour_already_running,
    labour_not_started,
    labour_too_long,
    labour_still_running,
    quote_twice,
    line_twice,
    unknown_quote,
    unknown_quote_line,
    charged_without_yes,
    over_ceiling,
    wrong_currency,
    unknown_advice,
    unknown_answered_job,
    come_back_of_unknown_job,
)
