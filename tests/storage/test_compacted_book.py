"""A book that is compacted while it is used: every answer stays what it was."""

from __future__ import annotations

import random
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from ledger import kept
from ledger.book import Book
from ledger.engines.duckdb import Asked
from ledger.queries import whole_table
from ledger.storage import bulk, compaction, reading, segment, segments
from tests.storage.test_segments import (
    BIKES,
    SHOP,
    noon,
    note,
    opened,
    plainly,
    raws,
    told,
)

NONE = timedelta(0)
SUMMARY = kept.Keep("summary", ("bike_summary",), lambda read: kept.as_it_is("bike_summary", read))
END = datetime(2201, 1, 1, tzinfo=UTC)


@pytest.fixture(autouse=True)
def small_is_great(monkeypatch: pytest.MonkeyPatch) -> None:
    """Blocks of 4 and 16 commits; files of more than 20 events are great; all is kept."""
    monkeypatch.setattr(compaction, "BLOCKS", (4, 16))
    monkeypatch.setattr(bulk, "ROWS_IN_SEGMENT", 30)
    monkeypatch.setattr(segment, "ROWS_IN_GROUP", 10)
    monkeypatch.setattr(reading, "_SMALL", 20)
    monkeypatch.setattr(segments, "FEWEST_EVENTS", 0)
    monkeypatch.setattr(kept, "FEWEST_EVENTS", 1)


def book_of(folder: Path, chance: random.Random) -> Book:
    """Make a book of single commits behind a small import."""
    book = Book.init(folder, shop=SHOP, clock=noon)
    book.import_own(raws(chance, 60))
    return book


def answers(book: Book) -> list[object]:
    """Give what is asked of a book: by bike, of the book, by id, in order, kept and whole."""
    tags = {BIKES[0], BIKES[3]}
    ids = [event.id for event in book.bike_events(BIKES[1])]
    asked = Asked(END, book.head.size)
    table = kept.kept(book, SUMMARY, asked)
    assert table is not None
    whole = whole_table(book, "bike_summary", END, book.head.size)
    of_bikes = {row["bike"]: row for row in whole.to_pylist()}
    assert {row["bike"]: row for row in table.to_pylist()} == of_bikes
    return [told(book, tags), sorted(book.find(ids)), list(book.rows()), of_bikes, book.head.root]


@pytest.mark.parametrize("seed", range(4))
def test_answers_are_the_same_whatever_was_merged(tmp_path: Path, seed: int) -> None:
    """By a book that stays open, one opened anew and one never compacted; kept tables follow."""
    chance = random.Random(seed)
    staying = book_of(tmp_path / "book", chance)
    for _ in range(4):
        for _ in range(chance.randrange(3, 9)):
            staying.append([note(chance.choice(BIKES), 900) for _ in range(chance.randrange(1, 4))])
        expected = answers(staying)
        for grace in (compaction.GRACE, NONE):
            opened(tmp_path / "book").compact(grace=grace)
            for book in (staying, opened(tmp_path / "book")):
                assert answers(book) == expected
                assert told(book, {BIKES[5]}) == plainly(book, {BIKES[5]})
    assert staying.verify_roots() == []


def test_what_was_kept_before_a_compaction_is_used_after_it(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A kept table is of a size and a root, so merging files does not make it anew."""
    book = book_of(tmp_path / "book", random.Random(7))
    for _ in range(9):
        book.append([note(BIKES[0], 900)])
    expected = answers(book)
    book.compact(grace=NONE)
    monkeypatch.setattr(kept, "_made", None)
    again = opened(tmp_path / "book")
    table = kept.kept(again, SUMMARY, Asked(END, again.head.size))
    assert table is not None and {row["bike"]: row for row in table.to_pylist()} == expected[3]


def test_an_event_is_found_by_its_seq_in_whichever_file_it_is(tmp_path: Path) -> None:
    """In commits, in segments and in commits after them; none before the first, after the last."""
    book = book_of(tmp_path / "book", random.Random(11))
    for merged in (False, True):
        for again in (book, opened(tmp_path / "book")):
            seqs = range(1, again.head.size + 1)
            found = [again.at_seq(seq) for seq in seqs]
            assert found == list(again.events())
            assert [again.at_seq(seq) for seq in (0, -1, again.head.size + 1)] == [None] * 3
        if not merged:
            for _ in range(9):
                book.append([note(BIKES[0], 900)])
            assert book.compact(grace=NONE)
            book.append([note(BIKES[0], 900)])


def test_states_in_memory_outlive_a_compaction(tmp_path: Path) -> None:
    """A segment of commits that were read singly brings nothing new, so nothing is dropped."""
    book = book_of(tmp_path / "book", random.Random(3))
    for _ in range(9):
        book.append([note(BIKES[0], 900)])
    held = dict(book._recorder._lives)
    assert held
    book.compact(grace=NONE)
    assert book.bikes()
    assert dict(book._recorder._lives) == held


def test_a_file_taken_away_while_it_is_read_is_looked_for_again(tmp_path: Path) -> None:
    """Who lists, and reads when the listed files are gone, reads what covers them."""
    book, other = book_of(tmp_path / "book", random.Random(5)), opened(tmp_path / "book")
    for _ in range(9):
        book.append([note(BIKES[0], 900)])
    expected = told(other, {BIKES[0]})
    rows: Iterator[object] = other.rows()
    first = [next(rows) for _ in range(62)]
    follow = other._recorder.follow

    def late(paths: list[Path]) -> None:
        other._recorder.follow = follow  # type: ignore[method-assign]  # only once
        book.compact(grace=NONE)
        follow(paths)

    other._reader._files.clear()
    other._recorder.follow = late  # type: ignore[method-assign]  # as somebody slow
    assert told(other, {BIKES[0]}) == expected
    assert [*first, *rows] == list(book.rows())


def test_recording_compacts_by_itself(tmp_path: Path) -> None:
    """After the first commit of a new block the one before it is merged; the receipt is as ever."""
    book = Book.init(tmp_path / "book", shop=SHOP, clock=noon)
    registered = {"kind": "bike_registered", "bike": BIKES[0], "actor": "mia", "data": {}}
    book.append([{"kind": "mechanic_registered", "actor": "mia", "data": {"mechanic": "mia"}}])
    book.append([registered])
    receipts = [book.append([note(BIKES[0], km)]) for km in range(100, 107)]
    assert [receipt.commit for receipt in receipts] == [*range(3, 10)]
    names = {path.name for path in book.files()}
    assert names == {f"s-{1:012}-{4:012}.parquet", f"s-{5:012}-{8:012}.parquet",
                     f"c-{9:012}.parquet"}  # fmt: skip
    assert [event.seq for event in book.events()] == [*range(1, 10)]


def test_recording_goes_on_where_nothing_can_be_merged(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A compaction that fails is nobody's concern who records."""
    book = book_of(tmp_path / "book", random.Random(2))
    monkeypatch.setattr(compaction, "compact", lambda *a, **k: (_ for _ in ()).throw(OSError(28)))
    commits = [book.append([note(BIKES[0], 900)]).commit for _ in range(9)]
    assert commits == [*range(commits[0], commits[0] + 9)]
    shutil.rmtree(tmp_path / "book" / "derived", ignore_errors=True)
    assert opened(tmp_path / "book").head.commit == commits[-1]
