"""The options several commands share, so that they read the same everywhere."""

from __future__ import annotations

import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ledger.errors import NoBook, Unreachable, WrongUse

if TYPE_CHECKING:
    from datetime import datetime

    from ledger.book import Book
    from ledger.settings import BookSettings
    from ledger.shops import Shops
    from ledger.storage.line import Silence

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
BookPaths = Annotated[
    list[Path] | None,
    typer.Option(
        "--book",
        help="The book; or several: the option again, a folder of books, a pattern such as "
        "'books/*', s3://bucket/prefix. LOCKRING_BOOK says the same.",
        show_default="book",
    ),
]
SEVERAL = ("state", "history", "bikes", "fitted-where", "shops", "compare")
"""The commands that take several books; all others take one."""

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

    try:
        book = Book.open(path)
    except NoBook:
        refuse_several(path)
        raise
    book.home.when_silent(lambda silence: warn(words_of(silence, book.settings)))
    if damaged := [one.event for one in book.home.damaged()]:
        more = f" and {len(damaged) - 3} more" if len(damaged) > 3 else ""
        warn(
            f"Damaged in the register, and read as not in it: {', '.join(damaged[:3])}{more}. See "
            "what is wrong: lockring verify. Put it back from a backup; a rider who is not to be "
            "kept goes with lockring forget."
        )
    return book


def refuse_several(path: Path) -> None:
    """Raise WrongUse where a path leads to books, with their names, and is none itself."""
    from contextlib import suppress

    from ledger.shops.places import places_of
    from ledger.storage.address import written

    with suppress(NoBook, Unreachable):
        found = [written(place) for place in places_of([path])]
        more = f" and {len(found) - 3} more" if len(found) > 3 else ""
        raise WrongUse(
            f"This takes one book, and {written(path)} means {', '.join(found[:3])}{more}. Name "
            f"one with --book. Several at once are for: {', '.join(SEVERAL)}."
        )


def books_asked(paths: Sequence[Path] | None) -> Sequence[Path]:
    """Give where the book or books are that --book means, else LOCKRING_BOOK, else ./book."""
    told = os.environ.get("LOCKRING_BOOK")
    return list(paths or ()) or [Path(told) if told else DEFAULT_BOOK]


def one_book(paths: Sequence[Path] | None) -> Path | None:
    """Give the one book that is meant; None where several may be: by a pattern, or by a folder."""
    asked = books_asked(paths)
    if len(asked) > 1:
        return None
    from ledger.shops.places import is_one_book

    return asked[0] if is_one_book(asked[0]) else None


@contextmanager
def shops_open(paths: Sequence[Path] | None) -> Iterator[Shops]:
    """Open several books; those that cannot be read are named at the end, with exit code 1."""
    from ledger.cli.output import warn
    from ledger.home import words_of
    from ledger.shops import open_shops

    shops = open_shops(books_asked(paths))

    def tell(settings: BookSettings, silence: Silence) -> None:
        warn(f"{settings.shop}: {words_of(silence, settings)}")

    for book in shops.books.values():
        book.home.when_silent(partial(tell, book.settings))
    try:
        yield shops
    finally:
        for failure in shops.failures:
            warn(f"Not in this answer: {failure.place}. {failure.why}")
    if shops.failures:
        raise typer.Exit(1)


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
