"""The visits a new job may come back from."""

from __future__ import annotations

from stand_book import TAG, new_book, open_job

from ledger.bench import drafts
from ledger.bench.drafts import Hand, new_id
from ledger.bench.visits import earlier_visits
from ledger.book import Book


def closed(book: Book, job: str) -> None:
    """Open a job and close it again."""
    hand = Hand("mia", TAG, job)
    book.append([drafts.job_opened(hand.actor, TAG, job, new_id(), tier="full_service")])
    book.append([drafts.released(hand, new_id(), True), drafts.closed(hand, new_id(), [], "EUR")])


def test_only_closed_jobs_come_first_the_newest(tmp_path):
    """The one that is open is no earlier visit; the last ones are given, newest first."""
    book = new_book(tmp_path / "book")
    assert earlier_visits(book, TAG) == ()
    for job in ("J-1", "J-2", "J-3"):
        closed(book, job)
    open_job(book)
    found = earlier_visits(book, TAG, most=2)
    assert [one.job for one in found] == ["J-3", "J-2"]
    assert found[0].tier == "full_service"
    assert found[0].opened_at >= found[1].opened_at
