"""What others recorded at a place after a page was drawn: a press covers only what it showed."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence
from typing import TYPE_CHECKING

from ledger.bench.inspecting import positions_of
from ledger.bench.scene import scene_of
from ledger.errors import LedgerError

if TYPE_CHECKING:
    from ledger.bench.drafts import Draft
    from ledger.bench.shapes import Bench
    from ledger.book import Book
    from ledger.events import Event

WORSE = ("not checked", "within limit", "watch", "due", "unsafe")
"""Verdicts, each worse than the one before it."""
FIGURES = ("measured", "adjusted")
Tell = Callable[["Event"], str]


class Overtaken(LedgerError):
    """Something was recorded at the same place since the page of a press was drawn."""


def overtaken_by(book: Book, bench: Bench, drafts: Sequence[Draft]) -> Event | None:
    """Give the worst entry that drafts would go over unseen; None where there is none.

    `bench` is what the page showed. A look that covers a system ("rest within limit") is
    overtaken by every live entry at one of the system's positions recorded since; a finding by
    another look at its own position that judged it the same or worse; a reading or a setting by
    another one of the same thing.
    """
    made = [draft for draft in drafts if draft["kind"] in ("inspected", *FIGURES)]
    if not made:
        return None
    scene = scene_of(book, bench.bike.tag)
    own = {draft.get("id") for draft in drafts}
    later = [
        event for event in scene.counted if (event.seq or 0) > bench.size and event.id not in own
    ]
    if not later or not own.isdisjoint(event.id for event in scene.stored):
        return None  # a press that is sent again is in the book already
    found = []
    for draft in made:
        look = draft["data"]
        if draft["kind"] in FIGURES:
            found += [event for event in later if _is_same_thing(event, draft)]
            continue
        over = set(look.get("covers") or ())
        if over:
            system = scene.words.positions[look["position"]].system
            over |= set(positions_of(scene.words, system))
        found += [event for event in later if _overtakes(event, look, over)]
    return max(found, key=lambda event: (_badness(event), event.seq or 0), default=None)


def never_unseen(book: Book, bench: Bench, drafts: Sequence[Draft], tell: Tell) -> None:
    """Raise Overtaken, in the words that `tell` has for the entry, where drafts go over one."""
    event = overtaken_by(book, bench, drafts)
    if event is not None:
        raise Overtaken(tell(event))


def _overtakes(event: Event, look: Draft, over: Collection[str]) -> bool:
    places = {getattr(event.data, "position", None), *getattr(event.data, "covers", ())}
    if over:
        return not places.isdisjoint(over)
    is_look = event.kind == "inspected" and look["position"] in places
    return is_look and _badness(event) >= WORSE.index(look["verdict"])


def _is_same_thing(event: Event, draft: Draft) -> bool:
    """Say whether an event reads, or sets, what a draft does: position, quantity and point."""
    if event.kind != draft["kind"]:
        return False
    fields = ("position", "quantity", "point")
    return all(getattr(event.data, of, None) == draft["data"].get(of) for of in fields)


def _badness(event: Event) -> int:
    verdict = getattr(event.data, "verdict", None)
    return WORSE.index(verdict) if verdict in WORSE else -1
