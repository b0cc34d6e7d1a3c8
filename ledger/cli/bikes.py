"""Finding a bike: by its tag however it was typed, or by a part of what is known of it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from pydantic import TypeAdapter, ValidationError

from ledger.cli.words import bike_kind_words
from ledger.events.types import BikeTag

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.queries import BikeRow


def tag_named(book: Book, text: str) -> str:
    """Give a tag of the book as it is stored; raises UnknownBike with the nearest ones.

    `shop/tag`, as several books are asked, is a tag of this book where the shop is its own.
    """
    shop, slash, tag = text.strip().rpartition("/")
    if slash and shop == book.settings.shop:
        text = tag
    try:
        tag = TypeAdapter(BikeTag).validate_python(text)
    except ValidationError:
        tag = text.strip().upper()
    book.require_bike(tag)
    return str(tag)


def matching(book: Book, text: str, limit: int = 50) -> list[BikeRow]:
    """Give the bikes whose tag, make, model or rider a text may mean, seen last first."""
    from ledger.cli.people import matching as people
    from ledger.queries import bikes

    wanted = text.strip()
    found = bikes(book, wanted, limit)
    if not wanted:
        return found
    folded = tag_form(wanted)
    searches = [folded] if folded != wanted else []
    searches += [row.rider for row in people(book, wanted)[:20]]
    for search in searches:
        found += bikes(book, search, limit)
    return list({row.bike: row for row in found}.values())[:limit]


def tag_form(text: str) -> str:
    """Give text as a tag would be stored, where it can be one; else as it is."""
    try:
        return str(TypeAdapter(BikeTag).validate_python(text))
    except ValidationError:
        return text


def bike_words(book: Book, row: BikeRow) -> str:
    """Give a bike in a line: its tag, what it is, and who rides it."""
    from ledger.cli.bike_page import person

    kind = bike_kind_words(book.vocabulary, row.bike_kind)
    parts = (row.make, row.model, f"({kind})" if kind else "")
    what = " ".join(part for part in parts if part)
    rider = f"ridden by {person(book, row.rider)}" if row.rider else ""
    return ", ".join(part for part in (row.bike, what, rider) if part)
