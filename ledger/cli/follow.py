"""`record --follow`: one service, walked in the trade's order, each step saved at once."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from ledger.bench.walk import WALK, Step
from ledger.bench.walked import GOES_ON, reached
from ledger.cli import money, stages, work
from ledger.cli.answers import COMMANDS, Answers
from ledger.cli.output import say
from ledger.cli.prompts import Asker, Back, Leave, Undo, read_line
from ledger.cli.service import Service
from ledger.errors import LedgerError, WrongUse

if TYPE_CHECKING:
    from ledger.book import Book

STAGES: Mapping[str, stages.Stage] = {
    "bike": stages.bike,
    "rider": stages.rider,
    "booking": stages.booking,
    "distance": stages.form,
    "inspect": stages.inspect,
    "measure": stages.measure,
    "quote": money.quote,
    "answer": money.answer,
    "work": work.work,
    "torque": stages.torque,
    "pressures": stages.pressures,
    "hand_back": work.hand_back,
    "close": money.close,
}
"""How each step of the walk is gone through."""


def follow_service(
    book: Book, given: Mapping[str, str | None], *, confirm_clock: bool = False
) -> None:
    """Walk one service by questions on stdin.

    `given` may hold the bike, job and actor. The end of the input, or `quit`, ends the walk;
    everything saved stays. Raises LedgerError where the book cannot be written.
    """
    say(COMMANDS)
    service = None
    try:
        service = _begin(book, given, confirm_clock)
        _walk(service)
    except Leave:
        say("Stopped. Everything recorded so far stays.")
    finally:
        if service is not None and service.job and not service.is_closed:
            say(f"To go on: lockring record --follow --bike {service.bike}")


def _begin(book: Book, given: Mapping[str, str | None], confirm_clock: bool) -> Service:
    from ledger.cli.people import choose

    asker = Asker(book, Answers(book, lambda text: choose(book, text)))
    actor = given.get("actor") or _actor(book)
    service = Service(book, asker, actor, confirm_clock)
    if given.get("bike"):
        from ledger.cli.bikes import tag_named

        service.bike = tag_named(book, str(given["bike"]))
    service.job = given.get("job")
    if service.job and not service.bike:
        raise WrongUse("With --job say which bike it is on: --bike TAG.")
    if service.job and service.job not in {job.job for job in service.view().jobs_open}:
        raise LedgerError(f"Job {service.job} is not open on bike {service.bike}.")
    return service


def _actor(book: Book) -> str:
    known = sorted(book.mechanics)
    if len(known) == 1:
        return known[0]
    if not known:
        raise LedgerError(
            "Nobody is registered to record yet. First: "
            "lockring record mechanic_registered --set mechanic=m1 --actor m1"
        )
    while True:
        try:
            text = read_line(f"Who works ({', '.join(known)})")
        except (Back, Undo):
            continue
        if text in known:
            return text
        say(f"  {text!r} is not registered." if text else f"  One of {', '.join(known)}.")


def _walk(service: Service) -> None:
    def one(step: Step, is_forward: bool) -> bool:
        say()
        say(step.title)
        return STAGES[step.key](service, step, is_forward)

    while True:
        try:
            service.go_through(WALK[:1], one)
            service.go_through(WALK[1:], one, _take_up(service))
        except Back:
            service.bike, service.job = "", None
            continue
        break
    say()
    say(f"Done. To see the bike: lockring state {service.bike}")


def _offer_open_job(service: Service) -> None:
    """Go on with the job that is open on this bike, if there is one."""
    open_jobs = service.view().jobs_open
    if open_jobs:
        service.job = open_jobs[-1].job
        service.saved = [[event.id] for event in service.of_job()]
        say(f"  Going on with job {service.job}.")


def _take_up(service: Service) -> int:
    """Give the index, after the bike, of the step at which its walk begins or goes on."""
    if not service.job:
        _offer_open_job(service)
    last = reached(service.of_job()) if service.job else None
    if last is None:
        return 0
    return last - 1 if WALK[last].key in GOES_ON else last
