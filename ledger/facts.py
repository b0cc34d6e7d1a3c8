"""What the book's own events say: its words and terms, mechanics, gauges, joined tags."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from functools import reduce

from ledger.events import Event, kinds
from ledger.events.shop import GaugeRegistered
from ledger.rules import BookFacts
from ledger.settings import BookSettings
from ledger.state import live
from ledger.vocabulary import UnitProblem, Vocabulary, standard


def facts_of(events: Iterable[Event], settings: BookSettings, now: datetime) -> BookFacts:
    """Give the facts that stored and new events of the book itself make together."""
    events = list(events)
    counted = live(events)
    terms = [event.data for event in _terms(counted)]
    return BookFacts(
        vocabulary=words_of(counted, events),
        units=_first_units(events),
        now=now,
        time_zone=settings.zone,
        currency=settings.currency,
        locale=settings.locale,
        mechanics=frozenset(e.data.mechanic for e in counted if e.kind == "mechanic_registered"),
        gauges=_gauges(counted),
        roundings=[(term.from_on, term.rounding) for term in terms if term.rounding is not None],
    )


def words_of(counted: Iterable[Event], stored: Iterable[Event] = ()) -> Vocabulary:
    """Give the standard words with what terms add, the latest `from_on` last.

    Terms that cannot be read as words (they are refused elsewhere) add nothing. Of terms among
    the `stored` events that do not count, only the units of their quantities are known.
    """
    words = reduce(_extended, _terms(counted), standard())
    units = _first_units(stored)
    former = {code: units[code] for code in units if code not in words.quantities}
    return replace(words, former_units=former) if former else words


def _first_units(events: Iterable[Event]) -> dict[str, str]:
    """Give the unit each quantity was first told in, by terms that were struck too."""
    units = {code: word.unit for code, word in standard().quantities.items()}
    for event in events:
        if event.kind == "terms_set":
            for added in event.data.quantities:
                units.setdefault(added.code, added.unit)
    return units


def _terms(counted: Iterable[Event]) -> list[kinds.TermsSet]:
    """Give the terms in the order they hold: by `from_on`, then as they were set."""
    terms = [event for event in counted if event.kind == "terms_set"]
    return sorted(terms, key=lambda event: (event.data.from_on, event.shop, event.seq or 0))


def _extended(words: Vocabulary, event: Event) -> Vocabulary:
    assert event.kind == "terms_set"
    try:
        return words.extended(event.data)
    except (UnitProblem, KeyError):
        return words


def _gauges(counted: Iterable[Event]) -> Mapping[str, GaugeRegistered]:
    return {e.data.gauge: e.data for e in counted if e.kind == "gauge_registered"}


def joined_tags(
    events: Iterable[Event], shop: str, known_seq: int | None = None
) -> dict[str, frozenset[str]]:
    """Give, for each tag joined to others of this shop, every tag of that one bike."""
    joined: dict[tuple[str, str], frozenset[tuple[str, str]]] = {}
    for link in live(events, None, known_seq):
        if link.kind == "bike_linked":
            ends = {
                (end.shop or link.shop, end.bike) for end in (link.data.first, link.data.second)
            }
            every = frozenset(ends).union(*(joined.get(end, ()) for end in ends))
            joined.update(dict.fromkeys(every, every))
    found = {}
    for (of_shop, bike), every in joined.items():
        tags = frozenset(tag for at_shop, tag in every if at_shop == shop)
        if of_shop == shop and len(tags) > 1:
            found[bike] = tags
    return found


Joined = Mapping[str, frozenset[str]]
"""For each tag that is joined to others, every tag of that one bike."""


def tags_of(joined: Joined, tag: str) -> frozenset[str]:
    """Give every tag of the bike that a tag is of."""
    return joined.get(tag, frozenset({tag}))


def regrouped(before: Joined, after: Joined) -> dict[frozenset[str], list[frozenset[str]]]:
    """Give each bike that a commit makes of other tags than before, with what it was made of.

    Two bikes that are joined give one, made of two; a link that is struck gives two, each made
    of the one there was.
    """
    found: dict[frozenset[str], list[frozenset[str]]] = {}
    for tag in sorted(before.keys() | after.keys()):
        now, then = tags_of(after, tag), tags_of(before, tag)
        if now != then and then not in found.setdefault(now, []):
            found[now].append(then)
    return found


def linked_tags(events: Iterable[Event], shop: str) -> frozenset[str]:
    """Give the tags of this shop that links name."""
    return frozenset(
        end.bike
        for event in events
        if event.kind == "bike_linked"
        for end in (event.data.first, event.data.second)
        if (end.shop or event.shop) == shop
    )
