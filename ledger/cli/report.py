"""`report`: the page that is handed to the rider."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Annotated, Any

import typer

from ledger.cli.options import DEFAULT_BOOK, AsJson, BookPath, Tag, open_book
from ledger.cli.output import say, say_json, warn
from ledger.cli.outputs import Force, check_out, write_out
from ledger.errors import WrongUse

MOST_NAMED = 12
"""Letters that could not be printed and are named; beyond them it is told that there are more."""


def _texts(value: Any) -> Iterator[str]:
    """Give every text in plain JSON types, keys left out."""
    if isinstance(value, str):
        yield value
    elif isinstance(value, (list, dict)):
        for each in value.values() if isinstance(value, dict) else value:
            yield from _texts(each)


def report(
    tag: Tag,
    out: Annotated[
        str | None, typer.Option("--out", help="The PDF to write; - for stdout.", metavar="FILE")
    ] = None,
    job: Annotated[
        str | None, typer.Option(help="Of this job; of the bike's newest if not given.")
    ] = None,
    force: Force = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Make the rider's page of a visit: one A4 sheet, as PDF.

    What was found, measured, fitted, set, advised and answered, what is due next, and a receipt
    of the book. No cost and nobody's minutes are in it.

    Examples:
    $ lockring report 7K3M9QXA --out page.pdf
    $ lockring report 7K3M9QXA --job J-1 --json
    """
    if out is None and not as_json:
        raise WrongUse("Give the file to write with --out, such as --out page.pdf.")
    if out is not None:
        check_out(out, is_replacing=force)
    if out == "-" and as_json:
        raise WrongUse("--json and --out - both want stdout: choose one.")
    from ledger.cli.bikes import tag_named
    from ledger.reports import report_of
    from ledger.view import plain_value

    book = open_book(book_path)
    found = report_of(book, tag_named(book, tag), job)
    if out is not None:
        from ledger.reports import report_pdf
        from ledger.reports.glyphs import MISSING, not_printable

        missing = not_printable("".join(_texts(plain_value(found))))
        if missing:
            warn(
                f"Warning: the page's letters do not include {', '.join(missing[:MOST_NAMED])}"
                f"{' and others' if len(missing) > MOST_NAMED else ''}: each is printed as "
                f"{MISSING}. Write what the rider has to read in other letters too."
            )
        is_file = write_out(out, report_pdf(found))
        if is_file and not as_json:
            say(f"Wrote the page of {found.name}, {found.bike}, job {found.job}, to {out}.")
    if as_json:
        say_json(plain_value(found))
