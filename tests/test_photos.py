"""Photos in the book: encrypted, named by their ciphertext, durable before their event."""

from __future__ import annotations

import hashlib
import io
import sqlite3
from pathlib import Path

import pytest
from PIL import Image

from ledger.book import Book
from ledger.errors import BookDamaged, Refused, UnknownBike, WriteRefused
from ledger.photos import PhotoRefused, add_photo, photos_of, read_photo
from tests.bench.stand_book import TAG, bench, new_book, open_job


def jpeg(colour: str = "red") -> bytes:
    made = io.BytesIO()
    Image.new("RGB", (40, 30), colour).save(made, "JPEG")
    return made.getvalue()


@pytest.fixture
def book(tmp_path: Path) -> Book:
    made = new_book(tmp_path / "book")
    open_job(made)
    return made


def names(book: Book) -> list[str]:
    return sorted(path.name for path in (book.path / "photos").iterdir())


def test_a_photo_is_kept_encrypted_and_read_back(book: Book) -> None:
    """The file's name is the SHA-256 of what is in it, which is no picture; the key opens it."""
    add_photo(book, TAG, "J1", "mia", jpeg(), position="chain", caption="Rust", is_before=True)
    (photo,) = photos_of(book, TAG)
    assert names(book) == [photo.photo]
    sealed = (book.path / "photos" / photo.photo).read_bytes()
    assert hashlib.sha256(sealed).hexdigest() == photo.photo
    assert b"JFIF" not in sealed
    content = read_photo(book, photo.photo, photo.key)
    assert content is not None and Image.open(io.BytesIO(content)).size == (40, 30)
    told = (photo.position, photo.caption, photo.is_before, photo.job, photo.media_type)
    assert told == ("chain", "Rust", True, "J1", "image/jpeg")
    assert bench(book).photos == (photo,)


def test_the_same_photo_twice_is_one_file(book: Book) -> None:
    """Sent twice with its id it is one event; attached to two places it is two events, one
    file."""
    event = "018f22e2-79b0-7cc3-98c4-000000000001"
    first = add_photo(book, TAG, "J1", "mia", jpeg(), event_id=event)
    again = add_photo(book, TAG, "J1", "mia", jpeg(), event_id=event)
    assert not again.events[0].is_new and again.events[0].seq == first.events[0].seq
    add_photo(book, TAG, "J1", "mia", jpeg(), position="stem")
    assert len(names(book)) == 1 and len(photos_of(book, TAG)) == 2
    add_photo(book, TAG, None, "mia", jpeg("blue"))
    assert len(names(book)) == 2
    assert len(photos_of(book, TAG, "J1")) == 2, "the last is of no job"


def test_a_forgotten_riders_photo_is_noise(book: Book) -> None:
    """Without the key there is the event and the file, and nothing to see."""
    add_photo(book, TAG, "J1", "mia", jpeg(), caption="Rust")
    with sqlite3.connect(book.path / "riders.sqlite") as register:
        assert register.execute("delete from keys where rider = 'r-1'").rowcount == 1
    anew = Book.open(book.path)
    (photo,) = photos_of(anew, TAG)
    assert (photo.caption, read_photo(anew, photo.photo, photo.key)) == (None, None)


def test_a_photo_of_a_bike_without_a_rider_has_the_books_key(book: Book) -> None:
    """Nobody's bike can be photographed too."""
    book.append([{"kind": "bike_registered", "bike": "2B4D6F8H", "actor": "mia", "data": {}}])
    add_photo(book, "2B4D6F8H", None, "mia", jpeg())
    (photo,) = photos_of(book, "2B4D6F8H")
    assert photo.key == "book" and read_photo(book, photo.photo, photo.key)


def test_a_damaged_or_missing_file_is_told(book: Book) -> None:
    """One changed byte, or no file: never a picture that is not the one attached."""
    add_photo(book, TAG, "J1", "mia", jpeg())
    (photo,) = photos_of(book, TAG)
    path = book.path / "photos" / photo.photo
    content = bytearray(path.read_bytes())
    content[20] ^= 1
    path.write_bytes(content)
    with pytest.raises(BookDamaged, match="missing or damaged"):
        read_photo(book, photo.photo, photo.key)
    with pytest.raises(BookDamaged, match="missing or damaged"):
        add_photo(book, TAG, "J1", "mia", jpeg())
    path.unlink()
    with pytest.raises(BookDamaged, match="missing or damaged"):
        read_photo(book, photo.photo, photo.key)


@pytest.mark.parametrize(
    "name",
    ["../book.toml", "..", "", "/etc/hostname", "A" * 64, "0" * 63, f"{'0' * 64}\n", "\0" * 64],
)
def test_no_name_leads_out_of_the_folder(book: Book, name: str) -> None:
    """Only 64 small hexadecimal digits are the name of a photo."""
    with pytest.raises(PhotoRefused, match="not the name of a photo"):
        read_photo(book, name, "book")


def test_what_is_refused_leaves_nothing_behind(book: Book) -> None:
    """No event and no file where the picture, the job, the position or the bike is wrong."""
    size = book.head.size
    with pytest.raises(PhotoRefused, match="JPEG, PNG or WebP"):
        add_photo(book, TAG, "J1", "mia", b"no picture")
    with pytest.raises(Refused, match="J9 is not open"):
        add_photo(book, TAG, "J9", "mia", jpeg())
    with pytest.raises(Refused, match="not a known position"):
        add_photo(book, TAG, "J1", "mia", jpeg(), position="propeller")
    with pytest.raises(UnknownBike):
        add_photo(book, "AAAAAAAA", None, "mia", jpeg())
    assert (book.head.size, names(book)) == (size, [])


def test_the_file_is_there_before_the_event(book: Book) -> None:
    """Where the file cannot be written, no event says that there is a photo."""
    size = book.head.size
    folder = book.path / "photos"
    folder.rmdir()
    folder.write_bytes(b"a file stands where the folder should")
    with pytest.raises((WriteRefused, OSError)):
        add_photo(book, TAG, "J1", "mia", jpeg())
    assert book.head.size == size
