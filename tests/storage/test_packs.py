"""Each bike's events laid close together beside a book: the same rows, whatever became of them."""

from __future__ import annotations

import random
from collections.abc import Callable
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from ledger.book import Book
from ledger.storage import bulk, packs, reading, segment, segments
from tests.storage.test_segments import (
    BIKES,
    book_of,
    cut_off,
    emptied,
    note,
    one_bit_turned,
    opened,
    plainly,
    told,
)


@pytest.fixture(autouse=True)
def small_files_are_packed(monkeypatch: pytest.MonkeyPatch) -> None:
    """Segments of 30 events are great ones, files of 3 have packs, of fewer are held."""
    monkeypatch.setattr(bulk, "ROWS_IN_SEGMENT", 30)
    monkeypatch.setattr(segment, "ROWS_IN_GROUP", 10)
    monkeypatch.setattr(reading, "_SMALL", 5)
    monkeypatch.setattr(reading, "FEWEST_PACKED", 3)
    monkeypatch.setattr(packs, "FEWEST_EVENTS", 3)
    monkeypatch.setattr(segments, "FEWEST_EVENTS", 0)


def packs_of(book: Book) -> list[Path]:
    return sorted((book.path / "derived" / packs.FOLDER).glob("*"))


def packed_files(book: Book) -> list[Path]:
    return [path for path in book.files() if pq.read_metadata(path).num_rows >= 3]


def from_parquet(book: Book, monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """Note the files that are read for their text from now on."""
    read: list[str] = []
    plain = reading.IndexedFile.opened

    def noted(file: reading.IndexedFile) -> object:
        read.append(file.path.name)
        return plain(file)

    monkeypatch.setattr(reading.IndexedFile, "opened", noted)
    return read


@pytest.mark.parametrize("seed", range(8))
def test_bikes_are_read_as_without_packs(tmp_path: Path, seed: int) -> None:
    """Made, deleted or not there yet on the way, with commits and merges between: the same rows."""
    chance = random.Random(seed)
    staying = book_of(tmp_path / "book", chance)
    for _ in range(5):
        if chance.random() < 0.6:
            chance.choice((staying, opened(tmp_path / "book"))).pack()
        tags = set(chance.sample(BIKES, chance.randrange(4))) | {"ZZZZZZZZ"}
        for book in (staying, opened(tmp_path / "book")):
            assert told(book, tags) == plainly(book, tags)
        if (there := packs_of(staying)) and chance.random() < 0.5:
            chance.choice(there).unlink()
        for _ in range(chance.randrange(1, 4)):
            staying.append([note(chance.choice(BIKES), 900) for _ in range(chance.randrange(1, 9))])


def test_a_packed_bike_is_read_from_its_pack_alone(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """No Parquet file is opened for it but those too small for a pack; without packs others are."""
    book = book_of(tmp_path / "book", random.Random(1))
    book.pack()
    assert [path.stem for path in packs_of(book)] == [path.stem for path in packed_files(book)]
    fresh = opened(tmp_path / "book")
    fresh._fresh()
    read = from_parquet(fresh, monkeypatch)
    rows = fresh.bike_rows([BIKES[0]])
    assert rows == plainly(book, {BIKES[0]})[0]
    tiny = {path.name for path in book.files()} - {path.name for path in packed_files(book)}
    assert set(read) <= tiny
    read.clear()
    for path in packs_of(book):
        path.unlink()
    assert opened(tmp_path / "book").bike_rows([BIKES[0]]) == rows
    assert not set(read) <= tiny


@pytest.mark.parametrize("harm", [cut_off, emptied, one_bit_turned])
def test_a_damaged_pack_is_as_if_it_were_not_there(
    tmp_path: Path, harm: Callable[[Path], None]
) -> None:
    """Cut off, emptied or with one bit turned: every bike is read as before."""
    book = book_of(tmp_path / "book", random.Random(1))
    book.pack()
    before = {bike: plainly(book, {bike})[0] for bike in BIKES}
    for path in packs_of(book):
        harm(path)
    fresh = opened(tmp_path / "book")
    assert {bike: fresh.bike_rows([bike]) for bike in BIKES} == before


def test_any_turned_bit_of_a_pack_changes_no_answer(tmp_path: Path) -> None:
    """Wherever it stands: in a tag, in a sum, in what is packed."""
    book = book_of(tmp_path / "book", random.Random(3), 60)
    book.pack()
    before = {bike: plainly(book, {bike})[0] for bike in BIKES}
    path = packs_of(book)[0]
    sound = path.read_bytes()
    for place in range(0, len(sound), 7):
        content = bytearray(sound)
        content[place] ^= 1 << place % 8
        path.write_bytes(content)
        fresh = opened(tmp_path / "book")
        assert {bike: fresh.bike_rows([bike]) for bike in BIKES} == before, place


def test_a_pack_of_another_book_is_not_believed(tmp_path: Path) -> None:
    """Files of the same names in another book are known by the hashes they carry."""
    one, two = (book_of(tmp_path / str(seed), random.Random(seed)) for seed in (1, 2))
    for book in (one, two):
        book.pack()
    before = two.bike_rows(BIKES)
    for path in packs_of(one):
        (tmp_path / "2" / "derived" / packs.FOLDER / path.name).write_bytes(path.read_bytes())
    assert opened(tmp_path / "2").bike_rows(BIKES) == before != one.bike_rows(BIKES)


def test_packs_of_files_that_were_merged_go(tmp_path: Path) -> None:
    """Only files of the reading set have one."""
    book = book_of(tmp_path / "book", random.Random(1))
    book.pack()
    stray = tmp_path / "book" / "derived" / packs.FOLDER / "s-000000000900-000000000901.arrow"
    stray.write_bytes(b"left over")
    book.pack()
    assert {path.stem for path in packs_of(book)} == {path.stem for path in packed_files(book)}


def test_after_a_merge_no_pack_that_is_there_is_opened(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What is missing is made all the same; who looks thoroughly mends a damaged one too."""
    book = book_of(tmp_path / "book", random.Random(1))
    book.pack()
    damaged, gone = packs_of(book)[:2]
    emptied(damaged)
    gone.unlink()
    again = opened(tmp_path / "book")
    with monkeypatch.context() as patched:
        patched.setattr(packs.Packs, "_sound", lambda *_: pytest.fail("opened"))
        again.pack(is_thorough=False)
    assert gone.exists()
    assert not damaged.stat().st_size
    opened(tmp_path / "book").pack()
    assert damaged.stat().st_size


def test_a_folder_that_cannot_be_written_is_left_alone(tmp_path: Path) -> None:
    """The book reads the same, and nothing is raised."""
    book = book_of(tmp_path / "book", random.Random(1))
    (tmp_path / "book" / "derived").mkdir(exist_ok=True)
    (tmp_path / "book" / "derived" / packs.FOLDER).write_bytes(b"no folder")
    book.pack()
    assert book.bike_rows([BIKES[0]]) == plainly(book, {BIKES[0]})[0]
