"""What is measured at a service, and the verdict on a figure before it is written."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, datetime
from fnmatch import fnmatchcase
from typing import TYPE_CHECKING, Any

from ledger.bench.drafts import new_id
from ledger.bench.gauges import gauges_for
from ledger.bench.scene import scene_of
from ledger.bench.shapes import Bench, Judged, LimitShown, MeasureItem
from ledger.bench.telling import sentences
from ledger.bench.walk import MEASURES, PRESSURED
from ledger.drafts import read_drafts
from ledger.events import kinds
from ledger.events.bench import Measured
from ledger.events.types import Amount
from ledger.prepare import prepare
from ledger.prepare.verdict import limit_of
from ledger.rules.check import check_after
from ledger.rules.pressures import carriers
from ledger.state.apply import figure
from ledger.view import Reading

if TYPE_CHECKING:
    from ledger.bench.scene import Scene
    from ledger.book import Book
    from ledger.events import Event
    from ledger.state.bike import Place
    from ledger.vocabulary import Limit, Vocabulary

MAKERS = "maker's figure"
"""The source a limit has where it is the part's own."""
_WITH_AIR = frozenset(at for position in PRESSURED for at in carriers(position))
"""Positions whose part has a highest pressure."""


def measures_of(scene: Scene, job: str | None, now: datetime) -> tuple[MeasureItem, ...]:
    """Give what to measure on a bike, in the order of the walk, with what stands beside it.

    That is what a service measures of what is on the bike, and whatever was measured there
    before: sprockets one by one, where they were.
    """
    last = _last_entered(scene.counted)
    return tuple(_item(scene, place, job, now, last) for place in _places(scene, last))


def item_for(
    book: Book, bench: Bench, position: str, quantity: str, point: str | None = None
) -> MeasureItem:
    """Give an item that is not on the list, for a measurement somebody wants to add.

    Raises KeyError for a quantity the book does not know.
    """
    scene = scene_of(book, bench.bike.tag)
    job = bench.job.job if bench.job else None
    last = _last_entered(scene.counted)
    return _item(scene, (position, quantity, point), job, bench.asked_at, last)


def item_named(book: Book, bench: Bench, name: str) -> MeasureItem | None:
    """Give the item of a name (`MeasureItem.key`), on the list or not; None where none can be."""
    known = next((one for one in bench.measures if one.key == name), None)
    position, _, rest = name.partition(" ")
    quantity, _, point = rest.partition(" ")
    words = book.vocabulary
    if known is not None or position not in words.positions or quantity not in words.quantities:
        return known
    return item_for(book, bench, position, quantity, point or None)


def limited_at(words: Vocabulary, position: str) -> tuple[str, ...]:
    """Give the quantities a maker's limit of a part at a position would be of."""
    worn = [one.quantity for one in words.limits if fnmatchcase(position, one.position)]
    pressed = ["pressure"] if position in _WITH_AIR else []
    return tuple(dict.fromkeys([*pressed, *worn]))


def judged(book: Book, bench: Bench, draft: Mapping[str, Any]) -> Judged:
    """Give the verdict the book would store of a typed reading, without writing anything.

    `draft` is a draft of `drafts.measured`; of `drafts.adjusted` too, for its problems and
    warnings. What cannot be read is told in `problems`.
    """
    scene, now = scene_of(book, bench.bike.tag), datetime.now(UTC)
    entries, problems = read_drafts([draft], book.settings, now)
    if problems or not entries:
        return Judged(None, None, None, None, None, sentences(problems, "refused"), ())
    facts = replace(scene.facts, now=max(now, entries[0].event.occurred_at))
    event, wrong = prepare(entries[0].event, scene.state, facts)
    every = [*wrong, *check_after(scene.state, [event], facts)]
    told = event.data if event.kind == "measured" else None
    return Judged(
        verdict=told.verdict if told else None,
        limit=figure(told.limit) if told else None,
        canonical=figure(getattr(event.data, "value", getattr(event.data, "after", None))),
        canonical_low=figure(told.low) if told else None,
        canonical_high=figure(told.high) if told else None,
        problems=sentences(every, "refused"),
        warnings=sentences(every, "warning"),
    )


def _last_entered(counted: Iterable[Event]) -> dict[Place, kinds.Measured]:
    """Give the last reading ever taken at each place, of whatever part."""
    found: dict[Place, kinds.Measured] = {}
    for event in counted:
        if event.kind == "measured":
            found[event.data.position, event.data.quantity, event.data.point] = event
    return found


def _places(scene: Scene, last: Mapping[Place, Any]) -> list[Place]:
    """Give the places to measure; one with points is not measured as a whole as well."""
    known = scene.words
    usual = [(at, what, None) for at, what in MEASURES if at in scene.on_bike]
    before = [
        place for place in last if place[0] in known.positions and place[1] in known.quantities
    ]
    pointed = {place[:2] for place in before if place[2] is not None}
    places = [
        place
        for place in dict.fromkeys([*usual, *before])
        if place[2] is not None or place[:2] not in pointed
    ]
    order = {pair: index for index, pair in enumerate(MEASURES)}
    codes = {code: index for index, code in enumerate(known.positions)}

    def rank(place: Place) -> tuple[int, int, str, list[Any]]:
        pair = place[:2]
        return order.get(pair, len(order)), codes[pair[0]], pair[1], _by_number(place[2] or "")

    return sorted(places, key=rank)


def _by_number(point: str) -> list[tuple[int, str]]:
    """Give what sorts 11T before 9T after 10T by their numbers."""
    return [
        (int(part), "") if part.isdecimal() else (-1, part)
        for part in re.split(r"([0-9]+)", point)
        if part
    ]


def _item(
    scene: Scene,
    place: Place,
    job: str | None,
    now: datetime,
    entered: Mapping[Place, kinds.Measured],
) -> MeasureItem:
    position, quantity, point = place
    word, event = scene.words.quantities[quantity], entered.get(place)
    current = scene.state.readings.get(place)
    plate = event.data.with_backing_plate if event else None
    is_this_job = event is not None and job is not None and event.job == job
    return MeasureItem(
        position=position,
        quantity=quantity,
        point=point,
        unit=_unit(event) or word.unit,
        canonical_unit=word.unit,
        digits=word.digits,
        last=current or (_reading(scene, event) if event else None),
        is_of_an_earlier_part=current is None and event is not None,
        last_entered=_plain(event) if event else None,
        limit=limit_shown(scene, place, plate, now),
        gauges=gauges_for(scene, quantity, event.data.gauge if event else None, now),
        has_backing_plate=bool(plate) if position.endswith(".pads") else None,
        is_by_marks=event is not None and event.data.value is None,
        done=current if is_this_job else None,
    )


def _reading(scene: Scene, event: kinds.Measured) -> Reading:
    """Give a reading as it was recorded, though what it was of is no longer there."""
    data = event.data
    return Reading(
        position=data.position,
        quantity=data.quantity,
        point=data.point,
        value=figure(data.value),
        value_low=figure(data.low),
        value_high=figure(data.high),
        unit=scene.words.quantities[data.quantity].unit,
        measured_at=event.occurred_at,
        limit=figure(data.limit),
        verdict=data.verdict,
        event=event.id,
    )


def _plain(event: kinds.Measured) -> dict[str, Any]:
    return event.data.model_dump(mode="json", exclude_none=True, exclude={"note"})


def _unit(event: kinds.Measured | None) -> str | None:
    """Give the unit of the last entry."""
    if event is None:
        return None
    amounts = (event.data.value, event.data.low, event.data.high)
    return next((amount.unit for amount in amounts if amount is not None), None)


def limit_shown(
    scene: Scene, place: Place, has_backing_plate: bool | None, now: datetime
) -> LimitShown | None:
    """Give the limit a reading taken now would be held against."""
    position, quantity, point = place
    zero = Amount(value="0", unit=scene.words.quantities[quantity].unit)
    data = Measured(
        position=position,
        quantity=quantity,
        point=point,
        value=zero,
        with_backing_plate=has_backing_plate,
    )
    event = kinds.Measured(
        id=new_id(), shop=scene.state.shop, actor="bench", occurred_at=now, data=data
    )
    limit = limit_of(scene.state, event, scene.facts)
    return None if limit is None else _shown(scene, limit)


def _shown(scene: Scene, limit: Limit) -> LimitShown:
    return LimitShown(
        due=limit.due,
        watch=limit.watch,
        unsafe=limit.unsafe,
        direction=limit.direction,
        unit=scene.words.quantities[limit.quantity].unit,
        source=limit.source,
        is_makers=limit.source == MAKERS,
    )
