"""What is kept of a great book, made a range of bikes at a time, against the same made at once."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from functools import partial
from itertools import pairwise
from pathlib import Path
from random import Random
from typing import Any

import pyarrow as pa
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st

import ledger.kept
from ledger.book import Book
from ledger.figures.ahead import BookTables
from ledger.figures.job_tables import job_tables
from ledger.figures.kept_faults import EPISODES, OF_FAULTS
from ledger.figures.kept_jobs import TABLES
from ledger.figures.marks import in_time
from ledger.kept import Keep, as_it_is, keep_ready, kept, ranges
from ledger.kept.reading import of_all
from ledger.kept.shelf import by_bike, merged, without
from ledger.queries import asked_of
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from tests.figures.fault_books import (
    CROW,
    GULL,
    TERN,
    book_of,
    cured,
    found,
    registered,
    squeal_twice,
    visit,
)
from tests.kept.test_kept_follows import hold_lives, rows
from tests.long import times
from tests.strategies import SHOP, Life, fault_lives, lives

LATER = datetime(2101, 1, 1, tzinfo=UTC)
TAGS = st.text("ABC", min_size=1, max_size=2)


@pytest.fixture(autouse=True)
def small_books_are_great(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every book is kept, made in ranges of a few events; few bikes are told beside a base."""
    monkeypatch.setattr(ledger.kept, "_MOST_REPLACED", 1)
    for name in ("FEWEST_EVENTS", "_SMALL_BYTES", "_MOST_SHARE"):
        monkeypatch.setattr(ledger.kept, name, 0)
    for name, value in (("MOST_AT_ONCE", 0), ("ROWS_AT_ONCE", 16), ("_LAID_AT_ONCE", 5)):
        monkeypatch.setattr(ranges, name, value)


def three(folder: Path) -> Book:
    bikes = (GULL, TERN, CROW)
    return book_of(folder, registered(*bikes), *(squeal_twice(bike) for bike in bikes))


def table_of(book: Book, keep: Keep = EPISODES) -> pa.Table:
    found = kept(book, keep, asked_of(book, LATER, None))
    assert found is not None
    return found


def directly(book: Book, keep: Keep = EPISODES) -> pa.Table:
    return by_bike(keep.make(of_all(book, book.head.size)))


def test_what_is_made_by_ranges_is_what_the_events_say(tmp_path_factory: Any) -> None:
    """Whatever is recorded, late, struck or linked, kept tables and figures are the direct ones."""
    assert hold_lives(fault_lives(30), 1, tmp_path_factory) > 1


@pytest.mark.slow
def test_what_is_made_by_ranges_of_many_books_is_what_their_events_say(
    tmp_path_factory: Any,
) -> None:
    """The same on many random books."""
    assert hold_lives(fault_lives(60), times(20, usual=2), tmp_path_factory) > 3
    assert hold_lives(lives(60), times(8, usual=1), tmp_path_factory) > 2


def test_a_great_table_lies_in_chunks_that_are_read_in_place(tmp_path: Path) -> None:
    """Each range of bikes is a chunk; the rows are those of the whole, in the same order."""
    book = three(tmp_path)
    assert table_of(book)["bike"].num_chunks > 1
    again = table_of(Book.open(book.path))
    assert again["bike"].num_chunks > 1
    assert again.equals(directly(book))
    assert len(again) > 2


def test_what_is_told_anew_keeps_the_chunks_of_the_rest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A base that is written anew is put together a chunk at a time."""
    monkeypatch.setattr(ledger.kept, "_MOST_REPLACED", 0)
    book = three(tmp_path)
    chunks = table_of(book)["bike"].num_chunks
    for bike in (GULL, CROW):
        told = visit("2026-05-20", bike, f"{bike}-3", found("squeal"), cured("squeal"))
        book.append(told, confirm_clock=True)
        assert table_of(book).equals(directly(book))
    assert table_of(book)["bike"].num_chunks == chunks
    assert table_of(Book.open(book.path)).equals(directly(book))


def test_where_nothing_can_be_written_great_tables_are_in_memory(tmp_path: Path) -> None:
    """Every answer is there all the same."""
    book = three(tmp_path)
    said = table_of(book)
    shutil.rmtree(book.path / "derived")
    (book.path / "derived").write_text("in the way")
    again = Book.open(book.path)
    keep_ready(again, OF_FAULTS)
    for keep in OF_FAULTS:
        assert table_of(again, keep).equals(directly(book, keep))
    assert table_of(again).equals(said)


def test_texts_are_laid_of_the_kinds_that_are_asked_for() -> None:
    """A relation that reads texts says of which kinds; one that does not reads all of them."""
    asked = ("fitting_documents", "registration_documents", "labour_spells")
    assert ranges.kinds_of_documents(asked) == {"part_fitted", "bike_registered"}
    assert ranges.kinds_of_documents((*asked, "timeline")) is None
    assert "canonical" not in ranges.columns_of(["labour_spells"])
    assert "canonical" in ranges.columns_of(asked)


@pytest.mark.parametrize("relation", ["fitting_documents", "registration_documents", "timeline"])
def test_texts_of_a_range_are_those_of_the_events(tmp_path: Path, relation: str) -> None:
    """Whatever asks for them."""
    book = three(tmp_path)
    keep = Keep("texts", (relation,), partial(as_it_is, relation))
    assert rows(table_of(book, keep)) == rows(directly(book, keep))
    assert len(table_of(book, keep)) >= (0 if relation == "fitting_documents" else 3)


def test_a_book_without_bikes_has_one_range(tmp_path: Path) -> None:
    """What the book itself says is of no bike."""
    book = Book.init(tmp_path / "book", shop="tern")
    for name in ("mia", "ole"):
        told = {"kind": "mechanic_registered", "actor": name, "data": {"mechanic": name}}
        book.append([told])
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(ranges, "ROWS_AT_ONCE", 1)
        patched.setattr(ranges, "MOST_AT_ONCE", 0)
        assert not len(table_of(book))


def test_tables_made_together_read_the_book_once(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However many they are, events are laid on the disk once, and are gone afterwards."""
    book, laid = three(tmp_path), []
    lay = ranges.laid_events

    def counted(book: Book, relations: Any, folder: Path) -> Any:
        laid.append(folder)
        return lay(book, relations, folder)

    monkeypatch.setattr(ranges, "laid_events", counted)
    keep_ready(book, OF_FAULTS)
    keep_ready(book, OF_FAULTS)
    assert len(laid) == 1
    assert not laid[0].exists()


def job_rows(book: Book, as_at: datetime, known_seq: int) -> list[list[str]]:
    tables = job_tables(book, as_at, known_seq)
    with BookTables(book, as_at, known_seq).marks() as pieces:
        marks = in_time(pa.concat_tables(pieces.read())).table
    in_order = marks.select(sorted(marks.column_names)).to_pylist()
    return [*(rows(getattr(tables, name)) for name in TABLES), list(map(repr, in_order))]


@settings(max_examples=times(20, usual=3), deadline=None, derandomize=True, database=None,
          phases=(Phase.generate,), suppress_health_check=list(HealthCheck))  # fmt: skip
@given(life=fault_lives(30), chance=st.randoms(use_true_random=False))
def test_jobs_and_marks_of_any_instant_and_any_seq_are_those_made_at_once(
    tmp_path_factory: Any, life: Life, chance: Random
) -> None:
    """What is kept nowhere is made by ranges too: as at a day before, as known earlier."""
    path = tmp_path_factory.mktemp("life") / "book"
    log = Log(LocalStore(Book.init(path, shop=SHOP).path / "events"))
    log.commit(lambda head: life.events)
    book, size = Book.open(path), len(life.events)
    for _ in range(2):
        asked = chance.choice(life.events).occurred_at, chance.randrange(1, size + 1)
        by_range = job_rows(book, *asked)
        with pytest.MonkeyPatch.context() as patched:
            patched.setattr(ranges, "MOST_AT_ONCE", size)
            assert by_range == job_rows(book, *asked)


def figures(told: list[tuple[str, int]]) -> pa.Table:
    bikes = pa.array([tag for tag, _ in told], pa.string())
    return pa.table({"bike": bikes, "figure": pa.array([one for _, one in told], pa.int64())})


@settings(max_examples=100, deadline=None)
@given(st.lists(st.tuples(TAGS, st.integers(0, 9)), max_size=30), st.sets(TAGS), st.data())
def test_merging_by_chunks_is_merging_at_once(
    told: list[tuple[str, int]], tags: set[str], data: st.DataObject
) -> None:
    """Wherever a table is cut between bikes, bikes told anew come out as from one piece."""
    base = by_bike(figures(told))
    names = sorted({tag for tag, _ in told})
    cuts = sorted(data.draw(st.sets(st.sampled_from(names)))) if names else []
    column = base["bike"].to_pylist()
    ends = [column.index(tag) for tag in cuts]
    chunked = pa.concat_tables(
        base.slice(start, end - start)
        for start, end in zip([0, *ends], [*ends, len(base)], strict=True)
    )
    new = [(tag, 100 + place) for place, tag in enumerate(sorted(tags))][::2]
    newer = figures(new)
    rest = [row for row in base.to_pylist() if row["bike"] not in tags]
    assert without(chunked, tags).to_pylist() == rest
    expected = sorted([*rest, *newer.to_pylist()], key=lambda row: row["bike"])
    pieces = list(merged(chunked, tags, newer))
    assert pa.concat_tables(pieces).to_pylist() == expected
    bikes = [piece["bike"].to_pylist() for piece in pieces if len(piece)]
    assert all(one[-1] < other[0] for one, other in pairwise(bikes))
