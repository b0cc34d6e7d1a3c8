"""A clock that is far ahead takes no copy of the keys away, and the last of a place stays."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from ledger.backup.clock import LONGEST_REST, check_clock
from ledger.backup.make import backup
from ledger.book import Book
from ledger.errors import ClockJumped
from ledger.key_backups import KeyBackups
from ledger.settings import BookSettings
from ledger.storage.objects import Objects, objects_at
from tests.backup.kept_book import DAY, back_up, bring_back, names, notes

YEAR = 365 * DAY
SETTINGS = BookSettings("quay", "quay", "EUR", "UTC", "en")


@pytest.fixture
def keys(tmp_path: Path) -> Objects:
    """Give the place of the copies of keys."""
    return objects_at(tmp_path / "keys")


def test_a_clock_far_ahead_is_to_be_confirmed_before_anything_is_sent(book, tmp_path, keys):
    """With a new copy of the keys or without: nothing at either place is changed."""
    place, now = objects_at(tmp_path / "kept"), datetime.now(UTC)
    back_up(book, place.address, now=now, keys_place=keys, keep_keys=YEAR, confirm_clock=False)
    before = names(place), names(keys)
    for keys_place in (None, keys):
        with pytest.raises(ClockJumped, match=r"--confirm-clock.*Nothing was sent or taken away"):
            backup(book, place, now=now + 400 * DAY, keys_place=keys_place)
        assert (names(place), names(keys)) == before
    elsewhere = objects_at(tmp_path / "elsewhere")
    with pytest.raises(ClockJumped):
        backup(book, elsewhere, now=now + 400 * DAY)
    assert names(elsewhere) == [] and len(KeyBackups(book.riders.path).all()) == 1
    assert backup(book, place, now=now + 400 * DAY, confirm_clock=True).statement.number == 2


def test_the_first_backup_of_an_old_book_asks_nothing(book, tmp_path):
    """There is nothing yet that could be taken away."""
    done = backup(book, objects_at(tmp_path / "kept"), now=datetime.now(UTC) + YEAR)
    assert done.statement.number == 1


@pytest.mark.parametrize(
    ("after", "is_asked"), [(-YEAR, False), (DAY, False), (LONGEST_REST, False), (2 * DAY, True)]
)
def test_a_backup_every_night_is_never_asked(after: timedelta, is_asked: bool):
    """What is newest counts, whichever it is: event, backup or copy."""
    now = datetime(2026, 3, 2, 2, 0, tzinfo=UTC)
    newest = [now - after, now - after - YEAR, None]
    if is_asked:
        with pytest.raises(ClockJumped):
            check_clock(now, newest, SETTINGS)
    else:
        check_clock(now, newest, SETTINGS)
    check_clock(now, [None], SETTINGS)


def test_the_last_copy_of_a_place_stays_until_a_newer_one_stands_there(book, tmp_path, keys):
    """Though its time is past and the clock is right; it is said, and the next copy ends it."""
    kept, now = tmp_path / "kept", datetime.now(UTC)
    first = back_up(book, kept, now=now, keys_place=keys, keep_keys=DAY).keys
    late = back_up(book, kept, now=now + 9 * DAY)
    (left,) = late.expired
    assert left.backup == first and "no newer copy" in str(left.left_because)
    assert names(keys) == [first.name] and KeyBackups(book.riders.path).all() == [first]
    done = back_up(book, kept, now=now + 9 * DAY, keys_place=keys)
    assert [one.backup for one in done.expired] == [first] and not done.expired[0].left_because
    assert names(keys) == [done.keys.name]


@pytest.mark.parametrize("content", [b"", b"no database at all", None])
def test_a_newer_copy_that_is_damaged_takes_no_other_ones_place(book, tmp_path, keys, content):
    """Only one that was read back does: the older one is still what a restore brings back."""
    kept, now = tmp_path / "kept", datetime.now(UTC)
    first = back_up(book, kept, now=now, keys_place=keys, keep_keys=2 * DAY).keys
    second = back_up(book, kept, now=now + DAY, keys_place=keys, keep_keys=DAY).keys
    keys.put(second.name, keys.get(second.name)[:5000] if content is None else content)
    late = back_up(book, kept, now=now + 3 * DAY)
    assert [one.left_because is None for one in late.expired] == [False, False]
    assert names(keys) == [first.name, second.name]
    again = bring_back(kept, tmp_path / "again", keys_place=keys, now=now + DAY)
    assert again.keys.copy == first and None not in notes(Book.open(again.book))
