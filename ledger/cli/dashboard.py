"""`dashboard`: the pages over a book, in a browser on this machine or in its network."""

from __future__ import annotations

from importlib import import_module
from pathlib import Path
from typing import Annotated

import typer

from ledger.cli.options import DEFAULT_BOOK, BookPath, open_book
from ledger.errors import WrongUse


def dashboard(
    port: Annotated[int, typer.Option(help="The port.", min=1, max=65535)] = 8501,
    sign_in: Annotated[
        bool, typer.Option("--sign-in", help="Ask who it is on this machine too.")
    ] = False,
    lan: Annotated[
        bool, typer.Option("--lan", help="Let the network in; everybody must sign in.")
    ] = False,
    address: Annotated[
        str | None, typer.Option(help="With --lan: the one address of this machine to listen on.")
    ] = None,
    host: Annotated[
        list[str] | None,
        typer.Option(help="With --lan: a name browsers reach it by; repeat for several."),
    ] = None,
    certificate: Annotated[
        Path | None, typer.Option(help="A TLS certificate (PEM): https, so nobody reads along.")
    ] = None,
    key: Annotated[Path | None, typer.Option(help="The certificate's private key (PEM).")] = None,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Show the book in a browser: on this machine, or with --lan in its network.

    With --lan, or --sign-in, everybody signs in with a PIN or through a provider, and sees what
    their role does. Enter people first: lockring people add.

    Examples:
    $ lockring dashboard
    $ lockring dashboard --book ./quay --port 8600
    $ lockring dashboard --lan --certificate quay.pem --key quay.key
    """
    if not lan and (address or host):
        raise WrongUse("--address and --host go with --lan.")
    for path in (certificate, key):
        if path is not None and not path.is_file():
            raise WrongUse(f"{path} is no file. Give the path of a PEM file.")
    book = open_book(book_path)
    # By name, since the pages lie outside the ledger and its imports only point inwards.
    launch = import_module("dashboard.launch")
    names = (*(host or ()), *launch.own_names()) if lan else ()
    reach = launch.Reach(
        address=(address or launch.EVERYWHERE) if lan else launch.ADDRESS,
        is_sign_in=lan or sign_in,
        hosts=(*names, address) if address else names,
        certificate=certificate,
        key=key,
    )
    launch.start(book.path, port=port, reach=reach)
