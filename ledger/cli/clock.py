"""`clock`: who is on what since when; started, paused, stopped, or minutes entered afterwards."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.asking import OWNER
from ledger.cli.guard import Guarded
from ledger.cli.options import (
    DEFAULT_BOOK,
    AsJson,
    BookPath,
    ConfirmClock,
    open_book,
)
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from ledger.book import Book
    from ledger.clocks import Draft, RunningClock

app = typer.Typer(cls=Guarded, invoke_without_command=True)

Mechanic = Annotated[
    str | None,
    typer.Option(
        "--mechanic", "--actor", envvar="LOCKRING_ACTOR", help="Whose clock: a mechanic's id."
    ),
]
TagOfBike = Annotated[str, typer.Argument(help="A bike tag, such as 7K3M9QXA.", metavar="TAG")]
Job = Annotated[str | None, typer.Option(help="The job, where several are open on the bike.")]
Task = Annotated[str, typer.Option(help="What is worked on: a task of the shop's list.")]
Kind = Annotated[
    str, typer.Option("--kind", help="quoted, found later, come-back or goodwill.", metavar="KIND")
]
At = Annotated[str | None, typer.Option(help="When, in the book's time zone; now if not given.")]
Minutes = Annotated[int | None, typer.Option(min=0, max=10_000, help="The minutes worked.")]


@app.callback()
def clock(
    ctx: typer.Context,
    mechanic: Annotated[
        str | None,
        typer.Option("--mechanic", "--actor", help="One mechanic's clocks; else everybody's."),
    ] = None,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Say whose clock runs on what; start, pause and stop one, or enter minutes.

    Without a command: every clock that runs or is paused, and those that
    somebody forgot to stop on an earlier day, with how to end them.

    Examples:
    $ lockring clock
    $ lockring clock start 7K3M9QXA --task drivetrain
    $ lockring clock stop
    """
    if ctx.invoked_subcommand is not None:
        return
    from ledger.cli import clock_words
    from ledger.cli.output import say, say_json
    from ledger.clocks import running

    book = open_book(book_path)
    found = [one for one in running(book, asker=OWNER) if mechanic in (None, one.mechanic)]
    if as_json:
        say_json([clock_words.clock_json(one) for one in found])
        return
    clock_words.say_clocks(book, found)
    if not found:
        say("No clock runs.")


@app.command("start")
def start(
    tag: TagOfBike,
    task: Task,
    job: Job = None,
    kind: Kind = "quoted",
    mechanic: Mechanic = None,
    at: At = None,
    confirm_clock: ConfirmClock = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Start a mechanic's clock on a bike's open job.

    Examples:
    $ lockring clock start 7K3M9QXA --task drivetrain --mechanic m1
    $ lockring clock start 7K3M9QXA --task brakes --kind "found later"
    """
    from ledger import clocks

    book = open_book(book_path)
    who, bike, on = _who(book, mechanic), _bike(tag), _job(book, tag, job)
    words = (_task(book, task), _kind(kind))
    draft = clocks.start_draft(
        clocks.running(book, asker=OWNER), who, bike, on, *words, _at(book, at)
    )
    _record(book, [draft], confirm_clock, as_json)


@app.command("pause")
def pause(
    mechanic: Mechanic = None,
    at: At = None,
    confirm_clock: ConfirmClock = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Pause a running clock; its minutes so far are booked.

    Examples:
    $ lockring clock pause
    """
    from ledger import clocks

    book = open_book(book_path)
    found = _running(book, clocks.running(book, asker=OWNER), mechanic)
    _not_forgotten(book, found, at)
    _record(book, [clocks.pause_draft(found, _at(book, at))], confirm_clock, as_json)


@app.command("resume")
def resume(
    tag: Annotated[
        str | None, typer.Argument(help="The bike; the last one paused if not given.")
    ] = None,
    mechanic: Mechanic = None,
    at: At = None,
    confirm_clock: ConfirmClock = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Let a paused clock go on, on the same task.

    Examples:
    $ lockring clock resume
    """
    from ledger import clocks

    book = open_book(book_path)
    now = clocks.running(book, asker=OWNER)
    found = _paused(book, now, mechanic, tag)
    _record(book, [clocks.resume_draft(now, found, _at(book, at))], confirm_clock, as_json)


@app.command("stop")
def stop(
    minutes: Minutes = None,
    mechanic: Mechanic = None,
    at: At = None,
    confirm_clock: ConfirmClock = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Stop a clock; of one forgotten over night, say the minutes worked.

    A paused clock is ended for good; nothing is added to its minutes.

    Examples:
    $ lockring clock stop
    $ lockring clock stop --minutes 45
    $ lockring clock stop --at "2026-03-01 17:30"
    """
    from ledger import clocks

    book = open_book(book_path)
    now = clocks.running(book, asker=OWNER)
    if minutes is None and at is None and not _any_runs(now, mechanic):
        found = _paused(book, now, mechanic, None, "runs or is paused")
        drafts = clocks.end_drafts(found)
    else:
        found = _running(book, now, mechanic)
        if minutes is None:
            _not_forgotten(book, found, at)
        drafts = [clocks.stop_draft(found, minutes, _at(book, at))]
    _record(book, drafts, confirm_clock, as_json)


@app.command("log")
def log(
    tag: TagOfBike,
    task: Task,
    minutes: Annotated[int, typer.Option(min=0, max=10_000, help="The minutes worked.")],
    job: Job = None,
    kind: Kind = "quoted",
    mechanic: Mechanic = None,
    at: At = None,
    confirm_clock: ConfirmClock = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Enter minutes afterwards.

    Examples:
    $ lockring clock log 7K3M9QXA --task drivetrain --minutes 35
    """
    from ledger import clocks

    book = open_book(book_path)
    who, bike, on = _who(book, mechanic), _bike(tag), _job(book, tag, job)
    words = (_task(book, task), minutes, _kind(kind))
    _record(book, [clocks.log_draft(who, bike, on, *words, _at(book, at))], confirm_clock, as_json)


def _record(book: Book, drafts: Sequence[Draft], confirm_clock: bool, as_json: bool) -> None:
    from ledger.cli.receipt import confirming, say_receipt

    receipt = confirming(
        lambda right: book.append(drafts, confirm_clock=right), confirm_clock=confirm_clock
    )
    say_receipt(book, receipt, as_json=as_json)


def _who(book: Book, mechanic: str | None) -> str:
    from ledger.cli.drafts import actor_of

    return actor_of(book, "labour_started", mechanic, {})


def _bike(tag: str) -> str:
    from ledger.cli.bikes import tag_form

    return tag_form(tag)


def _job(book: Book, tag: str, job: str | None) -> str:
    from ledger.clocks import job_of

    return job_of(book, _bike(tag), job)


def _at(book: Book, at: str | None) -> datetime | None:
    from ledger.cli.drafts import moment_given

    return None if at is None else moment_given(book, at)


def _task(book: Book, task: str) -> str:
    """Give the code of a task by its code or label; the rules refuse what is neither."""
    wanted = " ".join(task.casefold().split())
    known: dict[str, Any] = dict(book.vocabulary.tasks)
    return next((code for code, word in known.items() if word.label.casefold() == wanted), task)


def _kind(kind: str) -> str:
    from ledger.clocks import KINDS

    if kind not in KINDS:
        raise WrongUse(f"--kind {kind!r} is not one of: {', '.join(KINDS)}.")
    return kind


def _not_forgotten(book: Book, clock: RunningClock, at: str | None) -> None:
    """Raise ClockRefused for a forgotten clock with no time given, saying how to end it."""
    from ledger.cli.clock_words import forgotten, how_to_end
    from ledger.clocks import ClockRefused

    if clock.is_forgotten and at is None:
        raise ClockRefused("\n".join([forgotten(book, clock), *how_to_end(book, clock)]))


def _any_runs(now: Sequence[RunningClock], mechanic: str | None) -> bool:
    return any(not one.is_paused and mechanic in (None, one.mechanic) for one in now)


def _running(book: Book, now: Sequence[RunningClock], mechanic: str | None) -> RunningClock:
    """Give the clock that is meant: the mechanic's, or the only one that runs."""
    found = [one for one in now if not one.is_paused and mechanic in (None, one.mechanic)]
    return _only(book, found, mechanic, "runs")


def _paused(
    book: Book,
    now: Sequence[RunningClock],
    mechanic: str | None,
    tag: str | None,
    what: str = "is paused",
) -> RunningClock:
    """Give the paused clock that is meant: of several of one mechanic, the last paused."""
    from ledger.clocks import paused

    bike = None if tag is None else _bike(tag)
    found = [one for one in now if one.is_paused and mechanic in (None, one.mechanic)]
    found = [one for one in found if bike in (None, one.bike)]
    if len({one.mechanic for one in found}) == 1:
        return next(one for one in paused(found, found[0].mechanic))
    return _only(book, found, mechanic, what)


def _only(
    book: Book, found: Sequence[RunningClock], mechanic: str | None, what: str
) -> RunningClock:
    from ledger.clocks import ClockRefused

    if len(found) == 1:
        return found[0]
    whose = "No clock" if mechanic is None else f"No clock of {mechanic}"
    if not found:
        raise ClockRefused(f"{whose} {what}. Who is on what: lockring clock")
    several = ", ".join(sorted({one.mechanic for one in found}))
    raise WrongUse(f"More than one clock {what}: say whose with --mechanic ({several}).")
