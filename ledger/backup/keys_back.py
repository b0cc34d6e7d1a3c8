"""The riders and the keys, brought back from the newest copy that is whole; but never a forgotten
one."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from ledger.backup.damage import Damage
from ledger.backup.keys import FORGOTTEN, BadCopy, check_copy, copies_at, read_forgotten
from ledger.key_backups import Forgotten, ForgottenKey, KeyBackup
from ledger.riders import Riders
from ledger.storage.objects import Objects


@dataclass
class KeysBack:
    """What came of the register."""

    copy: KeyBackup | None = None
    """The copy that was brought back; None: the register is empty."""
    count_dropped: int = 0
    """Keys and rows that the copy held though they were forgotten."""
    damages: list[Damage] = field(default_factory=list)


def bring_keys(
    register: Path,
    place: Objects,
    keys_place: Objects | None,
    book: tuple[str, str | None],
    now: datetime,
) -> KeysBack:
    """Make the register of a restored book; `book` is its shop and the root of its first commit.

    Without what is forgotten, no key is brought back.
    """
    done = KeysBack()
    forgotten = _forgotten(place, done)
    if keys_place is not None and forgotten is not None:
        done.copy = _copied(register, keys_place, book, now, done)
        if done.copy is None:
            detail = "There is no whole copy of this book's register that has not expired"
            done.damages.append(Damage(keys_place.address, "missing", detail))
    if not register.exists():
        register.touch(mode=0o600)
    Riders(register).make()
    if forgotten:
        Forgotten(register).add(forgotten)
    done.count_dropped = Forgotten(register).enforce()
    return done


def _forgotten(place: Objects, done: KeysBack) -> list[ForgottenKey] | None:
    end = "What is forgotten is not known, so no keys are brought back"
    try:
        return read_forgotten(place.get(FORGOTTEN))
    except FileNotFoundError:
        done.damages.append(Damage(FORGOTTEN, "missing", end))
    except BadCopy:
        done.damages.append(Damage(FORGOTTEN, "damaged", end))
    return None


def _copied(
    register: Path, place: Objects, book: tuple[str, str | None], now: datetime, done: KeysBack
) -> KeyBackup | None:
    for copy in _newest_first(place, book[0], now):
        try:
            check_copy(place.get(copy.name), *book, register)
        except FileNotFoundError:
            continue
        except BadCopy as error:
            done.damages.append(Damage(copy.name, "damaged", f"In {place.address}, {error}"))
            continue
        return copy
    return None


def _newest_first(place: Objects, shop: str, now: datetime) -> Iterator[KeyBackup]:
    for copy in reversed(copies_at(place, shop)):
        if copy.expires_at > now:
            yield copy
