"""Forgetting, and consent, in a book on an object store: there, here, and on another machine."""

from __future__ import annotations

import io
import sqlite3
from datetime import UTC, datetime

import pytest
from PIL import Image

from ledger.book import Book
from ledger.consent import note_consent
from ledger.errors import Refused, WriteRefused
from ledger.exchange.rider import export_rider
from ledger.forgetting import forget, unfinished, what_is_held
from ledger.home import register
from ledger.photos import add_photo, photos_of
from ledger.proofs.verify import check_files, check_rules
from ledger.riders import Rider, UnknownRider
from ledger.storage.objects import BucketObjects, objects_at
from tests.storage.s3_server import environment, s3_server

TAG = "7K3M9QXA"
NAME, WORDS = "Ottilie Wrenfield", "Creaks under load"
NOW = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)


@pytest.fixture(scope="module")
def server():
    """Give the environment of a server, and the address of a bucket on it."""
    with s3_server() as (told, address):
        yield told, address


@pytest.fixture
def address(server, monkeypatch, tmp_path):
    """Give an empty prefix; what was followed a moment ago is followed again."""
    monkeypatch.setattr(register, "FOLLOWED_S", 0.0)
    for name, value in environment(server[0]["AWS_ENDPOINT_URL"]).items():
        monkeypatch.setenv(name, value)
    return f"{server[1]}/{tmp_path.name}"


@pytest.fixture
def machine(address, tmp_path, monkeypatch):
    """Open the book as a machine of some name does, with a mirror of its own."""

    def opened(name: str) -> Book:
        monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / name))
        return Book.open(address, clock=lambda: NOW)

    monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / "one"))
    book = Book.init(address, shop="quay", time_zone="Europe/Lisbon", clock=lambda: NOW)
    book.riders.add([Rider("r-o", NAME, may_contact=True)])
    book.append(
        [
            of("bike_registered"),
            of("rider_changed", rider="r-o"),
            of("noted", position="chain", text=WORDS),
        ]
    )
    image = io.BytesIO()
    Image.new("RGB", (20, 20), "red").save(image, "JPEG")
    add_photo(book, TAG, None, "m1", image.getvalue())
    return opened


def of(kind: str, **data) -> dict:
    return {"kind": kind, "bike": TAG, "actor": "m1", "data": data}


def text_of(book: Book) -> str | None:
    (event,) = [one for one in book.bike_events(TAG) if one.kind == "noted"]
    return book.reveal(event)["data"]["text"]


def test_forgetting_reaches_the_store_and_another_machine(machine, address, tmp_path) -> None:
    """Row, key and photo are gone there, and from the mirror of a machine that had them all."""
    other = machine("two")
    assert text_of(other) == WORDS and other.riders.get("r-o") is not None
    (photo,) = photos_of(other, TAG)
    assert other.home.photo(photo.photo)
    book = machine("one")
    done = forget(book, what_is_held(book, "r-o"), photos=True)
    assert done.photos_removed == (photo.photo,)
    there = {one.name: objects_at(address).get(one.name) for one in objects_at(address).all()}
    assert f"photos/{photo.photo}" not in there
    assert not any(NAME.encode() in content for content in there.values())
    assert text_of(other) is None and other.riders.get("r-o") is None
    with pytest.raises(Refused, match="rider_changed"):
        machine("two").append([of("noted", position="chain", text="more")])
    for path in (path for path in tmp_path.rglob("riders.sqlite*")):
        assert NAME.encode() not in path.read_bytes()
    assert check_files(book.path).problems == [] and check_rules(book.path) == []
    assert unfinished(book) == []


def test_consent_taken_back_reaches_another_machine(machine) -> None:
    """In the store first, so that nobody calls from elsewhere."""
    other = machine("two")
    found = other.riders.get("r-o")
    assert found is not None and found.may_contact
    book = machine("one")
    note_consent(book, "r-o", may_contact=False, since=NOW)
    for one in (book, other, machine("three")):
        row = one.riders.get("r-o")
        assert row is not None
        assert (row.may_contact, row.consent_at) == (False, "2026-03-02T10:00:00.000000Z")


@pytest.mark.parametrize("is_heeded", [True, False])
def test_consent_noted_beside_a_forgetting_brings_nobody_back(
    machine, address, monkeypatch: pytest.MonkeyPatch, is_heeded: bool
) -> None:
    """Forgotten between the look and the write; also where the store heeds no condition."""
    other, book = machine("two"), machine("one")
    assert other.riders.get("r-o") is not None
    got = BucketObjects.get_tagged

    def meanwhile(objects: BucketObjects, name: str) -> tuple[bytes, str | None]:
        content, tag = got(objects, name)
        forget(book, what_is_held(book, "r-o"))
        return content, tag if is_heeded else None

    with monkeypatch.context() as patch:
        patch.setattr(BucketObjects, "get_tagged", meanwhile)
        with pytest.raises(UnknownRider):
            note_consent(other, "r-o", may_contact=True, since=NOW)
    assert "riders/r-o" not in [one.name for one in objects_at(address).all()]
    for one in (book, other, machine("three")):
        assert one.riders.get("r-o") is None and unfinished(one) == []


def test_consent_is_put_over_the_very_row_that_was_read(machine, address) -> None:
    """Of a row that somebody else changed meanwhile, nothing is lost."""
    machine("one")
    objects = objects_at(address)
    assert isinstance(objects, BucketObjects)
    content, tag = objects.get_tagged("riders/r-o")
    assert tag
    objects.put("riders/r-o", content.replace(b"Ottilie", b"Otti"))
    with pytest.raises(FileExistsError):
        objects.put_over("riders/r-o", content, tag)
    note_consent(machine("two"), "r-o", may_contact=False, since=NOW)
    assert b"Otti W" in objects.get("riders/r-o")


def test_what_is_held_is_given_from_a_mirror(machine) -> None:
    """Photos are fetched for it."""
    found = export_rider(machine("two"), "r-o", now=NOW)
    assert len(found.photos) == 1 and WORDS in str(found.document)


def test_where_the_store_is_silent_forgetting_is_refused_and_told(
    machine, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Row and key stand, the forgetting is told as unfinished, and can be finished later."""
    book = machine("one")
    held = what_is_held(book, "r-o")
    with monkeypatch.context() as patch:

        def unreachable(*given, **more):
            raise WriteRefused("Nothing was recorded: the store does not answer.")

        patch.setattr(type(book.keys), "destroy", unreachable)
        with pytest.raises(WriteRefused):
            forget(book, held)
    with sqlite3.connect(book.path / "riders.sqlite") as connection:
        assert connection.execute("select count(*) from keys where rider = 'r-o'").fetchone() == (
            1,
        )
    assert unfinished(book) == ["r-o"]
    forget(book, what_is_held(book, "r-o"))
    assert unfinished(book) == []
