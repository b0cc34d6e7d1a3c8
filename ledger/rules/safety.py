"""Rules about what must not pass in silence: unsafe findings, and torque that was disturbed."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.events import kinds
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, refuses, warns
from ledger.state import BikeState
from ledger.state.bike import Advice, Unsafe

LAW = (
    "an answer does not make the bike fit to ride where local law forbids it; the maker's "
    "instructions, local rules and a qualified mechanic decide"
)


def _standing(state: BikeState, job: str | None) -> list[Unsafe]:
    """Give the unsafe findings of a job that nothing has put right, one a position."""
    found = {unsafe.position: unsafe for unsafe in state.unsafe.values() if unsafe.job == job}
    return [found[position] for position in sorted(found)]


def _warnings(state: BikeState, unsafe: Unsafe) -> dict[str, Advice]:
    return {
        event: advice
        for event, advice in state.advice.items()
        if advice.job == unsafe.job
        and advice.given.position == unsafe.position
        and advice.given.verdict == "unsafe"
    }


@refuses(
    "unsafe_not_warned",
    "a job closed over an unsafe finding without a recorded warning and the keeper's answer",
    "job_closed",
)
def unsafe_not_warned(
    state: BikeState, event: kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Refuse to hand a bike back in silence."""
    for unsafe in _standing(state, event.job):
        warned = _warnings(state, unsafe)
        answers = {state.advice_answers.get(advice) for advice in warned}
        wrong = f"{unsafe.position} was found unsafe in this job"
        if not warned:
            right = f"Record the warning first (advised, verdict unsafe, at {unsafe.position})"
            yield Finding("job", wrong, right)
        elif not answers & {"yes", "no", "later"}:
            right = "Record the keeper's answer to the warning (advice_answered); no reply is none"
            yield Finding("job", wrong, right)


@warns(
    "unsafe_handed_back",
    "a bike released or a job closed with an unsafe finding",
    "released",
    "job_closed",
)
def unsafe_handed_back(
    state: BikeState, event: kinds.Released | kinds.JobClosed, facts: BookFacts
) -> Iterator[Finding]:
    """Warn, whatever the keeper answered, that an answer mends nothing."""
    for unsafe in _standing(state, event.job):
        wrong = f"{unsafe.position} was found unsafe and not put right"
        yield Finding("job", wrong, LAW[0].upper() + LAW[1:])


@warns("not_torqued", "a job closed with something disturbed and not torqued since", "job_closed")
def not_torqued(state: BikeState, event: kinds.JobClosed, facts: BookFacts) -> Iterator[Finding]:
    """Warn of every torqued position that was worked on and not torqued afterwards."""
    if state.disturbed:
        wrong = f"not torqued since they were disturbed: {', '.join(sorted(state.disturbed))}"
        right = "Torque them to the maker's figures (adjusted, torque), or note why not"
        yield Finding("data.disturbed", wrong, right)


RULES = (unsafe_not_warned, unsafe_handed_back, not_torqued)
