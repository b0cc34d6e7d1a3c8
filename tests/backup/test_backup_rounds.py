"""A backup in a folder and on an object store: sent once, consistent, and the same book again."""

from __future__ import annotations

import json
import shutil
import sqlite3
from contextlib import closing
from pathlib import Path
from threading import Thread
from time import sleep

import pytest

from ledger.backup import make
from ledger.backup.restore import NoBackup
from ledger.backup.standing import OtherBackup
from ledger.book import Book
from ledger.errors import BookDamaged, BookExists, WriteRefused
from ledger.key_backups import KeyBackups
from ledger.private import Private
from ledger.proofs import Receipts, check
from ledger.proofs.make import signed_root
from ledger.storage import listing
from ledger.storage.objects import objects_at
from tests.backup.kept_book import (
    DAY,
    NAMES,
    NONE,
    NOW,
    SECRET_WORDS,
    back_up,
    bring_back,
    names,
    new_book,
    notes,
    photograph,
    problems,
    ride,
    told,
)


def test_what_comes_back_is_the_same_book(book, place, tmp_path):
    """Events, root, the state of every bike and photos are equal, and `verify` finds nothing."""
    ride(book, 9)
    photo = photograph(book)
    book.compact(grace=NONE)
    ride(book, 2)
    done = back_up(book, place)
    back = bring_back(place, tmp_path / "again")
    assert (back.damages, back.quarantine) == ([], None)
    assert back.book == tmp_path / "again"
    again = Book.open(back.book)
    assert told(again) == told(book)
    assert again.home.photo(photo) == book.home.photo(photo)
    stated = done.statement
    assert (back.size, back.root) == (stated.size, stated.root) == (book.head.size, book.head.root)
    assert problems(back.book) == []
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".")] == []
    ride(again, 1)
    assert problems(back.book) == []


def test_what_is_there_is_not_sent_again(book, place):
    """Only new commits, new photos and the grown witness file go over the line; it is counted."""
    ride(book, 3)
    count = len(book.files())
    first = back_up(book, place)
    assert (first.count_sent, first.count_there) == (count + 2, 0)
    assert first.bytes_sent > sum(path.stat().st_size for path in book.files())
    second = back_up(book, place)
    assert (second.count_sent, second.count_there) == (0, count + 2)
    assert (second.bytes_sent, second.bytes_there) == (0, first.bytes_sent)
    ride(book, 1)
    photograph(book)
    third = back_up(book, place)
    # Two commits, the photo, and witness.txt with one more line.
    assert (third.count_sent, third.count_there) == (4, count + 1)


def test_after_a_killed_backup_what_was_sent_is_known_by_its_end(book, place):
    """Files that no statement names are not sent again either."""
    ride(book, 3)
    back_up(book, place)
    objects = objects_at(place)
    objects.remove("backup-000000000001.json")
    again = back_up(book, place)
    assert again.count_sent == 0 and again.statement.number == 1


def test_merged_commits_leave_the_backup_when_the_new_statement_stands(book, place, tmp_path):
    """What segments hold as well is taken away, and nothing else."""
    ride(book, 12)
    back_up(book, place)
    singles = [path.name for path in book.files()]
    book.compact(grace=NONE)
    left = [path.name for path in book.files()]
    done = back_up(book, place)
    gone = sorted(f"events/{name}" for name in set(singles) - set(left))
    assert sorted(done.removed) == gone and gone
    there = [name for name in names(objects_at(place)) if name.startswith("events/")]
    assert there == sorted(f"events/{name}" for name in left)
    assert told(Book.open(bring_back(place, tmp_path / "again").book)) == told(book)


def test_neither_names_nor_keys_are_in_a_backup(book, place, tmp_path):
    """No secret, no rider's name, no note in clear and no signing key is in any file of it."""
    ride(book, 3)
    photograph(book)
    signed_root(book)
    back_up(book, place, keys_place=objects_at(tmp_path / "keys"))
    with closing(sqlite3.connect(book.riders.path)) as register:
        secrets = [row[0] for row in register.execute("select secret from keys")]
    secrets += [Private(book.path).secret("signing key")]
    never = [*secrets, *(name.encode() for name in NAMES.values()), SECRET_WORDS.encode()]
    objects = objects_at(place)
    assert len(never) >= 6
    for name in names(objects):
        content = objects.get(name)
        assert not [one for one in never if one in content or one.hex().encode() in content]
    copy = objects_at(tmp_path / "keys")
    content = b"".join(copy.get(name) for name in names(copy))
    assert all(one in content for one in secrets[:-1]) and secrets[-1] not in content


def test_an_empty_book_comes_back_empty(tmp_path):
    """There is nothing to replay, and nothing wrong."""
    book = Book.init(tmp_path / "book", shop="quay")
    back_up(book, tmp_path / "kept")
    back = bring_back(tmp_path / "kept", tmp_path / "again")
    assert back.book is not None and Book.open(back.book).head.size == 0
    ride_first = new_book(tmp_path / "other")
    with pytest.raises(OtherBackup):
        back_up(new_book(tmp_path / "third", shop="pier"), tmp_path / "kept")
    back_up(ride_first, tmp_path / "kept")


def test_the_place_of_another_book_is_refused_and_left_as_it_is(book, place, tmp_path):
    """Of another shop, and of another book of the same shop."""
    back_up(book, place)
    before = {name: objects_at(place).get(name) for name in names(objects_at(place))}
    for shop in ("pier", "quay"):
        with pytest.raises(OtherBackup, match="another book"):
            back_up(new_book(tmp_path / shop, shop), place)
    assert before == {name: objects_at(place).get(name) for name in names(objects_at(place))}


def test_an_older_copy_of_the_book_never_takes_the_place_of_a_newer_backup(book, place, tmp_path):
    """Neither the older copy nor what was then recorded in it."""
    shutil.copytree(book.path, tmp_path / "older")
    ride(book, 2)
    back_up(book, place)
    older = Book.open(tmp_path / "older")
    with pytest.raises(OtherBackup, match="does not have them"):
        back_up(older, place)
    ride(older, 5)
    with pytest.raises(OtherBackup, match="does not have them"):
        back_up(older, place)
    assert bring_back(place, tmp_path / "again").root == book.head.root


def test_a_folder_that_holds_something_else_is_refused(book, tmp_path):
    """Such as the folder of a book: nothing is put into it, nothing removed."""
    other = new_book(tmp_path / "other")
    ride(other, 8)
    before = sorted(path.name for path in other.path.rglob("*"))
    with pytest.raises(OtherBackup, match="no backup"):
        back_up(book, other.path)
    assert sorted(path.name for path in other.path.rglob("*")) == before


def test_a_restored_book_goes_on_being_backed_up_to_the_same_place(book, place, tmp_path):
    """It is the same book: only what is new is sent."""
    ride(book, 3)
    back_up(book, place)
    again = Book.open(bring_back(place, tmp_path / "again").book)
    ride(again, 1)
    done = back_up(again, place)
    assert done.count_sent == 2  # the commit, and witness.txt with a line by the new key
    assert bring_back(place, tmp_path / "third").root == again.head.root


def test_a_backup_made_while_others_write_and_merge_is_consistent(book, place, tmp_path):
    """Every backup on the way comes back as the book was at one commit."""
    ride(book, 5)
    is_done = False

    def write() -> None:
        writer = Book.open(book.path)
        while not is_done:
            ride(writer, 12)
            writer.compact(grace=NONE)
            sleep(0.3)

    thread = Thread(target=write)
    thread.start()
    try:
        for turn in range(4):
            done = back_up(Book.open(book.path), place)
            back = bring_back(place, tmp_path / f"again-{turn}")
            assert back.damages == [] and back.size == done.statement.size
    finally:
        is_done = True
        thread.join()
    assert book._log.commit_state(done.statement.commit).root == done.statement.root


def test_a_file_that_a_merger_takes_away_is_looked_for_again(book, tmp_path, monkeypatch):
    """The listing is made anew, and the backup is of the book as it is then."""
    ride(book, 8)
    sent = make._Run._events
    other = Book.open(book.path)
    turns = []

    def late(run: make._Run, *asked: object) -> object:
        if not turns:
            turns.append(1)
            other.compact(grace=NONE)
        return sent(run, *asked)  # type: ignore[arg-type]  # as it was asked

    monkeypatch.setattr(make._Run, "_events", late)
    back_up(book, tmp_path / "kept")
    assert any(name.startswith("events/s-") for name in names(objects_at(tmp_path / "kept")))
    assert told(Book.open(bring_back(tmp_path / "kept", tmp_path / "again").book)) == told(book)


def test_of_two_backups_at_once_the_later_one_looks_again(book, place, tmp_path, monkeypatch):
    """Both end, one after the other, and the last statement holds."""
    ride(book, 6)
    back_up(book, place)
    ride(book, 2)
    other = Book.open(book.path)
    put = make.put_forgotten
    turns = []

    def meanwhile(*given) -> int:
        if not turns:
            turns.append(1)
            ride(other, 3)
            other.compact(grace=NONE)
            back_up(other, place)
        return put(*given)

    monkeypatch.setattr(make, "put_forgotten", meanwhile)
    done = back_up(book, place)
    assert done.statement.number == 3
    back = bring_back(place, tmp_path / "again")
    assert back.damages == [] and back.root == other.head.root


def test_a_damaged_file_of_the_book_is_never_sent(book, place, tmp_path):
    """The backup that stood before still stands; a damaged photo is left out and told."""
    ride(book, 2)
    photo = photograph(book)
    back_up(book, place)
    root = book.head.root
    ride(book, 2)
    newest = book.files()[-2]
    content = newest.read_bytes()
    newest.write_bytes(content[:200] + b"\0\0\0\0" + content[204:])
    with pytest.raises(BookDamaged, match=newest.name):
        back_up(book, place)
    assert bring_back(place, tmp_path / "again").root == root
    newest.write_bytes(content)
    for name in (photo, "f" * 64):
        (book.path / "photos" / name).write_bytes(b"no such photo")
    done = back_up(book, place, is_checked=True)
    assert len(done.left_out) == 2 and "f" * 64 in done.left_out[1]


def test_reading_back_mends_what_is_damaged_there(book, place, tmp_path):
    """A plain backup believes the statement; one that reads back sends the file again."""
    ride(book, 3)
    back_up(book, place)
    objects = objects_at(place)
    name = f"events/{book.files()[2].name}"
    whole = objects.get(name)
    objects.put(name, whole[:300] + bytes([whole[300] ^ 1]) + whole[301:])
    assert back_up(book, place).mended == []
    done = back_up(book, place, is_checked=True)
    assert done.mended == [name] and objects.get(name) == whole
    assert bring_back(place, tmp_path / "again").damages == []


def test_a_photo_that_the_book_has_no_more_stays_a_while_and_never_comes_back(
    book, place, tmp_path
):
    """Lost, it can be copied back by hand; removed for somebody's sake, it goes from here too."""
    objects = objects_at(place)
    gone, there = photograph(book), photograph(book, "blue")
    back_up(book, place)
    (book.path / "photos" / gone).unlink()
    done = back_up(book, place)
    assert [(one.sha256, one.gone_since) for one in done.gone] == [(gone, "2026-11-29")]
    later = back_up(book, place, now=NOW + 89 * DAY)
    assert later.gone == done.gone and f"photos/{gone}" in names(objects)
    back = bring_back(place, tmp_path / "again")
    assert back.damages == [] and set(Book.open(back.book).home.photos()) == {there}
    last = back_up(book, place, now=NOW + 90 * DAY)
    assert (last.gone, last.left_out) == ([], [])
    assert [name for name in names(objects) if "photos" in name] == [f"photos/{there}"]


def test_a_place_that_refuses_leaves_nothing_half_noted(book, tmp_path, monkeypatch):
    """A full disk: one clear error, no new statement, no copy of the keys on record."""
    ride(book, 2)
    back_up(book, tmp_path / "kept")
    ride(book, 2)
    before = names(objects_at(tmp_path / "kept"))
    kept = objects_at(tmp_path / "kept")

    def full(self: object, name: str, content: bytes) -> None:
        raise WriteRefused("Nothing was recorded: no space left on device.")

    monkeypatch.setattr(type(kept), "put", full)
    with pytest.raises(make.NotSent, match="What stood there before still stands"):
        back_up(book, tmp_path / "kept", keys_place=objects_at(tmp_path / "keys"))
    assert names(kept) == before and KeyBackups(book.riders.path).all() == []


def test_the_register_opens_every_note_again(book, place, tmp_path):
    """With the keys text and photos are readable, without them nothing but their place is."""
    photo = photograph(book)
    back_up(book, place, keys_place=objects_at(tmp_path / "keys"))
    with_keys = bring_back(place, tmp_path / "with", keys_place=objects_at(tmp_path / "keys"))
    again = Book.open(with_keys.book)
    assert notes(again) == notes(book) and None not in notes(book)
    assert again.riders.all() == book.riders.all()
    assert again.home.photo(photo) == book.home.photo(photo)
    without = bring_back(place, tmp_path / "without")
    assert without.damages == []
    bare = Book.open(without.book)
    assert notes(bare) == [None, None] and bare.riders.all() == []


def test_the_statement_is_signed_by_the_key_of_the_receipts(book, place, tmp_path):
    """Whoever knows the key can ask for it; another key restores nothing."""
    ride(book, 2)
    back_up(book, place)
    receipt = Receipts(book).of_event(1).to_json()
    assert check(receipt) == []
    back = bring_back(place, tmp_path / "again", trusted_key=receipt["key"])
    assert back.book is not None
    with pytest.raises(NoBackup, match="not signed with that key"):
        bring_back(place, tmp_path / "third", trusted_key="0" * 64)
    assert not (tmp_path / "third").exists()


def test_a_book_that_cannot_sign_is_backed_up_unsigned(book, tmp_path):
    """And said to be; whoever asks for a signature gets nothing."""
    (book.path / "private.sqlite").mkdir()
    done = back_up(book, tmp_path / "kept")
    assert not done.is_signed and done.statement.key == ""
    back = bring_back(tmp_path / "kept", tmp_path / "again")
    assert back.damages == [] and back.root == book.head.root
    with pytest.raises(NoBackup):
        bring_back(tmp_path / "kept", tmp_path / "third", trusted_key="0" * 64)


def test_nothing_is_restored_over_anything(book, tmp_path):
    """Neither over a folder nor over an earlier quarantine."""
    back_up(book, tmp_path / "kept")
    for taken in ("again", "other.quarantine"):
        (tmp_path / taken).mkdir()
        (tmp_path / taken / "letter.txt").write_text("mine")
    for target in ("again", "other"):
        with pytest.raises(BookExists):
            bring_back(tmp_path / "kept", tmp_path / target)
    assert (tmp_path / "again" / "letter.txt").read_text() == "mine"


def test_a_restore_beside_a_backup_begins_again(book, tmp_path, monkeypatch):
    """Files that a newer statement took away are no damage."""
    ride(book, 9)
    place = tmp_path / "kept"
    back_up(book, place)
    from ledger.backup import restore as module

    plan = module._Run._plan
    turns = []

    def meanwhile(run: module._Run) -> object:
        files = plan(run)
        if not turns:
            turns.append(1)
            book.compact(grace=NONE)
            back_up(book, place)
        return files

    monkeypatch.setattr(module._Run, "_plan", meanwhile)
    back = bring_back(place, tmp_path / "again")
    assert back.damages == [] and back.statement.number == 2
    assert listing.reading_set(path.name for path in (back.book / "events").iterdir()).last > 9


def test_the_statement_says_what_it_is_in_plain_json(book, tmp_path):
    """Any program can read which files there are, and what they should hash to."""
    ride(book, 1)
    back_up(book, tmp_path / "kept")
    said = json.loads((tmp_path / "kept" / "backup-000000000001.json").read_bytes())
    assert said["size"] == book.head.size and said["root"] == book.head.root
    named = {one.get("kept_as") or one["name"] for one in said["files"]}
    there = {
        name for name in names(objects_at(tmp_path / "kept")) if "/" in name or ".toml" in name
    }
    assert there <= named and Path(book.path / "book.toml").read_text() == said["settings"]
