"""The fold in plain Python, the oracle: a bike's live events in order give what it is.

`apply` takes a state one event further; `fold` goes all the way to the view people see. What
each field means stands in DEVELOPERS.md under "What a bike's state is".
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from datetime import datetime, timedelta

from ledger.events import BOOK_KINDS, Event
from ledger.state.apply import SEEN, apply
from ledger.state.bike import BikeState, Fitted, made_up_part, start
from ledger.state.timeline import in_order, live, order_key, same_bike
from ledger.view import BikeView, FittedPart, OpenAdvice, OpenJob
from ledger.vocabulary import Vocabulary

__all__ = [
    "SEEN",
    "BikeState",
    "apply",
    "fold",
    "in_order",
    "live",
    "made_up_part",
    "order_key",
    "same_bike",
    "start",
    "state_after",
    "view_of",
]


def _fitted(state: BikeState, position: str, there: Fitted, as_at: datetime) -> FittedPart:
    data, is_found = there.event.data, there.event.data.is_found
    fitted_at = None if is_found else there.event.occurred_at
    since = None
    if not is_found and there.distance_km is not None and state.distance_km is not None:
        since = state.distance_km - there.distance_km
    return FittedPart(
        position=position,
        part=there.part,
        make=data.make,
        model=data.model,
        fitted_at=fitted_at,
        distance_since_fitted_km=since,
        days_since_fitted=None if fitted_at is None else (as_at - fitted_at) // timedelta(days=1),
    )


def _advice_open(state: BikeState) -> Iterable[OpenAdvice]:
    for event, advice in state.advice.items():
        answer = state.advice_answers.get(event)
        if answer not in ("yes", "no"):
            yield replace(advice.given, answer=answer)


def _jobs_open(state: BikeState) -> Iterable[OpenJob]:
    for job in state.jobs.values():
        if job.opened_at is not None and not job.is_closed:
            yield OpenJob(job.job, job.tier, job.opened_at, job.promised_at, job.waiting_for)


def view_of(state: BikeState, as_at: datetime, known_seq: int) -> BikeView:
    """Give what people see of a state, its lists sorted by their keys."""

    def place(item: tuple[tuple[str, str, str | None], object]) -> tuple[str, str, str]:
        position, quantity, point = item[0]
        return position, quantity, point or ""

    return BikeView(
        shop=state.shop,
        bike=state.bike,
        as_at=as_at,
        as_known=known_seq,
        rider=state.rider,
        keeper=state.keeper,
        riding=state.riding,
        distance_km=state.distance_km,
        fitted=tuple(_fitted(state, *item, as_at) for item in sorted(state.fitted.items())),
        readings=tuple(item[1] for item in sorted(state.readings.items(), key=place)),
        settings=tuple(item[1] for item in sorted(state.settings.items(), key=place)),
        faults_open=tuple(state.faults[key] for key in sorted(state.faults)),
        findings_open=tuple(state.findings[key] for key in sorted(state.findings)),
        advice_open=tuple(sorted(_advice_open(state), key=lambda advice: advice.event)),
        jobs_open=tuple(sorted(_jobs_open(state), key=lambda job: job.job)),
        events_used=state.events_used,
    )


def state_after(events: Iterable[Event], shop: str, bike: str, words: Vocabulary) -> BikeState:
    """Give the state after live events that are in order already."""
    state = start(shop, bike)
    for event in events:
        state = apply(state, event, words)
    return state


def fold(
    events: Iterable[Event],
    *,
    shop: str,
    bike: str,
    as_at: datetime,
    known_seq: int,
    vocabulary: Vocabulary,
) -> BikeView:
    """Give a bike as at an instant, as the book knew it up to a seq.

    `events` are all stored events of the bike and of the tags joined with it, strikes included,
    in any order.
    """
    counted = [event for event in live(events, as_at, known_seq) if event.kind not in BOOK_KINDS]
    return view_of(state_after(counted, shop, bike, vocabulary), as_at, known_seq)
