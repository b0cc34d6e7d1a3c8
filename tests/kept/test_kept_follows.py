"""What is kept of a book against the same worked out from its events, whatever happens to both."""

from __future__ import annotations

import json
import random
import re
import shutil
from collections.abc import Iterable, Iterator
from dataclasses import fields
from datetime import UTC, datetime
from heapq import merge
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

import ledger.kept
from ledger.asking import OWNER
from ledger.book import Book
from ledger.clocks import OF_CLOCKS
from ledger.events import Event, parse_event, plain
from ledger.figures.come_backs import WindowAsked
from ledger.figures.faults import BookFaults, faults_of
from ledger.figures.kept_faults import OF_FAULTS, OF_HOW_SURE
from ledger.kept import kept, words_known
from ledger.kept.reading import of_all
from ledger.queries import asked_of
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from ledger.vocabulary import Vocabulary
from tests.independent.test_matching_of_export import with_the_shops_own
from tests.long import times
from tests.strategies import BIKES, SHOP, Life, fault_lives, lives

OTHERS = ("6W8Y2Z4C", "9V7T5R3P")
KEEPS = (*OF_FAULTS, *OF_HOW_SURE, *OF_CLOCKS)
WINDOWS = (None, WindowAsked(30, 500), WindowAsked(0, 0), WindowAsked(30), WindowAsked(None, 0))


@pytest.fixture(autouse=True)
def small_books_are_kept_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Everything is kept, and followed bike by bike, however small the book."""
    monkeypatch.setattr(ledger.kept, "FEWEST_EVENTS", 0)
    monkeypatch.setattr(ledger.kept, "_SMALL_BYTES", 0)
    monkeypatch.setattr(ledger.kept, "_MOST_SHARE", 0)


def of_other_bikes(events: Iterable[Event]) -> list[dict[str, Any]]:
    """Give the same events of two other bikes, with jobs and ids of their own."""
    text = json.dumps([plain(event) for event in events])
    for one, other in zip(BIKES, OTHERS, strict=False):
        text = text.replace(one, other)
    text = re.sub(r"(-[0-9a-f]{4}-)0([0-9a-f]{11}\b)", r"\1e\2", text)
    return list(json.loads(text.replace('"j0-', '"k0-').replace('"j1-', '"k1-')))


def together(first: Iterable[Event], second: Iterable[Event]) -> list[Event]:
    """Give the events of both in the order they were recorded, the second of other bikes."""
    raws = merge(
        (plain(event) for event in first),
        of_other_bikes(second),
        key=lambda raw: raw["recorded_at"],
    )
    return [parse_event({**raw, "seq": seq}) for seq, raw in enumerate(raws, 1)]


def parts(events: list[Event], chance: random.Random) -> Iterator[list[Event]]:
    """Give the events in a few commits, most of them short."""
    start = chance.randrange(len(events) // 3, len(events))
    yield events[:start]
    while start < len(events):
        end = min(len(events), start + 2 + len(events) // chance.choice((6, 8, 30)) - 1)
        yield events[start:end]
        start = end


def rows(table: pa.Table) -> list[str]:
    return sorted(map(repr, table.to_pylist()))


def told(words: Vocabulary) -> dict[str, Any]:
    return {field.name: getattr(words, field.name) for field in fields(words)}


def direct(book: Book, size: int) -> dict[str, list[str]]:
    return {keep.name: rows(keep.make(of_all(book, size))) for keep in KEEPS}


def as_kept(book: Book) -> dict[str, list[str] | None]:
    asked = asked_of(book, datetime(2101, 1, 1, tzinfo=UTC), None)
    tables = {keep.name: kept(book, keep, asked) for keep in KEEPS}
    return {name: None if table is None else rows(table) for name, table in tables.items()}


def preventive_of(found: BookFaults) -> pa.Table:
    work = found.tables.preventive_work
    return work.select(["bike", "job", "position", "treatment", "occurred_at", "is_billed"])


def front(found: BookFaults) -> list[Any]:
    told = [found.pareto(by, "cost") for by in ("fault", "position", "model", "tier")]
    jobs = sorted(found.jobs, key=lambda job: (job.bike, job.job))
    return [found.front, found.notes, found.counts, found.unpaid, told, jobs, found.cautions,
            found.bikes("fault", None), rows(found.repairs), rows(found.repeats),
            rows(found.tables.spells), rows(preventive_of(found))]  # fmt: skip


def hold(life: Life, other: Life, chance: random.Random, folder: Path) -> int:
    """Hold kept and direct equal after every commit; gives how often a bike was looked at anew."""
    events = together(with_the_shops_own(life, chance), other.events)
    log = Log(LocalStore(Book.init(folder / "book", shop=SHOP).path / "events"))
    staying = Book.open(folder / "book")
    followed = 0
    for part in parts(events, chance):
        log.commit(lambda head, part=part: part)
        followed += any((folder / "book" / "derived").glob("*/*.arrow"))
        if chance.random() < 0.15:
            shutil.rmtree(folder / "book" / "derived", ignore_errors=True)
        book = chance.choice((staying, Book.open(folder / "book")))
        assert as_kept(book) == direct(book, book.head.size)
        assert told(words_known(book, book.head.size)) == told(book.vocabulary)
    window = chance.choice(WINDOWS)
    kept_front = front(faults_of(Book.open(folder / "book"), LATER, window=window, asker=OWNER))
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(ledger.kept, "FEWEST_EVENTS", 10**9)
        assert kept_front == front(faults_of(staying, LATER, window=window, asker=OWNER))
    return followed


LATER = datetime(2101, 1, 1, tzinfo=UTC)


def hold_lives(life: st.SearchStrategy[Life], examples: int, folders: Any) -> int:
    followed = 0

    @settings(max_examples=examples, deadline=None, derandomize=True, database=None,
              phases=(Phase.generate,), suppress_health_check=list(HealthCheck))  # fmt: skip
    @given(life=life, other=life, chance=st.randoms(use_true_random=False))
    def on_random_books(life: Life, other: Life, chance: random.Random) -> None:
        nonlocal followed
        followed += hold(life, other, chance, folders.mktemp("life"))

    on_random_books()
    return followed


def test_what_is_kept_is_what_the_events_say(tmp_path_factory: Any) -> None:
    """Whatever is recorded, late, struck or linked, kept tables and figures are the direct ones."""
    assert hold_lives(fault_lives(30), 3, tmp_path_factory) > 5


@pytest.mark.slow
def test_what_is_kept_of_many_books_is_what_their_events_say(tmp_path_factory: Any) -> None:
    """The same on many random books."""
    assert hold_lives(fault_lives(60), times(40, usual=6), tmp_path_factory) > 12
    assert hold_lives(lives(60), times(12, usual=3), tmp_path_factory) > 6
