"""Riders and keys: apart from the events, for a time, and never brought back once forgotten."""

from __future__ import annotations

import shutil
import sqlite3
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import pytest

from ledger.backup.keys import FORGOTTEN, forgotten_bytes, read_forgotten, span_of
from ledger.backup.make import NotCopied
from ledger.backup.places import place_at
from ledger.book import Book
from ledger.errors import WriteRefused, WrongUse
from ledger.key_backups import Forgotten, ForgottenKey, KeyBackups
from ledger.storage.objects import FolderObjects, Objects, objects_at
from tests.backup.kept_book import (
    DAY,
    NAMES,
    NOW,
    SECRET_WORDS,
    back_up,
    bring_back,
    names,
    new_book,
    notes,
    ride,
)


@pytest.fixture
def keys(tmp_path: Path) -> Objects:
    """Give the place of the copies of keys."""
    return objects_at(tmp_path / "keys")


def forget(book: Book, rider: str) -> None:
    """Destroy a rider's row and key, and note that, as whoever forgets a rider does."""
    key = book.keys.destroy(rider)
    book.riders.remove(rider)
    Forgotten(book.riders.path).add([ForgottenKey(key, rider, datetime.now(UTC))])


def test_a_copy_is_for_its_owner_alone_and_on_record(book, tmp_path, keys):
    """Nobody else may read it; the register knows where it is, until when, and whom it holds."""
    done = back_up(book, tmp_path / "kept", keys_place=keys, keep_keys=30 * DAY)
    assert done.keys is not None
    path = Path(done.keys.place) / done.keys.name
    assert path.stat().st_mode & 0o777 == 0o600
    assert path.parent.stat().st_mode & 0o777 == 0o700
    assert KeyBackups(book.riders.path).all() == [done.keys]
    assert done.keys.expires_at - done.keys.made_at == 30 * DAY
    again = bring_back(tmp_path / "kept", tmp_path / "again", keys_place=keys)
    assert (again.book / "riders.sqlite").stat().st_mode & 0o777 == 0o600
    assert KeyBackups(again.book / "riders.sqlite").all() == [done.keys]


def test_a_copy_holds_whoever_was_there_when_it_was_made(book, tmp_path, keys):
    """A rider entered later is in the next copy only."""
    back_up(book, tmp_path / "kept", keys_place=keys, now=datetime.now(UTC))
    assert len(KeyBackups(book.riders.path).holding("r-1")) == 1


def test_expired_copies_are_taken_away_by_every_backup(book, tmp_path, keys):
    """With a new copy or without; those that have not expired stay."""
    place = tmp_path / "kept"
    first = back_up(book, place, keys_place=keys, keep_keys=2 * DAY).keys
    second = back_up(book, place, keys_place=keys, keep_keys=9 * DAY, now=NOW + DAY).keys
    assert names(keys) == [first.name, second.name]
    third = back_up(book, place, keys_place=keys, keep_keys=9 * DAY, now=NOW + 3 * DAY)
    assert [one.backup for one in third.expired] == [first]
    assert names(keys) == [second.name, third.keys.name]
    last = back_up(book, place, now=NOW + 11 * DAY)
    assert [one.backup for one in last.expired] == [second]
    assert names(keys) == [third.keys.name]
    assert KeyBackups(book.riders.path).all() == [third.keys]


def test_expired_copies_go_though_the_register_does_not_know_them(book, tmp_path, keys):
    """Their names tell; those of another shop, and other files, are left alone."""
    for name in (
        "register-quay-20200101T000000Z-20200201T000000Z.sqlite",
        "register-pier-20200101T000000Z-20200201T000000Z.sqlite",
        "letter.txt",
    ):
        keys.put(name, b"")
    done = back_up(book, tmp_path / "kept", keys_place=keys)
    left = ["letter.txt", "register-pier-20200101T000000Z-20200201T000000Z.sqlite"]
    assert names(keys) == [*left, done.keys.name]


def test_an_expired_copy_that_cannot_be_seen_stays_on_record(book, tmp_path, keys):
    """As on a disk that is not plugged in: the backup says so, and takes it away another time."""
    copy = back_up(book, tmp_path / "kept", keys_place=keys, keep_keys=DAY).keys
    (tmp_path / "keys").rename(tmp_path / "unplugged")
    done = back_up(book, tmp_path / "kept", now=NOW + 2 * DAY)
    assert [(one.backup, one.left_because is not None) for one in done.expired] == [(copy, True)]
    assert KeyBackups(book.riders.path).all() == [copy]
    (tmp_path / "unplugged").rename(tmp_path / "keys")
    done = back_up(book, tmp_path / "kept", now=NOW + 2 * DAY, keys_place=keys)
    assert names(keys) == [done.keys.name] and KeyBackups(book.riders.path).all() == [done.keys]


def test_an_older_copy_never_brings_back_who_was_forgotten(book, tmp_path, keys):
    """Not the row, not the key, not one byte of either; everybody else is there."""
    place = tmp_path / "kept"
    back_up(book, place, keys_place=keys)
    with closing(sqlite3.connect(book.riders.path)) as register:
        query = "select key, secret from keys where rider = 'r-1'"
        key, secret = register.execute(query).fetchone()
    forget(book, "r-1")
    done = back_up(book, place)
    assert done.count_forgotten == 1
    again = bring_back(place, tmp_path / "again", keys_place=keys)
    assert again.book is not None and again.damages == [] and again.keys.count_dropped == 2
    restored = Book.open(again.book)
    assert notes(restored) == [None, f"{NAMES['r-2']} {SECRET_WORDS}"]
    assert [one.rider for one in restored.riders.all()] == ["r-2"]
    assert key not in restored.keys.follow()
    content = (again.book / "riders.sqlite").read_bytes()
    assert secret not in content and NAMES["r-1"].encode() not in content
    assert {one.key for one in Forgotten(restored.riders.path).all()} == {key}


def test_what_was_forgotten_stays_so_over_every_restored_book(book, tmp_path, keys):
    """A book restored without keys, backed up again, still knows who was forgotten."""
    place = tmp_path / "kept"
    back_up(book, place, keys_place=keys)
    forget(book, "r-1")
    back_up(book, place)
    second = Book.open(bring_back(place, tmp_path / "second").book)
    assert back_up(second, tmp_path / "elsewhere").count_forgotten == 1
    third = bring_back(tmp_path / "elsewhere", tmp_path / "third", keys_place=keys)
    assert [one.rider for one in Book.open(third.book).riders.all()] == ["r-2"]


def test_a_register_that_lost_its_list_does_not_shorten_that_of_the_backup(book, tmp_path, keys):
    """What is forgotten is only ever added to."""
    place = tmp_path / "kept"
    back_up(book, place, keys_place=keys)
    shutil.copy(book.riders.path, tmp_path / "older.sqlite")
    forget(book, "r-1")
    back_up(book, place)
    shutil.copy(tmp_path / "older.sqlite", book.riders.path)
    assert back_up(Book.open(book.path), place).count_forgotten == 1


@pytest.mark.parametrize("is_gone", [True, False])
def test_without_the_list_of_what_is_forgotten_no_key_comes_back(book, tmp_path, keys, is_gone):
    """It is told, and the events come back without them."""
    place = tmp_path / "kept"
    back_up(book, place, keys_place=keys)
    if is_gone:
        (place / FORGOTTEN).unlink()
    else:
        (place / FORGOTTEN).write_bytes((place / FORGOTTEN).read_bytes().replace(b"[]", b"[ ]x"))
    again = bring_back(place, tmp_path / "again", keys_place=keys)
    assert [one.file for one in again.damages] == [FORGOTTEN]
    assert again.book is not None and Book.open(again.book).riders.all() == []


def test_a_damaged_copy_is_told_and_the_one_before_it_taken(book, tmp_path, keys):
    """Cut short, or turned over in one place; with none left that is told."""
    place = tmp_path / "kept"
    first = back_up(book, place, keys_place=keys).keys
    second = back_up(book, place, keys_place=keys, now=NOW + DAY).keys
    keys.put(second.name, keys.get(second.name)[:5000])
    again = bring_back(place, tmp_path / "again", keys_place=keys, now=NOW + DAY)
    assert [one.file for one in again.damages] == [second.name] and again.keys.copy == first
    assert None not in notes(Book.open(again.book))
    keys.put(first.name, b"no database at all")
    third = bring_back(place, tmp_path / "third", keys_place=keys, now=NOW + DAY)
    assert [one.wrong for one in third.damages] == ["damaged", "damaged", "missing"]
    assert third.book is not None and notes(Book.open(third.book)) == [None, None]


def test_copies_past_their_time_or_of_another_book_are_not_brought_back(book, tmp_path, keys):
    """Though they are still there."""
    place = tmp_path / "kept"
    back_up(book, place, keys_place=keys, keep_keys=DAY)
    late = bring_back(place, tmp_path / "late", keys_place=keys, now=NOW + 2 * DAY)
    assert [one.wrong for one in late.damages] == ["missing"]
    other = new_book(tmp_path / "other")
    back_up(other, tmp_path / "of other", keys_place=keys, now=NOW + 2 * DAY)
    again = bring_back(place, tmp_path / "again", keys_place=keys, now=NOW + 2 * DAY)
    assert "another book" in again.damages[0].detail
    assert Book.open(again.book).riders.all() == []


def test_keys_may_go_to_an_object_store(book, bucket, tmp_path):
    """And come back from there."""
    place = objects_at(f"{bucket}/{tmp_path.name}/keys")
    ride(book, 1)
    back_up(book, tmp_path / "kept", keys_place=place)
    again = bring_back(tmp_path / "kept", tmp_path / "again", keys_place=place)
    assert notes(Book.open(again.book)) == notes(book)


def test_a_copy_that_could_not_be_made_is_not_on_record(book, tmp_path):
    """The backup of the events stands, and it is said that the keys are missing."""

    class Full(FolderObjects):
        def put(self, name: str, content: bytes) -> None:
            raise WriteRefused("no space left on device")

    with pytest.raises(NotCopied, match=r"keys were not copied .* no space left"):
        back_up(book, tmp_path / "kept", keys_place=Full(tmp_path / "keys"))
    assert KeyBackups(book.riders.path).all() == []
    assert bring_back(tmp_path / "kept", tmp_path / "again").book is not None


def test_the_list_of_what_is_forgotten_reads_as_it_was_written():
    """With a key, with a rider, with either; in any order, once."""
    rows = [
        ForgottenKey("k-2", "r-2", NOW), ForgottenKey("k-1", None, NOW),
        ForgottenKey(None, "r-3", NOW), ForgottenKey("k-1", None, NOW),
    ]  # fmt: skip
    assert set(read_forgotten(forgotten_bytes(rows))) == set(rows)
    assert len(read_forgotten(forgotten_bytes(rows))) == 3


@pytest.mark.parametrize(
    ("told", "days"), [("90d", 90), ("12w", 84), ("1y", 365), (" 2 M ", 60)]
)  # fmt: skip
def test_how_long_copies_are_kept(told, days):
    """A number and a unit."""
    assert span_of(told).days == days


@pytest.mark.parametrize("told", ["0d", "90", "d", "-3d", "3h", "", "99999d"])
def test_a_time_that_is_none_is_refused(told):
    """Saying how one looks."""
    with pytest.raises(WrongUse, match="90d"):
        span_of(told)


@pytest.mark.parametrize("told", ["book", "book/kept", ".", "s3://harbour/book/x", "s3://harbour"])
def test_places_within_one_another_are_refused(told, tmp_path, monkeypatch):
    """Of folders by where they really are, of addresses by their parts."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "book").mkdir()
    (tmp_path / "way").symlink_to(tmp_path / "book")
    monkeypatch.setenv("AWS_REGION", "us-east-1")
    apart = {"the book": Path("way"), "that one": "s3://harbour/book"}
    with pytest.raises(WrongUse, match="apart"):
        place_at(told, "A backup", apart)
    assert place_at("book2", "A backup", apart).address == str(tmp_path / "book2")
    assert place_at("s3://harbour/book2", "A backup", apart).address == "s3://harbour/book2"
