"""Kept files that are damaged, foreign, late or cannot be written: every answer stays the same."""

from __future__ import annotations

import shutil
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

import ledger.kept
from ledger.asking import OWNER
from ledger.book import Book
from ledger.figures.faults import faults_of
from ledger.figures.kept_faults import EPISODES, OF_FAULTS
from ledger.kept import keep_ready, kept
from ledger.queries import asked_of
from tests.figures.fault_books import CROW, GULL, TERN, book_of, registered, squeal_twice
from tests.kept.damages import cut_off, emptied, one_bit_turned

LATER = datetime(2101, 1, 1, tzinfo=UTC)


@pytest.fixture(autouse=True)
def small_books_are_kept_too(monkeypatch: pytest.MonkeyPatch) -> None:
    """Tables are kept however small the book."""
    monkeypatch.setattr(ledger.kept, "FEWEST_EVENTS", 0)


def twice(folder: Path, *bikes: str) -> Book:
    return book_of(folder, registered(*bikes), *(squeal_twice(bike) for bike in bikes))


def episodes(path: Path) -> list[str]:
    book = Book.open(path)
    table = kept(book, EPISODES, asked_of(book, LATER, None))
    assert table is not None
    return sorted(map(repr, table.to_pylist()))


def the_file(book: Book) -> Path:
    (path,) = book.path.glob(f"derived/{EPISODES.folder}/*.arrow")
    return path


def something_else(path: Path) -> None:
    path.write_text("notes of a long day\n" * 50)


@pytest.mark.parametrize("damage", [cut_off, emptied, one_bit_turned, something_else])
def test_a_damaged_file_is_as_if_it_were_not_there(
    tmp_path: Path, damage: Callable[[Path], None]
) -> None:
    """It is made anew, and put in the place of the damaged one."""
    book = twice(tmp_path, GULL)
    said = episodes(book.path)
    sound = the_file(book).read_bytes()
    damage(the_file(book))
    assert episodes(book.path) == said
    assert the_file(book).read_bytes() == sound


def test_a_file_of_another_table_under_its_name_is_not_believed(tmp_path: Path) -> None:
    """It is sound, and of this very book at this very size, and holds something else."""
    book = twice(tmp_path, GULL)
    keep_ready(book, OF_FAULTS)
    asked = asked_of(book, LATER, None)
    said = {one.name: kept(book, one, asked) for one in OF_FAULTS}
    (sound,) = book.path.glob(f"derived/{EPISODES.folder}/*.arrow")
    for one in OF_FAULTS:
        if one.name != EPISODES.name:
            shutil.copy(sound, next(book.path.glob(f"derived/{one.folder}/*.arrow")))
    again = Book.open(book.path)
    for one in OF_FAULTS:
        assert kept(again, one, asked) == said[one.name]


def test_what_was_kept_of_another_book_is_not_believed(tmp_path: Path) -> None:
    """Its root is another one, though it is as long and has as many commits."""
    one, other = twice(tmp_path / "one", GULL), twice(tmp_path / "other", TERN)
    assert one.head.size == other.head.size
    said = episodes(one.path)
    episodes(other.path)
    shutil.rmtree(one.path / "derived")
    shutil.copytree(other.path / "derived", one.path / "derived")
    assert episodes(one.path) == said
    assert all(GULL in row for row in said)


def test_what_was_kept_of_what_a_restored_book_lost_is_not_believed(tmp_path: Path) -> None:
    """A book put back from a backup, and gone on otherwise, has another root at that commit."""
    book = twice(tmp_path, GULL)
    backup = shutil.copytree(book.path, tmp_path / "backup")
    book.append(registered(TERN), confirm_clock=True)
    book.append(squeal_twice(TERN), confirm_clock=True)
    episodes(book.path)
    shutil.copytree(book.path / "derived", backup / "derived")
    restored = Book.open(backup, clock=lambda: datetime(2026, 6, 1, 12, tzinfo=UTC))
    restored.append(registered(CROW), confirm_clock=True)
    restored.append(squeal_twice(CROW), confirm_clock=True)
    restored.append([*registered("6W8Y2Z4C")], confirm_clock=True)
    assert not any(TERN in row for row in episodes(backup))
    assert any(CROW in row for row in episodes(backup))


def test_where_nothing_can_be_written_nothing_is_kept(tmp_path: Path) -> None:
    """A folder that cannot be made leaves every answer as it is."""
    book = twice(tmp_path, GULL)
    said = episodes(book.path)
    shutil.rmtree(book.path / "derived")
    (book.path / "derived").write_text("in the way")
    assert episodes(book.path) == said


def test_an_earlier_instant_or_an_earlier_seq_is_worked_out_from_the_events(tmp_path: Path) -> None:
    """What is kept holds all the book knows: nothing is taken from it for a day before that."""
    book = twice(tmp_path, GULL)
    size, early = book.head.size, datetime(2026, 3, 15, tzinfo=UTC)
    assert kept(book, EPISODES, asked_of(book, LATER, size)) is not None
    assert kept(book, EPISODES, asked_of(book, early, size)) is None
    assert kept(book, EPISODES, asked_of(book, LATER, size - 1)) is None
    assert faults_of(book, early, asker=OWNER).counts.count_found == 1
    assert faults_of(book, asker=OWNER).counts.count_found == 2


def test_nothing_is_kept_of_a_small_book(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Its figures are worked out as soon as its files would be read."""
    monkeypatch.setattr(ledger.kept, "FEWEST_EVENTS", 100)
    book = twice(tmp_path, GULL)
    keep_ready(book, OF_FAULTS)
    assert faults_of(book, asker=OWNER).counts.count_found == 2
    assert not (book.path / "derived").exists()


def test_one_size_of_a_table_is_kept(tmp_path: Path) -> None:
    """Once the book has moved on, what was kept of it before is cleared away."""
    book = twice(tmp_path, GULL, CROW)
    episodes(book.path)
    first = the_file(book)
    book.append(squeal_twice(TERN)[:0] + registered(TERN), confirm_clock=True)
    episodes(book.path)
    assert the_file(book) != first


_ASK = """
import sys
from pathlib import Path
import ledger.kept
ledger.kept.FEWEST_EVENTS = 0
from tests.kept.test_kept_files import episodes
print(len(episodes(Path(sys.argv[1]))))
"""


def test_two_processes_may_make_the_same_at_once(tmp_path: Path) -> None:
    """Both answer right, and what they leave behind is sound."""
    book = twice(tmp_path, GULL, TERN)
    both = [
        subprocess.Popen(
            [sys.executable, "-c", _ASK, str(book.path)], stdout=subprocess.PIPE, text=True
        )
        for _ in range(2)
    ]
    assert [process.communicate()[0].strip() for process in both] == ["4", "4"]
    assert len(episodes(book.path)) == 4
    assert not list(book.path.glob("derived/*/.tmp-*"))
