"""One bike over several shops: what it is as at a date, and its one history."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from difflib import get_close_matches

import pyarrow as pa
import pyarrow.compute as pc
from pydantic import TypeAdapter, ValidationError

from ledger.asking import Asker
from ledger.engines.duckdb import COLUMNS, Asked
from ledger.engines.tables import position_effects
from ledger.engines.views import RELATIONS, make_view
from ledger.errors import BookDamaged, LedgerError, UnknownBike, WrongUse
from ledger.events.types import BikeTag
from ledger.facts import words_of
from ledger.kept import terms_known
from ledger.queries import TimelineEntry, bike_view, engine_of, timeline
from ledger.shops.joined import Bike, Joined
from ledger.shops.merging import EVERYTHING, live_in, merged
from ledger.shops.opened import Shops
from ledger.view import BikeView
from ledger.vocabulary import Vocabulary


@dataclass(frozen=True, slots=True)
class ShopsView:
    """One bike as at a date, out of one book or several."""

    view: BikeView
    """Under the shop and tag asked for. Out of several books `as_at` is the latest of theirs, and
    jobs, parts and people are `shop/name`."""
    bikes: tuple[Bike, ...]
    """What it is called: every (shop, tag), sorted, those of shops whose books are not here too."""
    known: Mapping[str, int]
    """The last seq of each book that was taken into account."""
    words: Vocabulary


@dataclass(frozen=True, slots=True)
class ShopsEntry:
    """One entry of a history, and the shop in whose book it stands."""

    shop: str
    entry: TimelineEntry


def bike_named(shops: Shops, joined: Joined, text: str) -> Bike:
    """Give the bike a TAG or SHOP/TAG means.

    Raises UnknownBike, with the nearest; WrongUse where the tag is of bikes of several shops that
    nothing joins.
    """
    shop, slash, name = text.strip().rpartition("/")
    tag = _tag(name)
    if slash and shop not in shops.books:
        near = get_close_matches(shop, shops.books, n=3, cutoff=0.5)
        hint = f"Did you mean {' or '.join(near)}?" if near else f"There are: {_some(shops.books)}."
        if not shop:
            raise UnknownBike(f"{text.strip()} names no shop before the '/'. {hint}")
        raise UnknownBike(f"There is no book of a shop {shop} among these. {hint}")
    held = shops.each(lambda book: book.bikes(), of=[shop] if slash else None)
    found = [(shop, tag) for shop, tags in held.items() if tag in tags]
    if not found:
        raise _unknown(text, tag, held)
    if len({joined.of(bike) for bike in found}) > 1:
        ways = " or ".join("/".join(bike) for bike in found)
        raise WrongUse(
            f"{tag} is the tag of different bikes in {len(found)} shops, and nothing links them. "
            f"Say which: {ways}."
        )
    return found[0]


def _tag(text: str) -> str:
    try:
        return str(TypeAdapter(BikeTag).validate_python(text))
    except ValidationError:
        return text.strip().upper()


def _some(names: Collection[str], most: int = 12) -> str:
    shown = ", ".join(sorted(names)[:most])
    return f"{shown} and {len(names) - most} more" if len(names) > most else shown


def _unknown(text: str, tag: str, held: Mapping[str, list[str]]) -> LedgerError:
    every = {one: (shop, one) for shop, tags in held.items() for one in tags}
    near = get_close_matches(tag, every, n=3, cutoff=0.6)
    hint = f" Did you mean {' or '.join('/'.join(every[one]) for one in near)}?" if near else ""
    return UnknownBike(f"No bike of these shops has the tag {text}.{hint}")


def view_over(shops: Shops, joined: Joined, asked: Mapping[str, Asked], bike: Bike) -> ShopsView:
    """Give one bike as at a date, from every book it is in; equal to the fold of all its events.

    A bike of one book is what that book says. Raises UnknownBike.
    """
    group = joined.of(bike)
    names = tuple(sorted(group))
    if joined.is_of_one_book(bike, asked):
        shop, tag = bike
        book, of = shops.books[shop], asked[shop]
        view = bike_view(book, tag, of.as_at, of.known_seq)
        words = book.vocabulary_known(of.known_seq)
        return ShopsView(view, names, {shop: of.known_seq}, words)
    tables = events_over(shops, asked, group)
    if not tables:
        raise BookDamaged(f"No book that holds {'/'.join(bike)} can be read.")
    known = {shop: asked[shop].known_seq for shop in tables}
    words = words_over(shops, {shop: asked[shop] for shop in tables})
    events = merged(tables, dict.fromkeys(group, bike))
    of = Asked(max(asked[shop].as_at for shop in tables), EVERYTHING)
    named = frozenset(pc.unique(events["position"]).to_pylist()) - {None}
    effects = {"position_effects": position_effects(words, named.difference(words.positions))}
    rows = engine_of(shops.books[bike[0]]).one_bike(RELATIONS, of, events, effects)
    view = make_view(*bike, of.as_at, sum(known.values()), rows)
    return ShopsView(view, names, known, words)


def events_over(
    shops: Shops,
    asked: Mapping[str, Asked],
    bikes: Collection[Bike],
    columns: tuple[str, ...] = COLUMNS,
) -> dict[str, pa.Table]:
    """Give the live events of bikes, by shop, as each book is asked; of books that have any."""
    tags: dict[str, set[str]] = {}
    for shop, tag in bikes:
        if shop in asked:
            tags.setdefault(shop, set()).add(tag)

    return shops.each(
        lambda book: live_in(
            book.bike_columns(tags[book.settings.shop], columns), asked[book.settings.shop]
        ),
        of=list(tags),
    )


def words_over(shops: Shops, asked: Mapping[str, Asked]) -> Vocabulary:
    """Give the standard words with what the terms of several shops add, the latest last."""
    terms = shops.each(
        lambda book: terms_known(book, asked[book.settings.shop].known_seq), of=list(asked)
    )
    return words_of(event for events in terms.values() for event in events)


def history_over(
    shops: Shops,
    joined: Joined,
    asked: Mapping[str, Asked],
    bike: Bike,
    *,
    system: str | None = None,
    asker: Asker,
) -> list[ShopsEntry]:
    """Give everything recorded of one bike in any of the books, oldest first.

    Ties by shop, then by seq; see `queries.timeline`. Strikes stand when they occurred.
    """
    firsts = {joined.first_tag(one) for one in joined.of(bike) if one[0] in asked}

    def of_one(tag: Bike) -> list[ShopsEntry]:
        shop, of = tag[0], asked[tag[0]]
        entries = timeline(
            shops.books[shop], tag[1], as_at=of.as_at, known_seq=of.known_seq,
            system=system, asker=asker,
        )  # fmt: skip
        return [ShopsEntry(shop, entry) for entry in entries]

    by_shop: dict[str, list[Bike]] = {}
    for one in sorted(firsts):
        by_shop.setdefault(one[0], []).append(one)
    found = shops.each(
        lambda book: [
            entry
            for one in by_shop[book.settings.shop]
            if one == bike or one[1] in book.bikes()
            for entry in of_one(one)
        ],
        of=list(by_shop),
    )
    every = [entry for entries in found.values() for entry in entries]
    return sorted(every, key=lambda one: (one.entry.occurred_at, one.shop, one.entry.seq))
