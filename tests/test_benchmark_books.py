"""Books written for timing are true books."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from ledger.book import Book
from ledger.proofs.verify import check_files
from ledger.queries import bike_view
from tests.benchmarks.books import write_book, write_shops
from tests.benchmarks.telling import other_tag

TAGS = ("1AK3M9QX", "ZZY3MQXA", "2B4D6F8H")
NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


def of(kind: str, bike: str | None = None, job: str | None = None, **data: Any) -> dict[str, Any]:
    about = {name: value for name, value in (("bike", bike), ("job", job)) if value}
    at = "2026-03-01T12:00:00Z"
    return {"kind": kind, "actor": "m1", "occurred_at": at, "data": data, **about}


@pytest.fixture
def base(tmp_path: Path) -> Path:
    """A small book that names its jobs and riders as the demo does, with 25 events."""
    book = Book.init(tmp_path / "base", shop="saltmarrow", clock=lambda: NOW)
    book.append([of("mechanic_registered", mechanic="m1", role="owner")], confirm_clock=True)
    for number, tag in enumerate(TAGS):
        job, rider = f"j0-{number:05}", f"r{number:06}"
        line = {"line": f"{job}.0", "line_type": "labour", "code": "brake", "net_minor": 900}
        cost = {"currency": "EUR", "lines": [{**line, "payer": rider}]}
        answers = [{"line": f"{job}.0", "answer": "yes"}]
        book.append([
            of("bike_registered", tag, make="Ordwick"),
            of("rider_changed", tag, rider=rider, keeper=rider, payer=rider),
            of("job_opened", tag, job, complaint="ticks"),
            of("part_fitted", tag, job, position="chain", part=f"{tag}-1"),
            of("noted", tag, job, position="chain", text="waxed"),
        ])  # fmt: skip
        quote = {"quote": f"{job}.q1"}
        book.append([of("quote_given", tag, job, form="fixed", **cost, **quote)])
        book.append(
            [of("quote_answered", tag, job, answers=answers, by=rider, how="message", **quote)]
        )
        charged = {**line, "payer": rider, "line": f"{job}.c0", "quote_line": f"{job}.0"}
        book.append([of("job_closed", tag, job, currency="EUR", lines=[charged])])
    return tmp_path / "base"


def test_a_book_told_again_is_as_true_as_its_base(tmp_path: Path, base: Path) -> None:
    """Hashes, roots, hot columns and statistics agree; its seqs pass 9, 99 and 999."""
    book = write_book(tmp_path / "book", 1_100, base)
    assert book.head.size >= 1_100
    assert check_files(book.path).problems == []
    tags = book.bikes()
    assert len(set(tags)) == len(tags) == 3 * len(book.files())
    again = bike_view(book, other_tag(TAGS[1], 40))
    assert [part.part for part in again.fitted] == [f"{other_tag(TAGS[1], 40)}-1"]
    assert again.rider == "r0040000001"


def test_the_same_bytes_come_of_the_same_base(tmp_path: Path, base: Path) -> None:
    """Written twice, file by file."""
    once, twice = (write_book(tmp_path / name, 60, base) for name in ("a", "b"))
    assert [one.read_bytes() for one in once.files()] == [one.read_bytes() for one in twice.files()]


def test_every_shop_has_bikes_of_its_own_and_some_are_linked(tmp_path: Path, base: Path) -> None:
    """Shops, tags and ids apart; each book true; links name a bike that is in the other book."""
    folders = write_shops(tmp_path / "shops", ["quay", "far-harbour"], 40, base)
    quay, harbour = map(Book.open, folders)
    assert [quay.settings.shop, harbour.settings.shop] == ["quay", "far-harbour"]
    assert [check_files(folder).problems for folder in folders] == [[], []]
    assert not set(quay.bikes()) & set(harbour.bikes())
    links = [one.data for one in harbour.events() if one.kind == "bike_linked"]
    assert len(links) == len(TAGS)
    assert {(one.second.shop, one.second.bike in quay.bikes()) for one in links} == {("quay", True)}
