"""`compact`: many small files of the book become few, and read the same."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Annotated

import typer

from ledger.cli.options import DEFAULT_BOOK, AsJson, BookPath, open_book
from ledger.cli.output import progress, say, say_json, warn

if TYPE_CHECKING:
    from ledger.book import Book


def compact(
    now: Annotated[
        bool,
        typer.Option(
            "--now",
            help="Take the merged files away at once, not a day later. Who reads meanwhile may "
            "have to look again.",
        ),
    ] = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Merge old commits into larger files. The book reads the same, faster and smaller.

    Recording does this too, a little at a time. Others may read and record meanwhile. What the
    book is then is signed, and added to witness.txt.

    Examples:
    $ lockring compact
    $ lockring compact --now
    """
    from ledger.cli.receipt import count_words
    from ledger.proofs.make import signed_root
    from ledger.storage.compaction import GRACE

    book = open_book(book_path)
    before = len(book.files())
    with progress("Merging files", before) as tell:
        done = book.compact(grace=timedelta(0) if now else GRACE, tell=tell)
    if done.segments:
        signed_root(book)
    _pack(book)
    after = len(book.files())
    if as_json:
        made, removed, left = done.segments, done.removed, done.left
        say_json(
            {"files_before": before, "files_after": after, "segments": list(made),
             "removed": list(removed), "left": list(left)}
        )  # fmt: skip
    elif done.segments:
        say(f"The book is read from {count_words(after, 'file')}; before, from {before:,}.")
    else:
        say(f"Nothing to merge: the book is read from {count_words(after, 'file')}.")
    if done.removed and not as_json:
        say(f"Taken away, as larger files hold them too: {count_words(len(done.removed), 'file')}.")
    for name in done.left:
        warn(
            f"{name} was left where it is: it does not hold what the larger file over it holds. "
            "Nobody reads it; it may be from a recording that was broken off. Move it out of the "
            "book if `lockring verify` finds nothing else."
        )


def _pack(book: Book) -> None:
    with progress("Laying each bike's events together") as tell:
        book.pack(tell)
