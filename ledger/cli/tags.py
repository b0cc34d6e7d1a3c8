"""`tags`: bike tags as QR labels to print."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import typer

from ledger.cli.options import DEFAULT_BOOK, AsJson, BookPath, open_book
from ledger.cli.output import say, say_json
from ledger.cli.outputs import Force, Out, check_out, write_out
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from ledger.book import Book

MOST_NEW = 2_000


def tags(
    out: Out,
    named: Annotated[
        list[str] | None, typer.Argument(help="Tags of bikes in the book.", metavar="[TAG]...")
    ] = None,
    new: Annotated[
        int, typer.Option(help="Besides, so many tags that no bike has yet.", min=0, max=MOST_NEW)
    ] = 0,
    sheet: Annotated[
        str, typer.Option(help="Columns and rows of the sheet: 2x7, 3x7, 3x8, 4x10 or 5x13.")
    ] = "3x8",
    address: Annotated[
        str | None,
        typer.Option(help="Of the dashboard: each code is a link to the bench there."),
    ] = None,
    first: Annotated[
        int, typer.Option(help="The label to begin at, on a sheet used in part.", min=1)
    ] = 1,
    lines: Annotated[
        bool, typer.Option("--lines", help="Print lines to cut along, for plain paper.")
    ] = False,
    force: Force = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Print bike tags as QR labels, on A4 sheets.

    Print at full size ("actual size", not "fit to page"). A new tag is a bike's only once it is
    registered under it.

    Examples:
    $ lockring tags 7K3M9QXA --out tags.pdf
    $ lockring tags --new 24 --sheet 3x8 --out new-tags.pdf
    $ lockring tags --new 14 --sheet 2x7 --address https://bench.example --out links.pdf
    """
    _check(out, is_named=bool(named or new), as_json=as_json)
    check_out(out, is_replacing=force)
    from datetime import UTC, datetime

    from ledger.cli.receipt import count_words
    from ledger.reports.tags import labels_of, tags_pdf

    chosen = _chosen(open_book(book_path), named or [], new)
    labels = labels_of(chosen, sheet, address, first=first, has_lines=lines)
    is_file = write_out(out, tags_pdf(labels, datetime.now(UTC)))
    if as_json:
        say_json({"tags": chosen, "sheet": sheet, "address": labels.address, "out": out})
    elif is_file:
        say(f"Wrote {count_words(len(chosen), 'label')} {labels.sheet.words} to {out}.")


def _check(out: str, *, is_named: bool, as_json: bool) -> None:
    if not is_named:
        raise WrongUse("Name tags, or ask for new ones with --new 24.")
    if out == "-" and as_json:
        raise WrongUse("--json and --out - both want stdout: choose one.")


def _chosen(book: Book, named: list[str], new: int) -> list[str]:
    """Give the named tags as they are stored, each once, and so many new ones."""
    from ledger.cli.bikes import tag_named
    from ledger.reports.tags import new_tags

    known = list(dict.fromkeys(tag_named(book, text) for text in named))
    return [*known, *new_tags(new, book.new_tag)]
