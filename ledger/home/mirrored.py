"""A book on an object store, with a mirror on this machine that is read by path."""

from __future__ import annotations

import contextlib
import hashlib
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from ledger import settings as book_settings
from ledger import witness
from ledger.errors import BookExists, NoBook, Problem, Unreachable, WriteRefused
from ledger.home.folder import EVENTS, PHOTO, PHOTOS, REGISTER, TOLD, Home
from ledger.home.places import mark
from ledger.home.register import KEYS, RIDERS, SharedRegister
from ledger.home.shared import SharedKeyring, SharedRiders
from ledger.settings import BookSettings
from ledger.signing import SignedRoot
from ledger.storage.line import Line, Silence
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from ledger.storage.mirrored import MirroredStore
from ledger.storage.objects import BucketObjects

WITNESS = "witness"
"""One object a signed root: `witness/<size>-<hash of the line>`; the mirror's file has them all."""
RESTORE = "Put it back from a backup, or from this machine's copy"
_LONGEST_S = 20
"""No request of a commit, or of a listing, takes longer: a file of a book is a few MB at most."""


class MirroredHome(Home):
    """A book under a prefix of a bucket; all that is read by path is read in the mirror."""

    def __init__(self, address: str, path: Path) -> None:
        """Take an `s3://bucket/prefix` and the mirror's folder; raises WrongUse."""
        self._objects = BucketObjects(address, longest_s=_LONGEST_S)
        self._line = Line(address, path)
        self.path = path
        self.address = address
        self._store = MirroredStore(self._objects, path / EVENTS, self._line)
        self.store = self._store
        self._register = SharedRegister(self._objects, path / REGISTER, self._line, self._store)
        self.riders = SharedRiders(self._register)
        self.keys = SharedKeyring(self._register)

    @property
    def silence(self) -> Silence | None:
        """Give what is read while the store does not answer; None while it does."""
        return self._store.silence

    def when_silent(self, tell: Callable[[Silence], None]) -> None:
        """Have it told each time that the store answers no longer; at once, if it is so now."""

        def say() -> None:
            if (silence := self.silence) is not None:
                tell(silence)

        self._line.tell = say
        say()

    def settings(self) -> BookSettings:
        """Read what the book says of itself: once from the store, then from the mirror."""
        told = self.path / TOLD
        if not told.exists():
            try:
                content = self._objects.get(TOLD)
            except FileNotFoundError:
                raise NoBook(
                    f"There is no book at {self.address}. Make one with: "
                    f"lockring init {self.address}"
                ) from None
            self._make_mirror()
            with contextlib.suppress(FileExistsError):
                LocalStore(self.path).create(TOLD, content)
        return book_settings.read(told)

    def _make_mirror(self) -> None:
        mark(self.path, self.address)
        for folder in (EVENTS, PHOTOS):
            (self.path / folder).mkdir(exist_ok=True)

    def make(self, settings: BookSettings, put: Callable[[], None] = lambda: None) -> None:
        """Make a book of what `put` puts; `book.toml` comes last, and makes it one.

        Raises BookExists where the prefix, or the mirror's folder, holds anything; WriteRefused
        where the store does not answer, or gives a name that is taken.
        """
        try:
            self.check_free()
            self._make_mirror()
            self.store.probe()
            self.riders.make()
            put()
            content = _content_of(settings)
            self._objects.create(TOLD, content)
            LocalStore(self.path).replace(TOLD, content)
        except FileExistsError:
            raise BookExists(f"Somebody else made a book at {self.address} just now.") from None
        except FileNotFoundError:
            raise WriteRefused(f"There is no bucket for {self.address}. Make it first.") from None
        except Unreachable as error:
            raise WriteRefused(f"No book was made: {error}") from error

    def check_free(self) -> None:
        """Raise BookExists where the prefix, or its mirror's folder, holds anything."""
        if self._objects.all():
            raise BookExists(f"{self.address} already holds something. Choose another prefix.")
        if self.path.exists() and any((self.path / EVENTS).glob("*.parquet")):
            raise BookExists(
                f"{self.path}, this machine's copy of {self.address}, is of a book that is there "
                "no longer. Move that folder away first."
            )

    def take_in(self, book: Path) -> None:
        """Put a whole book of a folder here, with register and keys; `book.toml` comes last.

        Raises as `make` does; what was put until then stays, and makes no book.
        """
        self.make(book_settings.read(book / TOLD), put=lambda: self._put_all(book))

    def _put_all(self, book: Path) -> None:
        self._register.put_all(book / REGISTER)
        for photo in sorted((book / PHOTOS).iterdir()):
            self.keep_photo(photo.name, photo.read_bytes())
        for file in reversed(Log(LocalStore(book / EVENTS)).paths()):
            self.store.create(file.name, file.read_bytes())

    def get_ready(self) -> None:
        """Make the mirror's folders and its register, and let it follow the store's."""
        self._make_mirror()
        self.riders.make()
        with ThreadPoolExecutor(3) as hands:
            asked = [hands.submit(self._register.follow, folder) for folder in (RIDERS, KEYS)]
            asked.append(hands.submit(self._register.share_forgotten))
        for one in asked:
            with contextlib.suppress(Unreachable):
                one.result()

    def get_register_ready(self, *, is_begun: bool) -> None:
        """The store's register is that of the book, whatever became of the mirror's."""

    def keep_photo(self, name: str, sealed: bytes) -> None:
        """Make a photo's ciphertext last in the store, then here."""
        try:
            self._objects.create(f"{PHOTOS}/{name}", sealed)
        except FileExistsError:
            if self._objects.get(f"{PHOTOS}/{name}") != sealed:
                raise
        except Unreachable as error:
            raise WriteRefused(f"Nothing was recorded: {error}") from error
        self._mirror_photo(name, sealed)

    def _mirror_photo(self, name: str, sealed: bytes) -> None:
        # What cannot be kept here is fetched again.
        with contextlib.suppress(OSError, WriteRefused):
            LocalStore(self.path / PHOTOS).create(name, sealed)

    def photo(self, name: str) -> bytes:
        """Give a photo's ciphertext, fetched when it is first looked at; raises Unreachable."""
        with contextlib.suppress(FileNotFoundError):
            return super().photo(name)
        sealed = self._line.ask(lambda: self._objects.get(f"{PHOTOS}/{name}"))
        if hashlib.sha256(sealed).hexdigest() == name:
            self._mirror_photo(name, sealed)
        return sealed

    def photos(self) -> dict[str, int]:
        """Give the size in bytes of every photo in the store, by name; raises Unreachable."""
        told = {one.name.rpartition("/")[2]: one.size for one in self._objects.all(PHOTOS)}
        return {name: size for name, size in told.items() if PHOTO.fullmatch(name)}

    def note_witness(self, signed: SignedRoot) -> None:
        """Add a signed root to the mirror's file, and to the store as soon as it answers."""
        super().note_witness(signed)
        with contextlib.suppress(Unreachable):
            self._follow_witness()

    def _follow_witness(self) -> None:
        """Let the mirror's file and the store's objects hold the same signed roots."""
        file = self.path / witness.NAME
        own = file.read_text("utf-8", errors="replace").split("\n") if file.exists() else []
        lines = {_witness_name(line): line for line in own if line.strip()}
        there = {one.name for one in self._line.ask(lambda: self._objects.all(WITNESS))}
        for name in sorted(lines.keys() - there):
            with contextlib.suppress(FileExistsError):
                self._objects.create(name, f"{lines[name]}\n".encode())
        for name in sorted(there - lines.keys()):
            witness.append_line(self.path, self._objects.get(name).decode().strip())

    def damaged(self) -> list[Problem]:
        """Give the objects of the register that cannot be read."""
        found = sorted(self._register.damaged.items())
        return [Problem(name, "the object", wrong, RESTORE, "register") for name, wrong in found]

    def differing(self) -> list[Problem]:
        """Give what the store holds otherwise than the mirror: every object is fetched anew.

        Nothing, while the store does not answer.
        """
        self.get_ready()
        with contextlib.suppress(Unreachable):
            self._follow_witness()
            return [*self.damaged(), *self._differing()]
        return []

    def _differing(self) -> Iterator[Problem]:
        for name in self._objects.odd_names():
            wrong = "no file of a book has such a name, and it is passed over"
            yield Problem(name, "the object", wrong, "Remove it with the store's tools", "name")
        for name, wrong in self._store.differing():
            yield Problem(f"{EVENTS}/{name}", "the object", wrong, RESTORE, "object")
        for one in self._objects.all(PHOTOS):
            sealed = self._objects.get(one.name)
            if hashlib.sha256(sealed).hexdigest() != one.name.rpartition("/")[2]:
                wrong = "its bytes do not give the hash it is named by"
                yield Problem(one.name, "the object", wrong, RESTORE, "photo")


def _content_of(settings: BookSettings) -> bytes:
    with tempfile.TemporaryDirectory() as folder:
        book_settings.write(Path(folder) / TOLD, settings)
        return (Path(folder) / TOLD).read_bytes()


def _witness_name(line: str) -> str:
    size = line.partition("\t")[0]
    size = f"{int(size):012}" if size.isascii() and size.isdigit() else "0" * 12
    return f"{WITNESS}/{size}-{hashlib.sha256(line.encode()).hexdigest()[:16]}"
