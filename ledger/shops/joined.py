"""Which bikes of several shops are one: what the links in all their books say together."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property

from ledger.engines.duckdb import Asked
from ledger.events import Event
from ledger.facts import joined_tags
from ledger.kept import links_known
from ledger.shops.opened import Shops

Bike = tuple[str, str]
"""A bike's identity: shop and tag."""


@dataclass(frozen=True)
class Joined:
    """Which (shop, tag) are one bike, by links that hold."""

    links: Mapping[str, tuple[Event, ...]]
    """Live `bike_linked` events, by the shop whose book they stand in."""

    @cached_property
    def groups(self) -> Mapping[Bike, frozenset[Bike]]:
        """All of each bike that is joined to others, by each of them: a disjoint-set forest."""
        above: dict[Bike, Bike] = {}

        def top(bike: Bike) -> Bike:
            while (higher := above.setdefault(bike, bike)) != bike:
                above[bike] = above[higher]
                bike = above[bike]
            return bike

        for first, second in _pairs(event for events in self.links.values() for event in events):
            above[top(first)] = top(second)
        groups: dict[Bike, set[Bike]] = {}
        for bike in list(above):
            groups.setdefault(top(bike), set()).add(bike)
        every = (frozenset(group) for group in groups.values() if len(group) > 1)
        return {bike: group for group in every for bike in group}

    def of(self, bike: Bike) -> frozenset[Bike]:
        """Give every (shop, tag) of the bike that one of them is of."""
        return self.groups.get(bike, frozenset({bike}))

    @cached_property
    def own(self) -> Mapping[str, Mapping[str, frozenset[str]]]:
        """What each book joins by itself: by shop and tag, all tags of that one bike."""
        return {shop: joined_tags(events, shop) for shop, events in self.links.items()}

    def first_tag(self, bike: Bike) -> Bike:
        """Give the name a bike goes by in its own book: the first of the tags joined there."""
        shop, tag = bike
        return shop, min(self.own.get(shop, {}).get(tag, (tag,)))

    def is_of_one_book(self, bike: Bike, shops: Collection[str]) -> bool:
        """Say whether, of the books of some shops, a bike's own alone tells all there is of it."""
        here = {one for one in self.of(bike) if one[0] in shops}
        own = self.own.get(bike[0], {}).get(bike[1], frozenset({bike[1]}))
        return here == {(bike[0], tag) for tag in own}


def _pairs(links: Iterable[Event]) -> Iterable[tuple[Bike, Bike]]:
    for link in links:
        assert link.kind == "bike_linked"
        first, second = link.data.first, link.data.second
        yield (first.shop or link.shop, first.bike), (second.shop or link.shop, second.bike)


def joined_in(shops: Shops, asked: Mapping[str, Asked]) -> Joined:
    """Give what is joined as the books knew it; links hold at every date, as in one book."""
    found = shops.each(
        lambda book: tuple(links_known(book, asked[book.settings.shop].known_seq)), of=list(asked)
    )
    return Joined(found)
