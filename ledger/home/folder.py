"""A book in a folder of this machine."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING

from ledger import settings as book_settings
from ledger.errors import BookExists, Problem
from ledger.riders import Keyring, Riders, register_gone
from ledger.settings import BookSettings
from ledger.storage.line import Silence
from ledger.storage.local import LocalStore
from ledger.storage.store import Store

PHOTO = re.compile(r"[0-9a-f]{64}")
if TYPE_CHECKING:
    from ledger.signing import SignedRoot

EVENTS, PHOTOS, REGISTER, TOLD = "events", "photos", "riders.sqlite", "book.toml"


class Home:
    """Where a book's events, register, keys, photos and signed roots are, and how they are kept."""

    store: Store
    riders: Riders
    keys: Keyring

    def __init__(self, path: Path) -> None:
        self.path = path
        """The folder that is read by path. What is derived from the book lies there too."""
        self.address = str(path)
        """Where the book is, as people write it."""
        self.store = LocalStore(path / EVENTS)
        self.riders = Riders(path / REGISTER)
        self.keys = Keyring(path / REGISTER)

    @property
    def silence(self) -> Silence | None:
        """Give what is read while the place itself does not answer; None while it does."""
        return None

    def when_silent(self, tell: Callable[[Silence], None]) -> None:
        """Have it told each time that the place answers no longer; at once, where it is so now."""

    def damaged(self) -> list[Problem]:
        """Give the pieces of the register that cannot be read, as far as was looked at."""
        return []

    def settings(self) -> BookSettings:
        """Read what the book says of itself; raises NoBook and BookDamaged."""
        return book_settings.read(self.path / TOLD)

    def make(self, settings: BookSettings) -> None:
        """Make an empty book; raises BookExists where there is anything, and WriteRefused."""
        if self.path.exists() and (not self.path.is_dir() or any(self.path.iterdir())):
            raise BookExists(f"{self.path} already holds something. Choose an empty or new folder.")
        (self.path / EVENTS).mkdir(parents=True, exist_ok=True)
        (self.path / PHOTOS).mkdir(exist_ok=True)
        self.store.probe()
        self.riders.make()
        book_settings.write(self.path / TOLD, settings)

    def get_ready(self) -> None:
        """Make what reading the book needs, before its files are read."""

    def get_register_ready(self, *, is_begun: bool) -> None:
        """Make the register of a new book; raises BookDamaged where one that is begun has none."""
        if is_begun and not self.riders.path.exists():
            raise register_gone(self.riders.path)
        (self.path / EVENTS).mkdir(exist_ok=True)
        self.riders.make()

    def keep_photo(self, name: str, sealed: bytes) -> None:
        """Make a photo's ciphertext last; FileExistsError where there is a file of that name."""
        folder = self.path / PHOTOS
        folder.mkdir(exist_ok=True)
        store = LocalStore(folder)
        try:
            store.create(name, sealed)
        except FileExistsError:
            store.confirm()
            raise

    def photo(self, name: str) -> bytes:
        """Give a photo's ciphertext; FileNotFoundError where there is none."""
        return (self.path / PHOTOS / name).read_bytes()

    def photos(self) -> dict[str, int]:
        """Give the size in bytes of every photo there is, by its name."""
        if not (self.path / PHOTOS).is_dir():
            return {}
        files = sorted((self.path / PHOTOS).iterdir())
        return {file.name: file.stat().st_size for file in files if PHOTO.fullmatch(file.name)}

    def note_witness(self, signed: SignedRoot) -> None:
        """Add a signed root to the witness file, durably; not the newest one once more."""
        # What signs is loaded for those who sign.
        from ledger import witness

        witness.append(self.path, signed)

    def differing(self) -> list[Problem]:
        """Give what the place itself holds otherwise than the folder that is read by path."""
        return []
