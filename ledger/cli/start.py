"""`init` and `demo`: a new book, and one to look around in."""

from __future__ import annotations

import os
import re
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

import typer

from ledger.cli.options import DEFAULT_BOOK, AsJson
from ledger.cli.output import say, say_json
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from ledger.book import Book

Currency = Annotated[str, typer.Option(help="The ISO 4217 code prices are in, such as EUR.")]
TimeZone = Annotated[
    str | None, typer.Option(help="An IANA time zone, such as Europe/Lisbon; else this machine's.")
]


def init(
    path: Annotated[
        Path, typer.Argument(help="The folder to make, or s3://bucket/name; ./book if not given.")
    ] = DEFAULT_BOOK,
    shop: Annotated[str, typer.Option(help="A short code: lower-case letters, digits, -.")] = (
        "shop"
    ),
    name: Annotated[str | None, typer.Option(help="The name on reports; the code if none.")] = None,
    currency: Currency = "EUR",
    time_zone: TimeZone = None,
    locale: Annotated[str, typer.Option(help="How numbers are written, such as en or pt.")] = "en",
    mechanic: Annotated[
        str | None, typer.Option(help="Registers the first who may record, by an id such as m1.")
    ] = None,
    region: Annotated[
        str | None,
        typer.Option(help="Where the shop is, such as north: to hold several shops side by side."),
    ] = None,
    as_json: AsJson = False,
) -> None:
    """Make a new, empty book.

    Examples:
    $ lockring init --mechanic m1
    $ lockring init ./quay --shop quay --name "Quay Bikes"
      --currency EUR --time-zone Europe/Lisbon --mechanic m1
    """
    from ledger.book import Book
    from ledger.cli.drafts import checked_ref
    from ledger.storage.address import written

    if mechanic is not None:
        checked_ref("--mechanic", mechanic)
    if region is not None:
        _check_region(region, mechanic)
    zone = time_zone or machine_zone()
    book = Book.init(
        path, shop=shop, name=name or shop, currency=currency, time_zone=zone, locale=locale
    )
    if mechanic is not None:
        _register(book, mechanic, region)
    where = written(path)
    if as_json:
        say_json({"book": where, "shop": shop, "time_zone": zone, "mechanic": mechanic})
        return
    _say_made(where, zone, mechanic)


def _say_made(where: str, zone: str, mechanic: str | None) -> None:
    say(f"Made a new book in {where}, with times in {zone}.")
    if mechanic is not None:
        say(f"{mechanic} may record.")
    else:
        say("Next, say who may record:")
        say(f"  lockring record mechanic_registered --set mechanic=m1 --book {where}")


def _check_region(region: str, mechanic: str | None) -> None:
    """Raise WrongUse for what no region can be called, or that nobody is there to record."""
    if re.fullmatch(r"[a-z][a-z0-9_]{0,47}", region) is None:
        raise WrongUse(
            f"--region: {region!r} is no region. Use small letters, digits and _, from a letter on."
        )
    if mechanic is None:
        raise WrongUse("--region is recorded by somebody: say by whom with --mechanic.")


def _register(book: Book, mechanic: str, region: str | None) -> None:
    data: dict[str, Any] = {"mechanic": mechanic, "role": "owner"}
    drafts = [{"kind": "mechanic_registered", "actor": mechanic, "data": data}]
    if region is not None:
        data = {"from_on": _today(book), "region": region}
        drafts.append({"kind": "terms_set", "actor": mechanic, "data": data})
    book.append(drafts)


def _today(book: Book) -> str:
    return book.settings.local(datetime.now(UTC)).date().isoformat()


def machine_zone() -> str:
    """Give this machine's IANA time zone; UTC where it does not say."""
    local = Path("/etc/localtime")
    named = os.environ.get("TZ", "").lstrip(":") or str(local.resolve())
    named = named.partition("zoneinfo/")[2] or named
    try:
        ZoneInfo(named)
    except (ValueError, OSError, ZoneInfoNotFoundError):
        return "UTC"
    return named
