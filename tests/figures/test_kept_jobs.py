"""Tables of jobs kept beside a book, held to those worked out from it."""

from __future__ import annotations

import random
from pathlib import Path

import pyarrow as pa
import pytest

from ledger import kept
from ledger.asking import OWNER
from ledger.book import Book
from ledger.events import Event, parse_event, plain
from ledger.figures.job_ledger import job_ledger
from ledger.figures.job_tables import JobTables, job_tables
from ledger.figures.kept_jobs import TABLES, jobs_ready
from ledger.figures.labour import labour_of
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from tests.independent.job_books import SHOP, book_events


def book_of(folder: Path) -> Book:
    """Give an empty book."""
    return Book.init(folder / "book", shop=SHOP, time_zone="Europe/Amsterdam")


def committed(book: Book, events: list[Event]) -> Book:
    """Put more stored events into a book, as one commit; gives it as it is opened then."""
    Log(LocalStore(book.path / "events")).commit(lambda head: events)
    return Book.open(book.path)


def rows_of(table: pa.Table) -> list[str]:
    """Give the rows of a table, in an order of their own."""
    return sorted(map(repr, table.select(sorted(table.column_names)).to_pylist()))


def differences(book: Book) -> list[str]:
    """Give the tables in which what is kept differs from what is worked out."""
    held, direct = job_tables(book), job_ledger(book)
    wrong = [
        name for name in TABLES if rows_of(getattr(held, name)) != rows_of(getattr(direct, name))
    ]
    if _named_tasks(held) != _named_tasks(JobTables(direct, lambda name: None)):
        wrong.append("tasks of their jobs")
    return wrong


def _named_tasks(tables: JobTables) -> list[str]:
    jobs = tables.jobs.select(["bike", "job"]).take(pa.array(tables.row_of_job))
    every = zip(jobs.to_pylist(), tables.tasks.select(["bike", "task"]).to_pylist(), strict=True)
    assert all(job["bike"] == task["bike"] for job, task in every)
    names = zip(jobs["job"].to_pylist(), tables.tasks["task"].to_pylist(), strict=True)
    return sorted(map(repr, names))


@pytest.fixture
def of_any_size(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let small books keep tables too, beside a base that is not written anew at once."""
    monkeypatch.setattr(kept, "FEWEST_EVENTS", 1)
    monkeypatch.setattr(kept, "_SMALL_BYTES", 1)


def test_kept_tables_follow_a_book_commit_by_commit(of_any_size: None, tmp_path: Path) -> None:
    """After every commit, of whatever, kept tables have the rows that are worked out."""
    for seed in range(4):
        folder = tmp_path / str(seed)
        folder.mkdir()
        chance, book = random.Random(seed), book_of(folder)
        events = book_events(chance)
        ends = [*sorted(chance.sample(range(len(events) // 2, len(events)), 3)), len(events)]
        start = 0
        for end in ends:
            book = committed(book, events[start:end])
            assert differences(book) == []
            start = end
        assert list((book.path / "derived").glob("job_*"))


def test_new_terms_make_kept_tables_anew(of_any_size: None, tmp_path: Path) -> None:
    """Wages told later for days before them move what is kept, as they move what is worked out."""
    events = [e for e in book_events(random.Random(7)) if e.kind != "event_struck"]
    book = committed(book_of(tmp_path), events)
    before = job_tables(book).jobs
    raw = {**plain(events[-1]), "kind": "terms_set", "bike": None, "job": None}
    wages = [{"mechanic": "mia", "minor_per_hour": 9999}]
    told = {"id": "01a00000-0000-7000-8000-000000000001", "seq": len(events) + 1,
            "data": {"from_on": "2025-01-01", "wages": wages}}  # fmt: skip
    raw = {name: value for name, value in {**raw, **told}.items() if value is not None}
    book = committed(book, [parse_event(raw)])
    assert differences(book) == []
    assert rows_of(job_tables(book).jobs) != rows_of(before)


def test_what_is_kept_is_used(of_any_size: None, tmp_path: Path) -> None:
    """Made ready beforehand, a page reads no relation of the whole book."""
    book = committed(book_of(tmp_path), book_events(random.Random(3)))
    jobs_ready(book)
    labour = labour_of(book, as_at=None, asker=OWNER)
    assert labour.by("tier") is not None and labour.by("task") is not None
    assert labour.ledger.ledger._tables == {}


def test_an_earlier_instant_is_worked_out(of_any_size: None, tmp_path: Path) -> None:
    """As at a day before the last event, or as known before it, nothing kept is believed."""
    events = book_events(random.Random(5))
    book = committed(book_of(tmp_path), events)
    middle = sorted(event.occurred_at for event in events)[len(events) // 2]
    for when in ({"as_at": middle}, {"known_seq": len(events) // 2}):
        held, direct = job_tables(book, **when), job_ledger(book, **when)
        assert rows_of(held.jobs) == rows_of(direct.jobs)
