"""Rules about a visit: opened once, work and money inside it, advice and come-backs answered."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from ledger.events import Event, kinds
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, refuses, some, warns
from ledger.state import BikeState

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
    wrong_currency,
    unknown_advice,
    unknown_answered_job,
    come_back_of_unknown_job,
)
