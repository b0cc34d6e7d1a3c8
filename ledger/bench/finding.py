"""Finding a bike whose tag washed off: by anything anybody still knows of it."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from functools import partial
from itertools import pairwise
from threading import Lock
from typing import TYPE_CHECKING, Any
from weakref import WeakKeyDictionary

from ledger.bench.newer import events_after
from ledger.bench.scene import scene_of
from ledger.bench.shapes import FoundBike
from ledger.clocks import open_jobs
from ledger.events.types import TAG_ALPHABET, Sealed
from ledger.events.upcast import upcast
from ledger.kept import FEWEST_EVENTS, Keep, as_it_is, kept
from ledger.queries import asked_of, whole_table

if TYPE_CHECKING:
    import pyarrow as pa

    from ledger.book import Book

SUMMARIES = Keep(
    "bikes_known", ("bike_summary",), partial(as_it_is, "bike_summary"), ("ledger.kept.keep",)
)
OF_FINDING = (SUMMARIES,)
"""What is kept of a great book so that its bikes are listed quickly. What they look like is not
kept: it is sealed, and read from the registrations once a server."""
_FOLDED = str.maketrans("ilo", "110")
_HALF = 4
"""Signs of a tag before the space it is printed with, and after it."""


@dataclass
class _Catalogue:
    """Every bike of one book, as at one of its commits; descriptions are opened, in memory."""

    lock: Lock = field(default_factory=Lock)
    commit: int = 0
    bikes: dict[str, tuple[FoundBike, str]] = field(default_factory=dict)
    """By the first of a bike's tags, with all it says but its rider's name, in small letters."""
    ordered: list[tuple[FoundBike, str]] | None = None
    """The same, seen last first."""
    is_described: bool = False
    """Descriptions were read, not only what the lists of bikes have."""
    keys: set[str] = field(default_factory=set)
    """The keys that the descriptions were sealed with."""
    register_at: int = 0
    """When the register last changed, as last looked at."""


_catalogues: WeakKeyDictionary[Book, _Catalogue] = WeakKeyDictionary()
_catalogues_lock = Lock()


def look_for(book: Book, words: str, most: int = 20) -> list[FoundBike]:
    """Give the bikes of which every word is found in tag, make, model, kind, description or the
    rider's name: those on the bench first, then seen last first. Nothing typed gives the bikes on
    the bench and those seen last.

    A tag read off a dirty sticker is folded as tags are (O is 0, I and L are 1). Descriptions of
    a great book are read once a server, when something is first looked for; until then those
    of the bikes seen last are None.
    """
    wanted = words.casefold().split()
    ordered = _listed(book, is_described=bool(wanted) or book.head.size < FEWEST_EVENTS)
    names = _names(book)
    jobs = {one.bike: one.job for one in open_jobs(book)}
    found = []
    for bike, text in _bench_first(book, ordered, jobs):
        matched = _matched(bike, text, names.get(bike.rider or "", ""), wanted)
        if matched is not None:
            found.append((bike, matched))
        if len(found) == most:
            break
    return [_told(book, bike, matched, jobs) for bike, matched in found]


def _bench_first(
    book: Book, ordered: list[tuple[FoundBike, str]], open_on: Iterable[str]
) -> Iterable[tuple[FoundBike, str]]:
    """Give the bikes with an open job, then the others, each in their order."""
    joined = book.aliases()
    first = {min(joined.get(tag, {tag})) for tag in open_on}
    yield from [one for one in ordered if one[0].tag in first]
    yield from (one for one in ordered if one[0].tag not in first)


def _told(
    book: Book, bike: FoundBike, matched: tuple[str, ...], jobs: Mapping[str, str]
) -> FoundBike:
    row = book.riders.get(bike.rider) if bike.rider else None
    tags = (bike.tag, *bike.other_tags)
    job = next((jobs[tag] for tag in tags if tag in jobs), None)
    return replace(bike, rider_name=row.name if row else None, open_job=job, matched=matched)


def _names(book: Book) -> dict[str, str]:
    return {row.rider: (row.name or "").casefold() for row in book.riders.all()}


def _matched(bike: FoundBike, text: str, name: str, wanted: list[str]) -> tuple[str, ...] | None:
    """Give where the words were found; None where one of them is nowhere."""
    where: dict[str, None] = {}
    for word in wanted:
        folded = word.replace("-", "").translate(_FOLDED)
        if word not in text and word not in name and folded not in text:
            return None
        where |= dict.fromkeys(_fields_with(bike, name, word, folded))
    return tuple(where)


def _fields_with(bike: FoundBike, name: str, word: str, folded: str) -> Iterable[str]:
    tags = " ".join((bike.tag, *bike.other_tags)).casefold()
    if word in tags or folded in tags:
        yield "tag"
    for field_name in ("make", "model", "bike_kind", "description"):
        if word in (getattr(bike, field_name) or "").casefold():
            yield field_name
    if word in name or word == (bike.rider or "").casefold():
        yield "rider"


def _listed(book: Book, *, is_described: bool) -> list[tuple[FoundBike, str]]:
    with _catalogues_lock:
        catalogue = _catalogues.setdefault(book, _Catalogue())
    with catalogue.lock:
        _follow(book, catalogue, is_described)
        if catalogue.ordered is None:
            bikes = sorted(catalogue.bikes.values(), key=lambda one: one[0].tag)
            bikes.sort(key=lambda one: one[0].last_seen_at, reverse=True)
            catalogue.ordered = bikes
        return catalogue.ordered


def _text(bike: FoundBike) -> str:
    said = (bike.make, bike.model, bike.bike_kind, bike.description, bike.rider)
    words = (bike.tag, *bike.other_tags, *(word for word in said if word))
    return "\n".join(words).casefold()


def _follow(book: Book, catalogue: _Catalogue, is_described: bool) -> None:
    """Bring the catalogue up to the book's newest commit, and to the keys there are."""
    commit = book.head.commit
    is_read = catalogue.commit > 0 and (catalogue.is_described or not is_described)
    if _lost_a_key(book, catalogue) or not is_read:
        _read_all(book, catalogue, is_described)
    elif catalogue.commit == commit:
        return
    else:
        new = events_after(book, catalogue.commit)
        if new is None or any(event.bike is None for event in new):
            _read_all(book, catalogue, catalogue.is_described)
        else:
            for tag in {event.bike for event in new if event.bike is not None}:
                _again(book, catalogue, tag)
    catalogue.commit, catalogue.ordered = commit, None


def _lost_a_key(book: Book, catalogue: _Catalogue) -> bool:
    """Tell whether a key that opened a description is gone since the last look."""
    path = book.riders.path
    register_at = path.stat().st_mtime_ns if path.exists() else 0
    if register_at == catalogue.register_at:
        return False
    catalogue.register_at = register_at
    return not catalogue.keys <= book.keys.follow()


def _again(book: Book, catalogue: _Catalogue, tag: str) -> None:
    """Tell one bike anew; one whose every event was struck is gone."""
    scene = scene_of(book, tag)
    first = min(scene.tags)
    if not scene.counted:
        catalogue.bikes.pop(first, None)
        return
    told: dict[str, Any] = {}
    for event in scene.counted:
        if event.kind == "bike_registered":
            told = _said(told, scene.opened(event))
            if isinstance(event.data.description, Sealed):
                catalogue.keys.add(event.data.description.key)
    last = max(event.occurred_at for event in scene.counted)
    bike = _bike(scene.tags, told, scene.state.rider, last)
    catalogue.bikes[first] = bike, _text(bike)


def _said(before: Mapping[str, Any], told: Mapping[str, Any]) -> dict[str, Any]:
    """Give what registrations say together, each thing as last told."""
    return {**before, **{name: value for name, value in told.items() if value is not None}}


def _bike(
    tags: Iterable[str], told: Mapping[str, Any], rider: str | None, last_seen_at: datetime
) -> FoundBike:
    first, *others = sorted(tags)
    return FoundBike(
        tag=first,
        other_tags=tuple(others),
        make=told.get("make"),
        model=told.get("model"),
        bike_kind=told.get("bike_kind"),
        description=told.get("description"),
        rider=rider,
        rider_name=None,
        last_seen_at=last_seen_at,
        open_job=None,
        matched=(),
    )


def _read_all(book: Book, catalogue: _Catalogue, is_described: bool) -> None:
    """Read every bike anew: as its registrations tell, or without them in fewer words."""
    catalogue.keys.clear()
    joined = book.aliases()
    told = _every_registration(book, catalogue, joined) if is_described else {}
    columns = ["bike", "rider", "last_seen_at", "make", "model", "bike_kind"]
    found = {}
    for row in _summaries(book).select(columns).to_pylist():
        tags = joined.get(row["bike"], frozenset({row["bike"]}))
        seen = row["last_seen_at"].astimezone(UTC)
        known = told.get(min(tags), {}) if is_described else row
        bike = _bike(tags, known, row["rider"], seen)
        found[min(tags)] = bike, _text(bike)
    catalogue.bikes, catalogue.is_described = found, is_described


def _every_registration(
    book: Book, catalogue: _Catalogue, joined: Mapping[str, frozenset[str]]
) -> dict[str, dict[str, Any]]:
    """Give what each bike's registrations say together, by the first of its tags."""
    told: dict[str, dict[str, Any]] = {}
    book.keys.load()
    by_time = [(name, "ascending") for name in ("occurred_at", "seq")]
    for canonical in _registrations(book).sort_by(by_time)["canonical"].to_pylist():
        raw = upcast(json.loads(canonical))
        data = dict(raw["data"])
        sealed = data.get("description")
        if isinstance(sealed, dict):
            data["description"] = book.keys.open(sealed, raw["id"], "description")
            catalogue.keys.add(sealed["key"])
        first = min(joined.get(raw["bike"], {raw["bike"]}))
        told[first] = _said(told.get(first, {}), data)
    return told


def _summaries(book: Book) -> pa.Table:
    """Give every bike: as kept, or worked out where it is not."""
    asked = asked_of(book, None, None)
    found = kept(book, SUMMARIES, asked)
    if found is not None:
        return found
    return whole_table(book, "bike_summary", asked.as_at, asked.known_seq)


def _registrations(book: Book) -> pa.Table:
    asked = asked_of(book, None, None)
    return whole_table(book, "registration_documents", asked.as_at, asked.known_seq)


def tag_of(text: str) -> str | None:
    """Give the tag a QR link or a typed text holds, folded; None where it holds none.

    Any text that ends in a tag will do: `https://…/?bike=7K3M9QXA`, `7k3m-9qxa`, and `7K3M 9QXA`
    as it is printed.
    """
    parts = _split(text)
    halves = [f"{one}{two}" for one, two in pairwise(parts) if len(one) == len(two) == _HALF]
    for part in (*reversed(parts), *reversed(halves)):
        folded = part.upper().replace("-", "").translate(str.maketrans("ILO", "110"))
        if len(folded) == 2 * _HALF and all(sign in TAG_ALPHABET for sign in folded):
            return folded
    return None


def _split(text: str) -> list[str]:
    for mark in "/?=&#:":
        text = text.replace(mark, " ")
    return text.split()
