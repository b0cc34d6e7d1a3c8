"""Where copies of the register are, and what stays forgotten though an older copy has it."""

from __future__ import annotations

import sqlite3
from contextlib import closing
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from ledger.key_backups import Forgotten, ForgottenKey, KeyBackup, KeyBackups, note_forgotten
from ledger.riders import Keyring, Rider, Riders

LONG_AGO = datetime(2020, 1, 1, tzinfo=UTC)


@pytest.fixture
def register(tmp_path: Path) -> Path:
    """Give a register with two riders and their keys."""
    path = tmp_path / "riders.sqlite"
    riders = Riders(path)
    riders.make()
    riders.add([Rider("r-1", name="Ylva Sund"), Rider("r-2", name="Odo Kramp")])
    Keyring(path).keys_for(["r-1", "r-2", None])
    return path


def made(name: str, at: datetime, days: int = 90) -> KeyBackup:
    """Give a copy made at a time, expiring so many days later."""
    return KeyBackup("/mnt/keys", name, at, at + timedelta(days=days))


def test_copies_are_noted_listed_and_dropped(register):
    """What was noted comes back, oldest first, until it is dropped."""
    backups, now = KeyBackups(register), datetime.now(UTC)
    assert backups.all() == []
    later, earlier = made("b", now), made("a", now - timedelta(days=2))
    backups.note(later)
    backups.note(earlier)
    assert backups.all() == [earlier, later]
    backups.drop("/mnt/keys", "a")
    backups.drop("/mnt/keys", "never there")
    assert backups.all() == [later]


def test_a_copy_made_before_the_rider_was_known_does_not_hold_them(register):
    """Only copies at or after the rider's row or key count; expired ones still hold them."""
    backups, soon = KeyBackups(register), datetime.now(UTC) + timedelta(seconds=1)
    expired = made("expired", soon, days=-1)
    for one in (made("too old", LONG_AGO), made("holds", soon), expired):
        backups.note(one)
    assert {one.name for one in backups.holding("r-1")} == {"holds", "expired"}
    assert backups.holding("r-none") == []


def test_what_is_forgotten_is_told_once_with_key_rider_and_time(register):
    """Noted twice, or inside somebody's own transaction, it stands there once."""
    one, keyless = ForgottenKey("k-1", "r-1", LONG_AGO), ForgottenKey(None, "r-3", LONG_AGO)
    assert Forgotten(register).all() == []
    Forgotten(register).add([one, one, keyless])
    with closing(sqlite3.connect(register)) as connection, connection:
        note_forgotten(connection, [one])
    assert set(Forgotten(register).all()) == {one, keyless}
    assert len(Forgotten(register).all()) == 2


def test_a_note_inside_a_transaction_goes_with_it(register):
    """Where destroying the key fails, nothing is noted either."""
    with closing(sqlite3.connect(register, isolation_level=None)) as connection:
        connection.execute("begin immediate")
        note_forgotten(connection, [ForgottenKey("k-1", None, LONG_AGO)])
        connection.execute("rollback")
    assert Forgotten(register).all() == []


def test_enforcing_destroys_key_and_row_and_leaves_no_trace_of_them(register):
    """The bytes of the secret and of the name are gone from the file, not only from its rows."""
    with closing(sqlite3.connect(register)) as connection:
        query = "select key, secret from keys where rider = 'r-1'"
        key, secret = connection.execute(query).fetchone()
    Forgotten(register).add([ForgottenKey(key, None, LONG_AGO)])
    assert Forgotten(register).enforce() == 2
    assert Riders(register).get("r-1") is None
    assert Riders(register).get("r-2") is not None
    assert key not in Keyring(register).follow() and len(Keyring(register).follow()) == 2
    content = register.read_bytes()
    assert secret not in content and b"Ylva" not in content and b"Odo" in content
    assert Forgotten(register).enforce() == 0


def test_a_rider_entered_again_is_kept(register):
    """Forgetting reaches what was known then, and nothing that was entered since."""
    Forgotten(register).add([ForgottenKey("k-gone", "r-1", LONG_AGO)])
    assert Forgotten(register).enforce() == 0
    assert Riders(register).get("r-1") is not None
    soon = datetime.now(UTC) + timedelta(seconds=1)
    Forgotten(register).add([ForgottenKey(None, "r-1", soon)])
    assert Forgotten(register).enforce() == 1
    assert Riders(register).get("r-1") is None
