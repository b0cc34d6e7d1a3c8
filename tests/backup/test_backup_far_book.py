"""A book on an object store: backed up whole, from any machine, and restored to a store again."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from ledger.backup.restore import restore
from ledger.backup.targets import target_for
from ledger.book import Book
from ledger.errors import BookExists
from ledger.key_backups import Forgotten, ForgottenKey
from ledger.storage.objects import objects_at
from tests.backup.kept_book import (
    NONE,
    NOW,
    back_up,
    bring_back,
    new_book,
    notes,
    photograph,
    problems,
    ride,
    told,
)


@pytest.fixture
def far(bucket: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """Give the address of a book with a photo on an object store, made on one machine."""
    monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / "first machine"))
    address = f"{bucket}/{tmp_path.name}/book"
    book = new_book(address)  # type: ignore[arg-type] # an address is a book's place as well
    ride(book, 5)
    photograph(book)
    return address


@pytest.mark.parametrize("is_second_machine", [False, True])
def test_a_book_on_a_store_is_backed_up_whole(far, tmp_path, monkeypatch, is_second_machine):
    """Photos that this machine never looked at are in it too."""
    if is_second_machine:
        monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / "second machine"))
    book = Book.open(far)
    book.compact(grace=NONE)
    keys = objects_at(tmp_path / "keys")
    done = back_up(book, tmp_path / "kept", keys_place=keys)
    assert len(done.statement.files) == len(book.files()) + 3
    back = bring_back(tmp_path / "kept", tmp_path / "again", keys_place=keys)
    assert back.damages == [] and back.book is not None
    again = Book.open(back.book)
    assert told(again) == told(book) and notes(again) == notes(book)
    assert again.home.photos() == book.home.photos() != {}
    assert problems(back.book) == []


def test_what_one_machine_forgot_no_other_brings_back(far, tmp_path, monkeypatch):
    """The list of what is forgotten goes into whichever machine's backup."""
    keys, first = objects_at(tmp_path / "keys"), Book.open(far)
    back_up(first, tmp_path / "kept", keys_place=keys)
    key = first.keys.keys_for(["r-1"])["r-1"]
    Forgotten(first.riders.path).add([ForgottenKey(key, "r-1", datetime.now(UTC))])
    first.keys.destroy("r-1")
    first.riders.remove("r-1")
    monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / "second machine"))
    assert back_up(Book.open(far), tmp_path / "kept").count_forgotten == 1
    back = bring_back(tmp_path / "kept", tmp_path / "again", keys_place=keys)
    assert [one.rider for one in Book.open(back.book).riders.all()] == ["r-2"]


def test_a_backup_is_restored_to_a_store(far, bucket, tmp_path, monkeypatch):
    """It stands there only once it was found whole; another machine opens it."""
    monkeypatch.chdir(tmp_path)
    book, keys = Book.open(far), objects_at(tmp_path / "keys")
    Forgotten(book.riders.path).add([ForgottenKey("k-old", "r-9", NOW)])
    back_up(book, tmp_path / "kept", keys_place=keys)
    address = f"{bucket}/{tmp_path.name}/again"
    target = target_for(Path(address))
    done = restore(objects_at(tmp_path / "kept"), target.folder, now=NOW, keys_place=keys)
    target.take(done)
    assert done.damages == [] and not (tmp_path / "again").exists()
    monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / "second machine"))
    again = Book.open(address)
    assert told(again) == told(book) and notes(again) == notes(book)
    assert again.home.photos() == book.home.photos()
    assert [one.key for one in Forgotten(again.riders.path).all()] == ["k-old"]
    with pytest.raises(BookExists):
        target_for(Path(address))


def test_of_a_damaged_backup_nothing_comes_to_the_store(far, bucket, tmp_path, monkeypatch):
    """The quarantine stays on this machine."""
    monkeypatch.chdir(tmp_path)
    back_up(Book.open(far), tmp_path / "kept")
    next((tmp_path / "kept" / "events").iterdir()).unlink()
    address = f"{bucket}/{tmp_path.name}/again"
    target = target_for(Path(address))
    done = restore(objects_at(tmp_path / "kept"), target.folder, now=NOW)
    target.take(done)
    assert done.book is None and done.quarantine == tmp_path / "again.quarantine"
    assert objects_at(address).all() == []
