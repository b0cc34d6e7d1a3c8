"""`foresee`: minutes and a price for a job not done yet; and whether to service or replace."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.asking import OWNER
from ledger.cli.options import DEFAULT_BOOK, AsAt, AsJson, AsKnown, BookPath, open_book, when_asked
from ledger.cli.output import progress, say_json
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from ledger.book import Book

When = tuple[datetime, int]

Tag = Annotated[
    str | None,
    typer.Argument(help="A bike tag: its kind and age are taken.", metavar="[TAG]"),
]
Tier = Annotated[str | None, typer.Option(help="A tier, with the tasks the terms tell of it.")]
Tasks = Annotated[
    list[str] | None,
    typer.Option(
        "--task",
        help="A task, with its planned minutes if they are not the usual: brakes or brakes=45. "
        "Repeat it; with --tier they come on top.",
        metavar="TASK[=MINUTES]",
    ),
]
Kind = Annotated[str | None, typer.Option(help="The kind of bike, such as cargo.")]
IsOld = Annotated[
    bool | None,
    typer.Option("--old/--not-old", help="Whether it came with a history nobody knows."),
]
Years = Annotated[float | None, typer.Option(help="How many years old the bike is.", min=0)]
Risk = Annotated[
    float, typer.Option(help="The chance you take that the price is not enough: 0.01 to 0.99.")
]
Price = Annotated[
    str | None,
    typer.Option(help="What would be charged for the labour, net: how likely it is too little."),
]
Position = Annotated[
    str | None,
    typer.Option(help="With TAG: service what is fitted here, or replace it?"),
]
Backtest = Annotated[
    bool, typer.Option("--backtest", help="Score how such forecasts would have fared.")
]


def foresee(
    tag: Tag = None,
    tier: Tier = None,
    task: Tasks = None,
    kind: Kind = None,
    is_old: IsOld = None,
    years: Years = None,
    risk: Risk = 0.2,
    price: Price = None,
    position: Position = None,
    test: Backtest = False,
    as_at: AsAt = None,
    as_known: AsKnown = None,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Foresee the minutes and price of a planned job, or of a part's km.

    Says the minutes not passed in half of such jobs (P50) and in four of
    five (P80), a price at the risk you take, and whether today's bench
    has room. With --position: servicing a part against replacing it.

    Examples:
    $ lockring foresee --task drivetrain=60 --task brakes=45 --kind cargo
    $ lockring foresee 7K3M9QXA --task chain=15 --risk 0.1 --price 60
    $ lockring foresee --task gears=30 --years 6 --json
    $ lockring foresee --backtest
    """
    plan = {"--tier": tier, "--task": task, "--kind": kind, "--old": is_old, "--years": years,
            "--price": price}  # fmt: skip
    _refuse_mixtures(tag, position, [name for name, one in plan.items() if one is not None],
                     is_test=test)  # fmt: skip
    book = open_book(book_path)
    from ledger.queries import asked_of

    meant = asked_of(book, *when_asked(book, as_at, as_known))
    when = (meant.as_at, meant.known_seq)
    if test:
        _calibration(book, when, as_json=as_json)
    elif position is not None and tag is not None:
        _service_or_replace(book, tag, position, when, as_json=as_json)
    else:
        of_bike = {"bike_kind": kind, "is_old": is_old, "years": years}
        _forecast(book, tag, when, {"tier": tier, "risk": risk, **of_bike}, task, price,
                  as_json=as_json)  # fmt: skip


def _refuse_mixtures(
    tag: str | None, position: str | None, plan: list[str], *, is_test: bool
) -> None:
    """Raise WrongUse where two of the three things this tells are asked for, or none."""
    asked = [*plan, *(["TAG"] if tag else []), *(["--position"] if position else [])]
    if is_test:
        if asked:
            raise WrongUse(f"--backtest is of the whole book: leave out {', '.join(asked)}.")
        return
    if position is not None:
        if tag is None:
            raise WrongUse("--position goes with a tag: lockring foresee TAG --position chain.")
        if plan:
            raise WrongUse(f"--position is of one part: leave out {', '.join(plan)}.")
        return
    if not {"--tier", "--task"} & set(plan):
        raise WrongUse("Say what is planned, with --tier or --task; or give TAG and --position.")


def _forecast(
    book: Book,
    tag: str | None,
    when: When,
    asked: dict[str, Any],
    task: list[str] | None,
    price: str | None,
    *,
    as_json: bool,
) -> None:
    from ledger.cli import foresee_forms, foresee_page
    from ledger.cli.bikes import tag_named
    from ledger.cli.readied import minutes_ready
    from ledger.figures.foresee import foresee as foreseen

    bike = None if tag is None else tag_named(book, tag)
    tasks = foresee_forms.tasks_asked(task or ())
    price_minor = None if price is None else foresee_forms.minor_asked(book, price)
    minutes_ready(book, when[1])
    with progress("Foreseeing the minutes"):
        found = foreseen(book, bike=bike, tasks=tasks or None, price_minor=price_minor,
                         as_at=when[0], known_seq=when[1], asker=OWNER, **asked)  # fmt: skip
    if as_json:
        say_json(foresee_forms.foreseen_json(book, when, found))
    else:
        foresee_page.say_forecast(book, found)


def _calibration(book: Book, when: When, *, as_json: bool) -> None:
    from ledger.cli import foresee_forms, foresee_page
    from ledger.cli.readied import minutes_ready
    from ledger.figures.foresee import calibration

    minutes_ready(book, when[1])
    with progress("Foretelling past jobs from what was known before", is_long=True):
        found = calibration(book, *when, asker=OWNER)
    if as_json:
        say_json(foresee_forms.foreseen_json(book, when, found))
    else:
        foresee_page.say_calibration(book, found)


def _service_or_replace(book: Book, tag: str, position: str, when: When, *, as_json: bool) -> None:
    from ledger.cli import foresee_forms, foresee_page
    from ledger.cli.bikes import tag_named
    from ledger.figures.foresee import service_or_replace

    with progress("Weighing a service against a new part"):
        found = service_or_replace(book, tag_named(book, tag), position, *when, asker=OWNER)
    if as_json:
        say_json(foresee_forms.foreseen_json(book, when, found))
    else:
        foresee_page.say_service_or_replace(book, found)
