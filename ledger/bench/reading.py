"""One bike's bench, read in one go: `bench_of`."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from datetime import UTC, datetime
from functools import lru_cache
from typing import TYPE_CHECKING, Any

from ledger import asking
from ledger.asking import Asker
from ledger.bench.handing_back import hand_back_of, quoted_of
from ledger.bench.holders import others_at, own_clock
from ledger.bench.inspecting import systems_of
from ledger.bench.measuring import measures_of
from ledger.bench.pressures import pressures_of
from ledger.bench.scene import Scene, scene_of
from ledger.bench.shapes import Bench, BikeAtBench, EntryAtBench, JobAtBench, StandingNote
from ledger.bench.stepping import Items, goes_on, steps_of
from ledger.bench.torques import torqued_in, torques_of
from ledger.bench.walked import position_of, step_of
from ledger.photos import Photo, photo_of
from ledger.quotes import QuotedLine
from ledger.state import view_of

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.events import Event
    from ledger.figures.fault_shapes import BookingIn

MOST_ENTRIES = 20
"""Without an open job, so many of the bike's last entries are shown."""


def bench_of(
    book: Book,
    tag: str,
    actor: str,
    now: datetime | None = None,
    *,
    job: str | None = None,
    asker: Asker,
) -> Bench:
    """Give everything the page needs of one bike, as the book stands now.

    `actor` is who records: their own entries and clock are told from others'. `job` is the open
    job to work on, where the bike has several (the one opened last else). Joined tags are one
    bike. Raises UnknownBike, NotForRole, and LedgerError for a job that is not open on it.
    """
    asking.require(asker, "bench", "A bike at the bench")
    at = now or datetime.now(UTC)
    size = book.head.size  # first: what comes while this reads counts as not shown yet
    scene = scene_of(book, tag)
    view = view_of(scene.state, at, size)
    job = scene.job_named(job)
    quoted = quoted_of(scene, job)
    items = _items(scene, job, quoted, at)
    place = goes_on(scene, job, items)
    return Bench(
        bike=_bike(scene),
        actor=actor,
        asked_at=at,
        size=view.as_known,
        jobs=tuple(sorted(view.jobs_open, key=lambda one: (one.opened_at, one.job))),
        job=_job(scene, job),
        steps=steps_of(scene, job, items, place),
        at=place,
        notes=_notes(scene),
        fitted=view.fitted,
        faults=view.faults_open,
        findings=view.findings_open,
        advice=view.advice_open,
        systems=items.systems,
        measures=items.measures,
        torques=items.torques,
        torqued=items.torqued,
        pressures=items.pressures,
        quoted=_told_lines(quoted, asker),
        hand_back=hand_back_of(scene, job, _told_lines(quoted, asker), at),
        entries=_entries(scene, job, actor, asker),
        others=others_at(scene, actor, job, at),
        clock=own_clock(scene, actor),
        photos=_photos(scene),
    )


def _items(scene: Scene, job: str | None, quoted: tuple[QuotedLine, ...], at: datetime) -> Items:
    return Items(
        systems=systems_of(scene, job),
        measures=measures_of(scene, job, at),
        quoted=quoted,
        torques=torques_of(scene, at),
        torqued=torqued_in(scene, job),
        pressures=pressures_of(scene, job, at),
    )


def _told_lines(quoted: Sequence[QuotedLine], asker: Asker) -> tuple[QuotedLine, ...]:
    """Give quoted lines without what they cost the shop, where the asker does not see money."""
    if asker.sees("money"):
        return tuple(quoted)
    return tuple(
        replace(one, line=one.line.model_copy(update={"cost_minor": None})) for one in quoted
    )


def _bike(scene: Scene) -> BikeAtBench:
    state, told = scene.state, _registered(scene)
    return BikeAtBench(
        tag=scene.tag,
        other_tags=tuple(sorted(scene.tags - {scene.tag})),
        make=told.get("make"),
        model=told.get("model"),
        bike_kind=told.get("bike_kind"),
        wheel_size=told.get("wheel_size"),
        description=told.get("description"),
        frame_number=told.get("frame_number"),
        is_e_bike=bool(told.get("is_e_bike")),
        speeds=state.speeds,
        riding=state.riding,
        first_used_on=told.get("first_used_on"),
        rider=state.rider,
        keeper=state.keeper,
        distance_km=state.distance_km,
        distance_at=state.distance_at,
        registered_at=min(state.registered.values(), default=None),
    )


def _registered(scene: Scene) -> dict[str, Any]:
    """Give what the registrations of a bike's tags tell, each thing as last told.

    A tag that was put on later knows less: what it left out, the other one may have said.
    """
    found: dict[str, Any] = {}
    for event in scene.counted:
        if event.kind == "bike_registered":
            told = scene.opened(event)
            found |= {name: value for name, value in told.items() if value not in (None, False)}
    return found


def _job(scene: Scene, job: str | None) -> JobAtBench | None:
    known = scene.state.jobs.get(job or "")
    opened = [event for event in scene.of_job(job) if event.kind == "job_opened"] if job else []
    if known is None or not opened:
        return None
    event = opened[0]
    told = scene.opened(event)
    return JobAtBench(
        job=known.job,
        tier=known.tier,
        opened_at=event.occurred_at,
        opened_seq=event.seq or 0,
        promised_at=known.promised_at,
        waiting_for=known.waiting_for,
        complaint=told.get("complaint"),
        came_with=told.get("came_with"),
        ceiling_minor=known.ceiling_minor,
        currency=told.get("currency"),
    )


def _notes(scene: Scene) -> Mapping[str, tuple[StandingNote, ...]]:
    found: dict[str, list[StandingNote]] = {}
    for event in reversed(scene.counted):
        if event.kind == "noted":
            text = scene.opened(event).get("text")
            note = StandingNote(event.id, event.data.position, text, event.actor, event.occurred_at)
            found.setdefault(note.position, []).append(note)
    return {position: tuple(notes) for position, notes in found.items()}


def _entries(scene: Scene, job: str | None, actor: str, asker: Asker) -> tuple[EntryAtBench, ...]:
    if job is not None:
        chosen = scene.of_job(job)
    else:
        known = sorted(scene.counted, key=lambda event: event.seq or 0)
        chosen = known[-MOST_ENTRIES:]
    entries = (_entry(scene, event, actor, asker) for event in reversed(chosen))
    return tuple(entry for entry in entries if entry is not None)


def _entry(scene: Scene, event: Event, actor: str, asker: Asker) -> EntryAtBench | None:
    told = asking.told(asker, event.kind, event.actor, scene.opened(event))
    if told is None:
        return None
    return EntryAtBench(
        event=event.id,
        seq=event.seq or 0,
        kind=event.kind,
        step=step_of(event),
        actor=event.actor,
        is_own=event.actor == actor,
        occurred_at=event.occurred_at,
        recorded_at=event.recorded_at or event.occurred_at,
        position=position_of(event),
        data=told,
    )


def _photos(scene: Scene) -> tuple[Photo, ...]:
    attached = [event for event in scene.counted if event.kind == "photo_attached"]
    return tuple(photo_of(event, scene.opened(event)) for event in reversed(attached))


def came_back(book: Book, bench: Bench) -> BookingIn | None:
    """Give what came back on the bike before its job was opened, what was carried and advised.

    As the book stood when the job was opened, so it is worked out once and remembered (about
    0.2 s on a book of 67,000 events). None where no job is open.
    """
    if bench.job is None:
        return None
    return _booking(book, bench.bike.tag, bench.job.opened_at, bench.job.opened_seq)


@lru_cache(maxsize=256)
def _booking(book: Book, tag: str, opened_at: datetime, opened_seq: int) -> BookingIn:
    from ledger.figures.fault_bike import booking_in  # much to load for whoever needs it not

    return booking_in(book, tag, opened_at, opened_seq)
