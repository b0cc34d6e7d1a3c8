"""Forecasts that are held in memory: those made anew, whatever was recorded or asked since."""

from __future__ import annotations

import gc
import random
import weakref
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from ledger import kept
from ledger.asking import OWNER
from ledger.book import Book
from ledger.errors import WrongUse
from ledger.events import Event
from ledger.figures import foresee_fitted
from ledger.figures.foresee import calibration, foresee
from ledger.figures.foresee_fitted import Foreseen, foreseen
from ledger.queries import asked_of
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from ledger.vocabulary.caution import CAUTION
from tests.independent.job_books import SHOP, book_events

LATE = datetime(2027, 1, 1, tzinfo=UTC)
PLANS: tuple[dict[str, Any], ...] = (
    {"tasks": {"drivetrain": None}},
    {"tasks": {"brakes": 45.0, "gears": None}, "risk": 0.4, "price_minor": 4000},
    {"tasks": {"drivetrain": 30.0}, "is_old": True},
)


def book_of(folder: Path, events: list[Event]) -> Book:
    book = Book.init(folder / "book", shop=SHOP, time_zone="Europe/Amsterdam")
    return committed(book, events)


def committed(book: Book, events: list[Event]) -> Book:
    """Put more stored events into a book, as one commit."""
    Log(LocalStore(book.path / "events")).commit(lambda head: events)
    return book


def told(book: Book, **when: Any) -> list[str]:
    """Everything that is foretold, or why it cannot be."""
    said = [repr(calibration(book, **when, asker=OWNER))]
    for plan in PLANS:
        try:
            said.append(repr(foresee(book, **plan, **when, asker=OWNER)))
        except WrongUse as error:
            said.append(str(error))
    return said


@pytest.mark.parametrize("fewest", [1, 10**9], ids=["kept", "worked out"])
def test_a_book_asked_again_says_what_it_says_when_opened_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, fewest: int
) -> None:
    """After every commit, at instants before and after the last event, and as known before."""
    monkeypatch.setattr(kept, "FEWEST_EVENTS", fewest)
    monkeypatch.setattr(foresee_fitted, "FEWEST_EVENTS", fewest)
    chance = random.Random(4)
    events = book_events(chance, 30)
    middle = sorted(event.occurred_at for event in events)[len(events) // 2]
    start = len(events) // 2
    book = book_of(tmp_path, events[:start])
    for end in (start + 20, start + 21, len(events)):
        committed(book, events[start:end])
        start = end
        for when in ({"as_at": LATE}, {"as_at": middle}, {"known_seq": start // 2, "as_at": LATE},
                     {"as_at": LATE}, {"as_at": LATE.replace(year=2028)}):  # fmt: skip
            assert told(book, **when) == told(Book.open(book.path), **when)


def test_a_later_instant_asks_the_same_model(tmp_path: Path) -> None:
    """Nothing is fitted anew for another risk, plan, or minute; an instant of the past has its
    own."""
    events = book_events(random.Random(4), 30)
    book = book_of(tmp_path, events)
    middle = sorted(event.occurred_at for event in events)[len(events) // 2]
    first = foreseen(book, asked_of(book, LATE, None))
    assert foreseen(book, asked_of(book, LATE.replace(minute=1), None)) is first
    past = foreseen(book, asked_of(book, middle, None))
    assert past is not first and len(past.tables.jobs) < len(first.tables.jobs)
    assert foreseen(book, asked_of(book, middle, None)) is past
    assert foreseen(book, asked_of(book, LATE, None)) is first


def test_a_book_that_is_let_go_of_is_gone(tmp_path: Path) -> None:
    """What is held of a book does not hold the book."""
    book = book_of(tmp_path, book_events(random.Random(4), 30))
    told(book)
    gone = weakref.ref(book)
    del book
    gc.collect()
    assert gone() is None


def test_many_who_ask_at_once_are_given_one_model(tmp_path: Path) -> None:
    """Threads wait for the one that fits it."""
    book = book_of(tmp_path, book_events(random.Random(4), 30))

    def ask(_: int) -> tuple[Foreseen, str]:
        asked = asked_of(book, LATE, None)
        return foreseen(book, asked), repr(foresee(book, **PLANS[2], as_at=LATE, asker=OWNER))

    with ThreadPoolExecutor(8) as many:
        answers = list(many.map(ask, range(16)))
    assert len({id(one) for one, _ in answers}) == len({said for _, said in answers}) == 1


@pytest.mark.parametrize(
    ("plan", "is_cautioned"),
    [
        ({"tasks": {"drivetrain": 30.0, "cleaning": 10.0, "gears": 15.0}}, False),
        ({"tasks": {"drivetrain": 30.0, "brakes": 10.0}}, True),
        *(({"tasks": {task: 20.0}}, True)
          for task in ("brake_bleed", "wheel_truing", "wheel_building", "tyres", "bearings",
                       "suspension", "electrical", "safety_check", "other")),
    ],
)  # fmt: skip
def test_work_on_what_may_hurt_somebody_is_told_with_the_caution(
    tmp_path: Path, plan: dict[str, Any], is_cautioned: bool
) -> None:
    """A task of brakes, wheels, steering, fork or battery has it; a drivetrain alone has not."""
    book = book_of(tmp_path, book_events(random.Random(4), 30))
    assert foresee(book, **plan, as_at=LATE, asker=OWNER).cautions == (
        (CAUTION,) if is_cautioned else ()
    )


def test_a_tier_is_told_with_the_caution_of_its_tasks(tmp_path: Path) -> None:
    """By the tasks its terms tell; with none told, nobody knows what it touches."""
    book = book_of(tmp_path, book_events(random.Random(4), 30))
    tiers = [
        {"code": "shine", "label": "Shine", "minutes": 40, "price_minor": 3000,
         "tasks": [{"task": "cleaning", "minutes": 40}]},
        {"code": "stop", "label": "Stop", "minutes": 40, "price_minor": 3000,
         "tasks": [{"task": "cleaning", "minutes": 10}, {"task": "brakes", "minutes": 30}]},
        {"code": "untold", "label": "Untold", "minutes": 40, "price_minor": 3000},
    ]  # fmt: skip
    told_today = {"kind": "terms_set", "actor": "mia",
                  "data": {"from_on": "2024-01-01", "tiers": tiers}}  # fmt: skip
    book.append([told_today], confirm_clock=True)
    cautions = {
        tier: foresee(book, tier=tier, as_at=LATE, asker=OWNER).cautions
        for tier in ("shine", "stop", "untold")
    }
    assert cautions == {"shine": (), "stop": (CAUTION,), "untold": (CAUTION,)}
