"""A clock that is far ahead would take every copy of the keys away: it is to be confirmed first."""

from __future__ import annotations

from collections.abc import Iterable
from contextlib import suppress
from datetime import datetime, timedelta
from pathlib import Path

from ledger.backup.keys import copies_at
from ledger.errors import ClockJumped, LedgerError
from ledger.key_backups import KeyBackup, KeyBackups
from ledger.settings import BookSettings
from ledger.storage.objects import Objects

LONGEST_REST = timedelta(days=1, hours=2)
"""A backup made every night at one hour is never asked: not where it began a little later, nor
where the clocks were put back."""


def copies_known(register: Path, keys_place: Objects | None, shop: str) -> list[KeyBackup]:
    """Give the copies of the keys that a register knows of, and those at a place that answers."""
    found = KeyBackups(register).all()
    if keys_place is not None:
        with suppress(LedgerError, OSError):
            found += copies_at(keys_place, shop)
    return found


def check_clock(now: datetime, newest: Iterable[datetime | None], settings: BookSettings) -> None:
    """Raise ClockJumped where it is more than a day past all that was made or recorded before.

    `newest` are the times of the newest event, backup and copies of the keys.
    """
    last = max((one for one in newest if one is not None), default=None)
    if last is None or now - last <= LONGEST_REST:
        return
    raise ClockJumped(
        f"The clock says {settings.local(now):%Y-%m-%d %H:%M}, more than a day after the newest "
        f"entry, backup and copy of the keys ({settings.local(last):%Y-%m-%d %H:%M}), and copies "
        "go when the clock says that their time is past. If it is right, confirm it "
        "(--confirm-clock); if not, set the clock first. Nothing was sent or taken away."
    )
