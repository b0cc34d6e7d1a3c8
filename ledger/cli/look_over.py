"""`state`, `history` and `bikes` over several shops' books."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ledger.asking import OWNER
from ledger.cli.options import shops_open
from ledger.cli.output import say, say_json, say_table
from ledger.errors import WrongUse

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.queries import BikeRow
    from ledger.shops import Bike, Joined, Shops
    from ledger.shops.looking import ShopsEntry, ShopsView

Paths = Sequence[Path] | None


def state(
    paths: Paths, tag: str, as_at: str | None, as_known: str | None, *, as_json: bool
) -> None:
    """Show one bike as at a date, out of every book it is in."""
    from ledger.cli.bike_page import say_view
    from ledger.shops.joined import joined_in
    from ledger.shops.looking import bike_named, view_over

    with shops_open(paths) as shops:
        asked = shops.asked(as_at, as_known)
        joined = joined_in(shops, asked)
        bike = bike_named(shops, joined, tag)
        found = view_over(shops, joined, asked, bike)
        if as_json:
            say_json({**_view_json(found), "not_read": not_read_json(shops)})
            return
        say(_names_line(found.bikes, shops))
        book = shops.books[bike[0]]
        known = "to event " + ", ".join(f"{seq} of {shop}" for shop, seq in found.known.items())
        say_view(found.view, found.words, book.settings.zone, who_in(shops, book), known)


def _view_json(found: ShopsView) -> dict[str, Any]:
    from ledger.view import view_json

    return {
        **view_json(found.view),
        "as_known": dict(found.known),
        "bikes": names_json(found.bikes),
    }


def names_json(bikes: Sequence[Bike]) -> list[dict[str, str]]:
    """Give what a bike is called as plain JSON types."""
    return [{"shop": shop, "bike": tag} for shop, tag in bikes]


def not_read_json(shops: Shops) -> list[dict[str, str | None]]:
    """Give the books that are not in an answer as plain JSON types."""
    return [{"book": one.place, "shop": one.shop, "why": one.why} for one in shops.failures]


def _names_line(bikes: Sequence[Bike], shops: Shops) -> str:
    said = [
        "/".join(bike) + ("" if bike[0] in shops.books else " (whose book is not here)")
        for bike in bikes
    ]
    return f"Bike {said[0]}" if len(said) == 1 else f"One bike: {', '.join(said)}"


def who_in(shops: Shops, book: Book) -> Callable[[str | None], str]:
    """Give what gives the name of a person of a shop, or of `shop/id`."""
    from ledger.cli.bike_page import person

    def who(rider: str | None) -> str:
        shop, slash, own = (rider or "").partition("/")
        if not slash or shop not in shops.books:
            return person(book, rider)
        return f"{person(shops.books[shop], own)} of {shop}"

    return who


def history(
    paths: Paths,
    tag: str,
    system: str | None,
    as_at: str | None,
    as_known: str | None,
    *,
    ids: bool,
    as_json: bool,
) -> None:
    """Show everything recorded of one bike in any of the books, oldest first."""
    from ledger.cli.look import entry_json
    from ledger.shops.joined import joined_in
    from ledger.shops.looking import bike_named, history_over, words_over

    with shops_open(paths) as shops:
        asked = shops.asked(as_at, as_known)
        joined = joined_in(shops, asked)
        bike = bike_named(shops, joined, tag)
        systems = words_over(
            shops, {shop: asked[shop] for shop, _ in joined.of(bike) if shop in asked}
        ).systems
        if system is not None and system not in systems:
            raise WrongUse(f"--system is one of {', '.join(systems)}.")
        entries = history_over(shops, joined, asked, bike, system=system, asker=OWNER)
        if as_json:
            say_json([{"shop": one.shop, **entry_json(one.entry)} for one in entries])
            return
        say(_names_line(sorted(joined.of(bike)), shops))
        _say_entries(shops, entries, ids=ids)


def _say_entries(shops: Shops, entries: Sequence[ShopsEntry], *, ids: bool) -> None:
    from ledger.cli import words
    from ledger.cli.event_words import Describer

    known = {shop: shops.books[shop].vocabulary for shop in {one.shop for one in entries}}
    describers = {
        shop: Describer(words_of, shops.books[shop].settings) for shop, words_of in known.items()
    }
    rows = []
    for one in entries:
        entry, zone = one.entry, shops.books[one.shop].settings.zone
        what = describers[one.shop].describe(entry.kind, entry.data)
        row = [
            one.shop,
            str(entry.seq),
            words.moment_words(entry.occurred_at, zone),
            f"struck: {what}" if entry.is_struck else what,
            entry.actor,
            entry.job or "",
        ]
        rows.append([*row, entry.id] if ids else row)
    columns = ("!shop", ">seq", "!occurred", "what", "!by", "!job")
    say_table("History", (*columns, "!id") if ids else columns, rows)
    if not rows:
        say("Nothing was recorded by then.")
    if any(words.event_needs_caution(known[one.shop], one.entry.event)
           for one in entries if one.entry.event):  # fmt: skip
        say(words.CAUTION)


def bikes(paths: Paths, search: str, limit: int, *, as_json: bool) -> None:
    """Find bikes in every book, seen last first; each as its own shop knows it."""
    from ledger.cli.bikes import matching
    from ledger.shops.joined import joined_in

    with shops_open(paths) as shops:
        joined = joined_in(shops, shops.asked(None, None))
        found = shops.each(lambda book: matching(book, search, limit))
        rows = [(shop, row) for shop, of_shop in found.items() for row in of_shop]
        rows.sort(key=lambda one: (-one[1].last_seen_at.timestamp(), one[0], one[1].bike))
        shown = rows[:limit]
        if as_json:
            say_json([_row_json(joined, shop, row) for shop, row in shown])
            return
        _say_bikes(shops, joined, shown)


def _row_json(joined: Joined, shop: str, row: BikeRow) -> dict[str, Any]:
    from ledger.cli.look import bike_json

    names = names_json(_names(joined, (shop, row.bike)))
    return {"shop": shop, **bike_json(row), "bikes": names}


def _names(joined: Joined, bike: Bike) -> list[Bike]:
    return sorted(joined.of(bike))


def _say_bikes(shops: Shops, joined: Joined, rows: Sequence[tuple[str, BikeRow]]) -> None:
    from ledger.cli import words
    from ledger.cli.bike_page import person

    known: Mapping[str, Any] = {shop: shops.books[shop].vocabulary for shop, _ in rows}

    def cells(shop: str, row: BikeRow) -> tuple[str, ...]:
        book = shops.books[shop]
        others = [name for name in _names(joined, (shop, row.bike)) if name != (shop, row.bike)]
        return (
            shop,
            row.bike,
            row.make or "",
            row.model or "",
            words.bike_kind_words(known[shop], row.bike_kind),
            person(book, row.rider) if row.rider else "",
            words.figure(row.distance_km),
            str(row.count_jobs),
            words.day_words(row.last_seen_at, book.settings.zone),
            " ".join("/".join(name) for name in others),
        )

    columns = ("!shop", "!bike", "make", "model", "kind", "rider", ">km", ">jobs", "!last seen")
    say_table("Bikes", (*columns, "is also"), [cells(*one) for one in rows])
    if not rows:
        say("No bike matches in any of these books.")
