"""The options several commands share, so that they read the same everywhere."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ledger.errors import WrongUse

if TYPE_CHECKING:
    from datetime import datetime

    from ledger.book import Book

BookPath = Annotated[
    Path,
    typer.Option(
        "--book",
        envvar="LOCKRING_BOOK",
        help="The book: a folder, or s3://bucket/name.",
        show_default=True,
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
    """Open the book at a path or address; raises NoBook, BookDamaged, Unreachable.

    Where a store does not answer, it is said on stderr, once, what is read instead.
    """
    from ledger.book import Book
    from ledger.cli.output import warn
    from ledger.home import words_of

    book = Book.open(path)
    book.home.when_silent(lambda silence: warn(words_of(silence, book.settings)))
    if damaged := [one.event for one in book.home.damaged()]:
        more = f" and {len(damaged) - 3} more" if len(damaged) > 3 else ""
        warn(
            f"Damaged in the register, and read as not in it: {', '.join(damaged[:3])}{more}. See "
            "what is wrong: lockring verify. Put it back from a backup; a rider who is not to be "
            "kept goes with lockring forget."
        )
    return book


def when_asked(
    book: Book, as_at: str | None, as_known: str | None = None
) -> tuple[datetime | None, int | None]:
    """Give the instant and the seq that --as-at and --as-known mean; raises WrongUse."""
    from ledger.cli.drafts import instant

    at = instant(book, as_at) if as_at is not None else None
    if as_known is None:
        return at, None
    try:
        return at, book.known_seq(as_known)
    except ValueError as error:
        raise WrongUse(f"--as-known: {error}, or a seq.") from None
