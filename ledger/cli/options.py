"""The options several commands share, so that they read the same everywhere."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from ledger.book import Book

BookPath = Annotated[
    Path,
    typer.Option(
        "--book", envvar="LOCKRING_BOOK", help="The folder of the book.", show_default=True
    ),
]
DEFAULT_BOOK = Path("book")

AsJson = Annotated[bool, typer.Option("--json", help="Print JSON, for other programs.")]
AsAt = Annotated[
    str | None,
    typer.Option(
        help="What was true then: a date (its end), or a date and time in the book's zone."
    ),
]
AsKnown = Annotated[
    str | None,
    typer.Option(help="What the book held then: a date, a date and time, or a seq."),
]
Actor = Annotated[
    str | None,
    typer.Option(
        envvar="LOCKRING_ACTOR", help="Who records: a mechanic's id. Needed if there are several."
    ),
]
ConfirmClock = Annotated[
    bool,
    typer.Option(
        "--confirm-clock", help="The clock is right, though days ahead of the newest commit."
    ),
]
Tag = Annotated[str, typer.Argument(help="A bike tag, such as 7K3M9QXA.", metavar="TAG")]


def open_book(path: Path) -> Book:
    """Open the book at a path; raises NoBook, BookDamaged."""
    from ledger.book import Book

    return Book.open(path)
