"""`faults`: what comes back after it was put right, what that takes, and how sure it is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

import typer

from ledger.asking import OWNER
from ledger.cli.options import DEFAULT_BOOK, AsAt, AsJson, AsKnown, BookPath, open_book, when_asked
from ledger.cli.output import progress, say_json
from ledger.cli.readied import faults_ready
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from datetime import datetime

    from ledger.book import Book
    from ledger.cli.faults_forms import Asked
    from ledger.figures.come_backs import WindowAsked

LONGEST_DAYS, LONGEST_KM = 3650, 100_000
FEW = 15
"""Rows of a table that are listed for people who did not say how many."""

By = Annotated[
    Literal["fault", "position", "system", "model", "tier"] | None,
    typer.Option(help="What the come-backs are counted by.", show_default="fault"),
]
Measure = Annotated[
    Literal["count", "minutes", "cost"] | None,
    typer.Option(
        help="What comes first: come-backs, minutes nobody paid for, or their cost.",
        show_default="count",
    ),
]
WindowDays = Annotated[
    int | None,
    typer.Option(
        help="Found again within so many days counts as come back, for every fault; "
        "without --window-km, or within its own km.",
        min=0,
        max=LONGEST_DAYS,
        show_default="the shop's own",
    ),
]
WindowKm = Annotated[
    int | None,
    typer.Option(
        help="Within so many km likewise; without --window-days, or within its own "
        "days. Of both, what ends later.",
        min=0,
        max=LONGEST_KM,
        show_default="the shop's own",
    ),
]


Limit = Annotated[
    int | None,
    typer.Option(
        help="At most so many rows of a table; 0 for all.",
        min=0,
        show_default=f"{FEW}; all with --json",
    ),
]

HowSure = Annotated[
    bool,
    typer.Option("--how-sure", help="Also curves, trends, rates, funnels and prevention."),
]
ForOwner = Annotated[
    bool,
    typer.Option(
        "--for-owner", help="Also whose repairs hold, and who did them: mechanic by mechanic."
    ),
]


def faults(
    tag: Annotated[
        str | None, typer.Argument(help="A bike tag; all bikes if none.", metavar="[TAG]")
    ] = None,
    by: By = None,
    measure: Measure = None,
    limit: Limit = None,
    window_days: WindowDays = None,
    window_km: WindowKm = None,
    how_sure: HowSure = False,
    for_owner: ForOwner = False,
    as_at: AsAt = None,
    as_known: AsKnown = None,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Show what came back after it was put right; with TAG, a bike's faults.

    A fault found again at the same place of the same bike, with the same
    cause as far as causes are told, came back if that was within its
    window after it was put right.

    Examples:
    $ lockring faults
    $ lockring faults 7K3M9QXA
    $ lockring faults --by system --measure minutes --how-sure
    $ lockring faults --window-days 30 --window-km 300 --json
    """
    from ledger.cli import faults_forms, faults_page
    from ledger.figures.faults import faults_of

    book = open_book(book_path)
    window = _window(window_days, window_km)
    when = when_asked(book, as_at, as_known)
    if tag is not None:
        _refuse_of_all(by=by, measure=measure, how_sure=how_sure or None)
        asked = faults_forms.Asked(None, how_sure, for_owner, as_known is not None)
        _bike(book, tag, when, window, asked, as_json=as_json)
        return
    asked = faults_forms.Asked(
        _most(limit, as_json=as_json), how_sure, for_owner, as_known is not None
    )
    if when == (None, None):
        faults_ready(book)
    with progress("Matching what was found again"):
        found = faults_of(book, *when, window=window, asker=OWNER)
        told = found.pareto(by or "fault", measure or "count")
    if as_json:
        say_json(faults_forms.faults_json(found, told, asked))
    else:
        faults_page.say_faults(found, told, asked)


def _most(limit: int | None, *, as_json: bool) -> int | None:
    """Give how many rows of a table are asked for; None for all."""
    return FEW if limit is None and not as_json else limit or None


def _refuse_of_all(**asked: object) -> None:
    """Raise WrongUse where something was asked that one bike alone does not tell."""
    given = [f"--{name.replace('_', '-')}" for name, value in asked.items() if value is not None]
    if given:
        raise WrongUse(f"{', '.join(given)}: of all bikes; leave out the tag.")


def _window(days: int | None, km: int | None) -> WindowAsked | None:
    """Give the window asked for; an end not given is each fault's own. Raises WrongUse."""
    if days == 0 and km == 0:
        raise WrongUse("A window of 0 days and 0 km holds nothing: give one of them above 0.")
    if 0 in (days, km) and None in (days, km):
        zero, other = ("days", "km") if days == 0 else ("km", "days")
        raise WrongUse(
            f"--window-{zero} 0 leaves {other} alone to count: say how many with --window-{other}."
        )
    from ledger.figures.fault_words import window_asked

    return window_asked(days, km)


def _bike(
    book: Book,
    tag: str,
    when: tuple[datetime | None, int | None],
    window: WindowAsked | None,
    asked: Asked,
    *,
    as_json: bool,
) -> None:
    from ledger.cli import faults_forms, faults_page
    from ledger.cli.bikes import tag_named
    from ledger.figures.fault_bike import bike_faults

    found = bike_faults(book, tag_named(book, tag), *when, window=window, asker=OWNER)
    if as_json:
        say_json(faults_forms.bike_json(found, for_owner=asked.for_owner))
    else:
        faults_page.say_bike(book, found, asked)
