"""The list of what is forgotten, beside the events of a backup: only ever added to."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path

from ledger.backup.keys import FORGOTTEN, BadCopy, forgotten_bytes, read_forgotten
from ledger.key_backups import Forgotten
from ledger.storage.objects import Named, Objects


def put_forgotten(register: Path, place: Objects, there: Mapping[str, Named]) -> int:
    """Bring the list at a place up to date with a register's; give how much it holds."""
    held = set(Forgotten(register).all())
    if FORGOTTEN in there:
        with suppress(BadCopy):
            told = place.get(FORGOTTEN)
            held |= set(read_forgotten(told))
            if forgotten_bytes(held) == told:
                return len(held)
    place.put(FORGOTTEN, forgotten_bytes(held))
    return len(held)
