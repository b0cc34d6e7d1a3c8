"""Where a restored book is to be: a folder, or a prefix of an object store by way of one here."""

from __future__ import annotations

import shutil
from pathlib import Path

from ledger import witness
from ledger.backup.restore import Restored
from ledger.key_backups import Forgotten
from ledger.storage.address import is_address, written


class Target:
    """A folder a book is restored into."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder

    def take(self, done: Restored) -> None:
        """Bring the book from the folder to where it is to be, if it is whole."""


class FarTarget(Target):
    """A prefix of an object store; what is restored stands in the working folder until it is there.

    A quarantine stays in the working folder.
    """

    def __init__(self, address: str) -> None:
        """Take an `s3://bucket/prefix`; raises BookExists where it holds anything, Unreachable."""
        from ledger.home.mirrored import MirroredHome
        from ledger.home.places import mirror_of

        super().__init__(Path(address.rstrip("/").rpartition("/")[2]).absolute())
        self._home = MirroredHome(address, mirror_of(address))
        self._home.check_free()

    def take(self, done: Restored) -> None:
        """Put the whole book there, its signed roots and what is forgotten with it."""
        if done.book is None:
            return
        self._home.take_in(done.book)
        if (done.book / witness.NAME).exists():
            shutil.copy(done.book / witness.NAME, self._home.path / witness.NAME)
        forgotten = Forgotten(done.book / "riders.sqlite").all()
        Forgotten(self._home.riders.path).add(forgotten)
        self._home.get_ready()
        shutil.rmtree(done.book)
        done.book = Path(self._home.address)


def target_for(place: Path) -> Target:
    """Give what a book is restored into, by its folder or its address; raises as `FarTarget`."""
    return FarTarget(written(place)) if is_address(place) else Target(place)
