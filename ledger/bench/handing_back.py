"""Handing back: what is unsafe, past its limit or untorqued, and what closing charges."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from ledger import quotes
from ledger.bench import drafts
from ledger.bench.scene import Scene, scene_of
from ledger.bench.shapes import Bench, HandBack, UnsafeStanding
from ledger.bench.telling import sentences
from ledger.bench.walked import position_of
from ledger.drafts import read_drafts
from ledger.prepare import prepare
from ledger.quotes import QuotedLine, QuoteRefused
from ledger.rules.check import check_after

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.events import Event

CHECKED_FIRST = (
    "front_brake", "rear_brake", "front_wheel", "rear_wheel", "steering", "suspension", "frame",
)  # fmt: skip
"""Systems whose work is offered to be rechecked before any other's."""
_WORK = frozenset({"part_fitted", "part_removed", "adjusted", "treated"})


def quoted_of(scene: Scene, job: str | None) -> tuple[QuotedLine, ...]:
    """Give every line of a job's standing quotes, with the last answer."""
    if job is None:
        return ()
    return tuple(quotes.standing_lines(quotes.of_events(scene.counted, job)))


def hand_back_of(
    scene: Scene, job: str | None, quoted: Sequence[QuotedLine], now: datetime
) -> HandBack:
    """Give what stands between the work and the door."""
    state, of_job = scene.state, scene.of_job(job) if job else []
    stops, tells = _closing(scene, job, quoted, now)
    return HandBack(
        unsafe=_unsafe(scene, job),
        past_limits=tuple(one for one in _readings(scene) if one.verdict in ("due", "unsafe")),
        untorqued=tuple(sorted(state.disturbed)),
        rechecks=_rechecks(scene, (event for event in of_job if event.kind in _WORK)),
        faults=tuple(state.faults[key] for key in sorted(state.faults)),
        is_released=any(event.kind == "released" for event in of_job),
        charges=tuple(line for line in quoted if line.is_agreed),
        unanswered=tuple(line for line in quoted if line.answer not in ("yes", "no")),
        clocks=tuple(sorted(who for who, on in state.running.items() if on.job == job)),
        stops=stops,
        tells=tells,
    )


def _readings(scene: Scene) -> list[Any]:
    readings = scene.state.readings
    return [readings[place] for place in sorted(readings, key=lambda p: (p[0], p[1], p[2] or ""))]


def _rechecks(scene: Scene, worked: Iterable[Event]) -> tuple[str, ...]:
    words = scene.words.positions
    order = {system: index for index, system in enumerate(CHECKED_FIRST)}

    def rank(position: str) -> tuple[int, str]:
        system = words[position].system if position in words else ""
        return order.get(system, len(order)), position

    places = {position_of(event) for event in worked}
    return tuple(sorted((place for place in places if place is not None), key=rank))


def _unsafe(scene: Scene, job: str | None) -> tuple[UnsafeStanding, ...]:
    state = scene.state
    found: dict[str, list[Any]] = {}
    for unsafe in state.unsafe.values():
        found.setdefault(unsafe.position, []).append(unsafe)
    return tuple(
        UnsafeStanding(
            position=position,
            found=tuple(sorted(one.event for one in found[position])),
            is_of_this_job=job is not None and any(one.job == job for one in found[position]),
            told=(told := _told(scene, position, job)),
            answer=state.advice_answers.get(told) if told else None,
        )
        for position in sorted(found)
    )


def _told(scene: Scene, position: str, job: str | None) -> str | None:
    """Give the advice of a job that told the keeper a position is unsafe: an answered one first."""
    state = scene.state
    given = [
        event
        for event, advice in state.advice.items()
        if job is not None
        and advice.job == job
        and (advice.given.position, advice.given.verdict) == (position, "unsafe")
    ]
    settled = [one for one in given if state.advice_answers.get(one) in ("yes", "no", "later")]
    return next(reversed([*given, *settled]), None)


def _closing(
    scene: Scene, job: str | None, quoted: Sequence[QuotedLine], now: datetime
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Give what the book's own rules say of closing the job now, with every agreed line."""
    if job is None:
        return (), ()
    lines = [quotes.charged(line) for line in quoted if line.is_agreed]
    hand = drafts.Hand("bench", scene.tag, job)
    at = max(now, scene.state.last[0]) if scene.state.last else now
    draft = drafts.closed(hand, drafts.new_id(), lines, scene.facts.currency)
    entries, problems = read_drafts([draft], scene.book.settings, at)
    if entries:
        facts = replace(scene.facts, now=at, mechanics=frozenset())
        event, wrong = prepare(entries[0].event, scene.state, facts)
        problems = [*problems, *wrong, *check_after(scene.state, [event], facts)]
    return sentences(problems, "refused"), sentences(problems, "warning")


def charge_lines(
    book: Book, bench: Bench, came_to: Mapping[str, int] | None = None
) -> list[dict[str, Any]]:
    """Give the lines that closing charges: every agreed one, at its price.

    `came_to` gives, by line id and in minor units before tax, what a line quoted "up to" came
    to; more than was agreed is refused. They go to `drafts.closed` as they are: what each cost
    the shop is among them, and is not for showing. Raises QuoteRefused.
    """
    job = bench.job.job if bench.job else None
    agreed = [line for line in quoted_of(scene_of(book, bench.bike.tag), job) if line.is_agreed]
    prices = dict(came_to or {})
    unknown = prices.keys() - {line.line.line for line in agreed}
    if unknown:
        raise QuoteRefused(f"No line {sorted(unknown)[0]} was agreed in this job.")
    for line in agreed:
        if prices.get(line.line.line, line.line.net_minor) > line.line.net_minor:
            raise QuoteRefused(
                f"Line {line.line.line} came to more than was agreed. Ask the keeper first, with "
                "a quote for what comes on top."
            )
    return [quotes.charged(line, prices.get(line.line.line)) for line in agreed]
