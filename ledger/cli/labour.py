"""`labour`: minutes against quote, by tier, task, month and kind of bike; one job step by step."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Literal

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
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.cli.labour_forms import Asked
    from ledger.figures.labour import BookLabour

By = Annotated[
    Literal["tier", "task", "month", "kind"] | None,
    typer.Option(help="A row for each tier, task, month or kind of bike.", show_default="tier"),
]
Jobs = Annotated[
    bool, typer.Option("--jobs", help="List the jobs, the furthest over their quote first.")
]
Key = Annotated[
    str | None,
    typer.Option(help="Only the jobs behind this row of --by; none for where it is not told."),
]
OneJob = Annotated[
    str | None, typer.Option("--job", help="Show one job, from quoted to actual, step by step.")
]

OfBike = Annotated[
    str | None, typer.Option("--bike", help="With --job: whose, where several have the name.")
]


def labour(
    by: By = None,
    since: Since = None,
    until: Until = None,
    jobs: Jobs = False,
    key: Key = None,
    job: OneJob = None,
    bike: OfBike = None,
    csv: CsvFile = None,
    xlsx: XlsxFile = None,
    replace: Replace = False,
    limit: Limit = None,
    as_at: AsAt = None,
    as_known: AsKnown = None,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Show the minutes jobs took against what was quoted.

    Of the jobs closed in a period: by how much they ran over, what that
    cost against the standard, what an hour brought in, what was found late.

    Examples:
    $ lockring labour
    $ lockring labour --by task --since 2026-01-01
    $ lockring labour --by month --json
    $ lockring labour --jobs --limit 5
    $ lockring labour --xlsx labour.xlsx
    """
    files = files_asked(csv, xlsx, replace=replace, as_json=as_json)
    period = period_asked(since, until)
    _refuse_mixtures(job, bike, by=by, key=key, since=since, until=until, jobs=jobs or None)
    book = open_book(book_path)
    when = when_asked(book, as_at, as_known)
    from ledger.cli.labour_forms import Asked
    from ledger.cli.readied import minutes_ready
    from ledger.figures.labour import labour_of

    row = None if key is None else (key_asked(key),)
    shown = most(limit, is_all=as_json or files.is_any)
    asked = Asked(by or "tier", jobs or row is not None, row, shown)
    minutes_ready(book, when[1])
    with progress("Adding up the minutes"):
        found = labour_of(book, *period, *when, asker=OWNER)
        if job is None:
            _check_key(found, asked)
    if job is None:
        _show(book, found, asked, files, as_json=as_json)
    else:
        _show_job(book, found, job, bike, files, as_json=as_json)


def _refuse_mixtures(job: str | None, bike: str | None, **asked: object) -> None:
    """Raise WrongUse where one job is asked for and something of a period too."""
    if bike is not None and job is None:
        raise WrongUse("--bike goes with --job: which job of that bike?")
    given = [f"--{name}" for name, value in asked.items() if value is not None]
    if job is not None and given:
        raise WrongUse(f"--job shows one job whole: leave out {', '.join(given)}.")


def _check_key(found: BookLabour, asked: Asked) -> None:
    for key in asked.row or ():
        known = [row.key for row in found.by(asked.by)]
        refuse_unknown("--key", key, known, f"row by {asked.by}")


def _show(book: Book, found: BookLabour, asked: Asked, files: Files, *, as_json: bool) -> None:
    from ledger.cli import labour_forms, labour_page

    if as_json:
        say_json(labour_forms.labour_json(book, found, asked))
    elif files.is_any:
        write_files(
            files,
            lambda: labour_forms.table(book, found, asked),
            lambda: labour_forms.tables(book, found, asked),
        )
    else:
        labour_page.say_labour(book, found, asked)


def _show_job(
    book: Book, found: BookLabour, job: str, bike: str | None, files: Files, *, as_json: bool
) -> None:
    from ledger.cli import labour_forms, labour_page
    from ledger.cli.bikes import tag_named

    one = found.waterfall(job, None if bike is None else tag_named(book, bike))
    if as_json:
        say_json(labour_forms.job_json(book, found, one))
    elif files.is_any:
        tables = labour_forms.job_tables(book, one)
        write_files(files, lambda: tables[-1], lambda: tables)
    else:
        labour_page.say_job(book, one)
