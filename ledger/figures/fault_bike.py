"""One bike's history of faults, and what to know of it when it is booked in.

Only that bike's events are read, so it is as quick in a great book as in a small one.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import datetime
from itertools import groupby
from typing import Any

from ledger.asking import Asker
from ledger.book import Book
from ledger.engines.views import open_advice
from ledger.figures.come_backs import WindowAsked
from ledger.figures.fault_reading import bike_fault_tables
from ledger.figures.fault_shapes import BikeFaults, BookingIn, CameBack, FaultEpisode
from ledger.figures.fault_stories import (
    advice_line,
    came_back,
    carried,
    getting_worse,
    story,
    summary,
)
from ledger.figures.fault_tables import FaultTables
from ledger.figures.fault_words import FaultWords
from ledger.figures.faults import BookFaults
from ledger.vocabulary.caution import needs_caution

Row = Mapping[str, Any]


def bike_faults(
    book: Book,
    bike: str,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    window: WindowAsked | None = None,
    asker: Asker,
) -> BikeFaults:
    """Give one bike's faults as at an instant (None for now); raises UnknownBike.

    Joined tags are one bike. `window` takes the place of each fault's own. Without sight of money
    nothing says what came back took unpaid; without sight of colleagues, not who put it right.
    """
    from ledger.figures.fault_trends import trend_of_bikes  # much to load, and not for booking in

    found = BookFaults(bike_fault_tables(book, bike, as_at, known_seq, window=window), asker)
    tables, words = found.tables, found.words
    trends = trend_of_bikes(
        tables.episodes, tables.bikes, tables.job_facts, tables.read("distance_readings"), bike
    )
    seen = tables.bikes["observed_until"].to_pylist()
    return BikeFaults(
        bike=bike,
        as_at=found.as_at,
        as_known=tables.known_seq,
        observed_until=max(seen, default=None),
        episodes=_without_actors(_episodes_of(tables, words), asker),
        jobs=found.jobs,
        counts=found.counts,
        unpaid=found.unpaid,
        summary=summary(found.counts, found.unpaid, words, found.count_faultless),
        trends=trends,
        getting_worse=getting_worse(trends),
        cautions=found.cautions,
    )


def booking_in(
    book: Book, bike: str, as_at: datetime | None = None, known_seq: int | None = None
) -> BookingIn:
    """Give what came back on a bike before, what is carried open, and open advice.

    Joined tags are one bike. Raises UnknownBike.
    """
    tables = bike_fault_tables(book, bike, as_at, known_seq)
    words = FaultWords(book.settings, tables.words)
    episodes = _episodes_of(tables, words)
    again = found_again(episodes, words)
    still = tuple(carried(one, words) for one in episodes if one.is_open)
    rows = tables.read("open_advice").to_pylist()
    advice = tuple(sorted(map(open_advice, rows), key=lambda one: (one.advised_at, one.event)))
    return BookingIn(
        bike=bike,
        came_back=again,
        carried=still,
        advice_open=advice,
        lines=(
            *(
                f"{'Came back' if one.times_in_window else 'Found again'} before: {one.line}"
                for one in again
            ),
            *(f"Open fault: {one.line}" for one in still),
            *(f"Open advice: {advice_line(one, words)}" for one in advice),
        ),
    )


def _without_actors(episodes: tuple[FaultEpisode, ...], asker: Asker) -> tuple[FaultEpisode, ...]:
    if asker.sees("colleagues"):
        return episodes
    return tuple(replace(one, put_right_actor=None) for one in episodes)


def _episodes_of(tables: FaultTables, words: FaultWords) -> tuple[FaultEpisode, ...]:
    return bike_episodes(tables.episodes.to_pylist(), tables.repeats.to_pylist(), words)


def bike_episodes(
    episodes: Iterable[Row], repeats: Iterable[Row], words: FaultWords
) -> tuple[FaultEpisode, ...]:
    """Give one bike's episodes, oldest first, each with what it follows.

    `episodes` and `repeats` are rows of the tables of the same names, of one bike.
    """
    again = {_key(row): row for row in repeats}
    ordered = sorted(episodes, key=lambda row: (row["found_at"], row["found_seq"]))
    made = (_episode(row, again.get(_key(row), {}), words) for row in ordered)
    return tuple(replace(one, story=story(one, words)) for one in made)


def _key(row: Row) -> tuple[str, str, int]:
    return row["position"], row["fault"], row["found_seq"]


def _episode(row: Row, follows: Row, words: FaultWords) -> FaultEpisode:
    cause, kind = row["cause"], row["put_right_kind"]
    return FaultEpisode(
        position=row["position"],
        place=words.place(row["position"]),
        system=row["system"],
        fault=row["fault"],
        fault_label=words.fault(row["fault"]),
        cause=cause,
        cause_label=None if cause is None else words.cause(cause),
        verdict=row["verdict"],
        found_seq=row["found_seq"],
        found_at=row["found_at"],
        found_job=row["found_job"],
        is_found_recorded=row["is_found_recorded"],
        put_right_at=row["put_right_at"],
        put_right_job=row["put_right_job"],
        put_right_by=None if kind is None else words.work(kind, row["put_right_treatment"]),
        put_right_actor=row["put_right_actor"],
        cleared_at=row["cleared_at"],
        count_jobs_carried=row["count_jobs_carried"],
        answers_seq=follows.get("answers_seq"),
        days_since_repair=follows.get("days"),
        km_since_repair=follows.get("km"),
        window_days=follows.get("window_days"),
        window_km=follows.get("window_km"),
        is_come_back=bool(follows.get("is_come_back")),
        decides_safety=needs_caution(words.words, row["position"]),
        story="",
    )


def found_again(episodes: Iterable[FaultEpisode], words: FaultWords) -> tuple[CameBack, ...]:
    """Give each fault at a place that was found again after it was put right.

    Those that came back within their window first, then the last found.
    """
    again = [one for one in episodes if one.answers_seq is not None]
    again.sort(key=lambda one: (one.position, one.fault, one.found_at, one.found_seq))
    made = [
        came_back(list(some), words)
        for _, some in groupby(again, lambda one: (one.position, one.fault))
    ]
    made.sort(key=lambda one: (one.times_in_window > 0, one.last_found_at), reverse=True)
    return tuple(made)
