"""`dashboard`: the pages over a book, in a browser on this machine."""

from __future__ import annotations

from importlib import import_module
from typing import Annotated

import typer

from ledger.cli.options import DEFAULT_BOOK, BookPath, open_book


def dashboard(
    port: Annotated[int, typer.Option(help="The port on 127.0.0.1.", min=1, max=65535)] = 8501,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Show the book in a browser, on this machine only.

    Examples:
    $ lockring dashboard
    $ lockring dashboard --book ./quay --port 8600
    """
    open_book(book_path)
    # By name, since the pages lie outside the ledger and its imports only point inwards.
    import_module("dashboard.launch").start(book_path, port=port)
