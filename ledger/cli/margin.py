"""`margin`: what each tier earns, what it would have to be charged, and how the bench is sold."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ledger.asking import OWNER
from ledger.cli.labour_options import (
    CsvFile,
    Files,
    Limit,
    Replace,
    Since,
    Until,
    XlsxFile,
    files_asked,
    key_asked,
    most,
    period_asked,
    refuse_unknown,
    write_files,
)
from ledger.cli.options import DEFAULT_BOOK, AsAt, AsJson, AsKnown, BookPath, open_book, when_asked
from ledger.cli.output import progress, say_json

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.cli.margin_forms import Asked
    from ledger.figures.margin import BookMargin

Months = Annotated[bool, typer.Option("--months", help="Also a row for each month of closing.")]
WhatIf = Annotated[
    list[str] | None,
    typer.Option(
        help="What margins would be with a tier's price or minutes other, such as "
        "full_service:price=+5%,minutes=-10%. Repeat it for other tiers.",
        metavar="CHANGE",
    ),
]
IsCapacity = Annotated[
    bool, typer.Option("--capacity", help="Also bench hours sold against open, and work ahead.")
]
IsHeld = Annotated[bool, typer.Option("--held", help="Also days held, and for what.")]
IsDearer = Annotated[
    bool, typer.Option("--dearer", help="Also advice not taken that came back dearer.")
]
JobsOf = Annotated[
    str | None,
    typer.Option(
        "--jobs", help="Also the jobs of this tier, the least margin first.", metavar="TIER"
    ),
]


def margin(
    months: Months = False,
    what_if: WhatIf = None,
    capacity: IsCapacity = False,
    held: IsHeld = False,
    dearer: IsDearer = False,
    jobs: JobsOf = None,
    since: Since = None,
    until: Until = None,
    csv: CsvFile = None,
    xlsx: XlsxFile = None,
    replace: Replace = False,
    limit: Limit = None,
    as_at: AsAt = None,
    as_known: AsKnown = None,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Show what each tier earns, beside what an hour has to bring in.

    Of the jobs closed in a period, net of tax; with what come-backs took
    unpaid in the tier that caused it. A tier without a name is `none`.

    Examples:
    $ lockring margin
    $ lockring margin --months --capacity
    $ lockring margin --held --dearer --since 2026-01-01
    $ lockring margin --csv tiers.csv --xlsx margin.xlsx
    $ lockring margin --json
    """
    from ledger.cli.margin_asked import changes_asked

    files = files_asked(csv, xlsx, replace=replace, as_json=as_json)
    period, changes = period_asked(since, until), changes_asked(what_if or ())
    from ledger.cli.margin_forms import PARTS, Asked

    chosen = dict(zip(PARTS, (months, capacity, held, dearer), strict=True))
    parts = tuple(name for name, is_asked in chosen.items() if is_asked)
    behind = None if jobs is None else (key_asked(jobs),)
    asked = Asked(parts, changes, behind, most(limit, is_all=as_json or files.is_any))
    asked.refuse_several(files)
    book = open_book(book_path)
    when = when_asked(book, as_at, as_known)
    from ledger.cli.readied import minutes_ready
    from ledger.figures.margin import margin_of

    minutes_ready(book, when[1])
    with progress("Adding up what was earned"):
        found = margin_of(book, *period, *when, asker=OWNER)
        _check_tiers(found, asked)
    _show(book, found, asked, files, as_json=as_json)


def _check_tiers(found: BookMargin, asked: Asked) -> None:
    """Raise WrongUse for a tier that nothing was closed of."""
    known = [one.tier for one in found.tiers]
    for tier in asked.behind or ():
        refuse_unknown("--jobs", tier, known, "tier")
    for tier in asked.changes.tiers:
        refuse_unknown("--what-if", tier, known, "tier")


def _show(book: Book, found: BookMargin, asked: Asked, files: Files, *, as_json: bool) -> None:
    from ledger.cli import margin_forms, margin_page

    if as_json:
        say_json(margin_forms.margin_json(book, found, asked))
    elif files.is_any:
        write_files(
            files,
            lambda: margin_forms.table(book, found, asked),
            lambda: margin_forms.tables(book, found, asked),
        )
    else:
        margin_page.say_margin(book, found, asked)
