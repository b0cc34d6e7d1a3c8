"""A book's files in a folder of a local disk."""

from __future__ import annotations

import contextlib
import errno
import secrets
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime
from pathlib import Path

from ledger.errors import NotDurable, WriteRefused
from ledger.storage.disk import Disk

_NO_SUCH_WAY = {errno.EPERM, errno.ENOSYS, errno.EOPNOTSUPP, errno.EINVAL, errno.EMLINK}
"""How file systems say that they have no hard links, or no exclusive rename."""

_SETTLED_NS = 2_000_000_000
"""How long ago a folder must have changed for its time to tell the next change: file systems count
in ticks, of which the coarsest lasts two seconds."""
TEMPORARY = ".tmp-"
"""What names of files that are still being written start with."""

Way = Callable[[Path, Path], None]


class LocalStore:
    """Files created whole: a temporary file, fsync, an exclusive second name, fsync of the folder.

    What a writer that was killed left behind starts with `.tmp-` and is in nobody's way.
    """

    longest_pause_s = 0.02

    def __init__(self, folder: Path, disk: Disk | None = None) -> None:
        self.folder = folder
        self._disk = disk or Disk()
        self._way: Way | None = None

    def at_source(self) -> contextlib.AbstractContextManager[None]:
        """Nothing is a copy here; see `Store.at_source`."""
        return contextlib.nullcontext()

    def names(self) -> list[str]:
        """Give the names of all files there are now."""
        return self._disk.names(self.folder)

    def changed_at(self) -> int | None:
        """Give a mark that is another one when names have come or gone; None while unsettled."""
        changed, now = self._disk.changed_at(self.folder)
        return changed if changed + _SETTLED_NS < now else None

    def read(self, name: str) -> bytes:
        """Give a whole file."""
        return self._disk.read(self.folder / name)

    def read_end(self, name: str, size: int) -> bytes:
        """Give the last bytes of a file."""
        return self._disk.read_end(self.folder / name, size)

    def path(self, name: str) -> Path:
        """Give where the file stands."""
        return self.folder / name

    def made_at(self, name: str) -> datetime:
        """Give when a file was written, by the clock of its disk."""
        return datetime.fromtimestamp(self._disk.modified_at(self.folder / name), UTC)

    def create(self, name: str, content: bytes, *, is_read_back: bool = False) -> None:
        """Make a file that lasts, unless the name is taken; see `Store.create`."""
        with self._open_folder() as folder:
            with self._temporary(content) as temporary:
                if is_read_back and self._disk.read(temporary) != content:
                    raise _read_back_differently(name)
                self._exclusively(temporary, self.folder / name)
            self._confirm(folder)

    def replace(self, name: str, content: bytes) -> None:
        """Make a file that lasts, at once in place of one that is there; nothing of a book.

        Raises WriteRefused where nothing was made, NotDurable where the disk did not confirm.
        """
        with self._open_folder() as folder:
            with self._temporary(content) as temporary:
                self._disk.rename(temporary, self.folder / name)
            self._confirm(folder)

    def create_all(
        self, files: Iterable[tuple[str, bytes]], may_finish: Callable[[], bool]
    ) -> None:
        """Make many files that last, last one first, or none; see `Store.create_all`."""
        with self._open_folder() as folder:
            with contextlib.ExitStack() as temporaries:
                written = [
                    (temporaries.enter_context(self._temporary(content)), self.folder / name)
                    for name, content in files
                ]
                self._name_all(written, may_finish, folder)
            self._confirm(folder)

    def _name_all(
        self, written: list[tuple[Path, Path]], may_finish: Callable[[], bool], folder: int
    ) -> None:
        named: list[Path] = []
        try:
            for temporary, path in reversed(written):
                if len(named) == len(written) - 1:
                    self._confirm(folder)
                    if not may_finish():
                        raise FileExistsError(str(path))
                self._exclusively(temporary, path)
                named.append(path)
        except OSError:
            self.remove_all(path.name for path in named)
            raise

    def _exclusively(self, temporary: Path, path: Path) -> None:
        if self._way is None:
            self.probe()
        assert self._way is not None
        self._way(temporary, path)

    @contextlib.contextmanager
    def _open_folder(self) -> Iterator[int]:
        """Open the folder before anything in it is named.

        The system tells of a failed write to those who had the folder open then, and to nobody
        else: opened only after the name was given, its fsync might say yes in vain.
        """
        with _refusing(self.folder):
            descriptor = self._disk.open_folder(self.folder)
        try:
            yield descriptor
        finally:
            self._disk.close(descriptor)

    def _confirm(self, folder: int) -> None:
        try:
            self._disk.fsync(folder)
        except OSError as error:
            raise self._not_confirmed(error) from error

    def _not_confirmed(self, error: OSError) -> NotDurable:
        return NotDurable(
            f"The disk did not confirm that the folder {self.folder} was written ({error}). "
            "Whether the last commit was kept is not certain. Check the disk, then open the "
            "book again and look; recording the same events again makes no second copy."
        )

    def confirm(self) -> None:
        """Return once every name now in the folder is durable.

        A name comes and goes first: after somebody's failed fsync the system may hold names for
        written that are not, and a fsync with nothing to write would say yes in vain.
        """
        path = _temporary_name(self.folder)
        try:
            descriptor = self._disk.open_folder(self.folder)
            try:
                self._disk.close(self._disk.create(path))
                self._disk.unlink(path)
                self._disk.fsync(descriptor)
            finally:
                self._disk.close(descriptor)
        except OSError as error:
            self._discard(path)
            raise self._not_confirmed(error) from error

    def remove(self, name: str) -> None:
        """Remove a file, durably; no error if it is gone already."""
        self.remove_all([name])

    def remove_all(self, names: Iterable[str]) -> None:
        """Remove files, durably; no error for those that are gone already."""
        with self._open_folder() as folder:
            removed = [name for name in names if self._is_unlinked(name)]
            if removed:
                self._confirm(folder)

    def _is_unlinked(self, name: str) -> bool:
        """Take a name away; tell whether it was there."""
        try:
            self._disk.unlink(self.folder / name)
        except FileNotFoundError:
            return False
        except OSError as error:
            raise NotDurable(
                f"{name} could not be taken back ({error}). Open the book again and look whether "
                "its events are there before recording them again."
            ) from error
        return True

    def probe(self) -> None:
        """Find the exclusive way this file system has; WriteRefused if it has none."""
        with _refusing(self.folder), self._temporary(b"") as taken:
            for way in (self._disk.link, self._disk.rename_exclusive):
                if self._is_exclusive(way, taken):
                    self._way = way
                    return
        raise WriteRefused(
            f"The file system of {self.folder} has neither hard links nor exclusive renames, so "
            "two people recording at once could overwrite each other. The book can be read "
            "there, not written. Keep it on a local disk (ext4, xfs, btrfs, apfs)."
        )

    def _is_exclusive(self, way: Way, taken: Path) -> bool:
        """Tell whether a way gives a file a free name and never gives it one that is taken."""
        target = _temporary_name(self.folder)
        try:
            with self._temporary(b"") as source:
                way(source, target)
        except OSError as error:
            if error.errno in _NO_SUCH_WAY:
                return False
            raise
        finally:
            self._discard(target)
        try:
            with self._temporary(b"") as source:
                way(source, taken)
        except FileExistsError:
            return True
        return False

    @contextlib.contextmanager
    def _temporary(self, content: bytes) -> Iterator[Path]:
        path = _temporary_name(self.folder)
        try:
            with _refusing(self.folder):
                self._write(path, content)
            yield path
        finally:
            self._discard(path)

    def _write(self, path: Path, content: bytes) -> None:
        descriptor = self._disk.create(path)
        try:
            rest = memoryview(content)
            while rest:
                rest = rest[self._disk.write(descriptor, rest) :]
            if content:
                self._fsync(descriptor)
        finally:
            self._disk.close(descriptor)

    def _fsync(self, descriptor: int) -> None:
        try:
            self._disk.fsync(descriptor)
        except OSError as error:
            raise NotDurable(
                f"The disk did not confirm a write in {self.folder} ({error}). Nothing was "
                "recorded. Check the disk and the room left on it, then open the book again."
            ) from error

    def _discard(self, path: Path) -> None:
        with contextlib.suppress(OSError):
            self._disk.unlink(path)


def _read_back_differently(name: str) -> WriteRefused:
    return WriteRefused(
        f"{name} was not made: what was written for it reads back differently. The disk may be "
        "failing. Everything recorded is where it was; make a backup, then check the disk."
    )


def _temporary_name(folder: Path) -> Path:
    return folder / f"{TEMPORARY}{secrets.token_hex(8)}"


@contextlib.contextmanager
def _refusing(folder: Path) -> Iterator[None]:
    """Turn what the system says no to, before anything was made, into a clear refusal."""
    try:
        yield
    except OSError as error:
        raise WriteRefused(
            f"Nothing was recorded: {folder} cannot be written ({error}). Make room, or give "
            "yourself the right to write there, and try again."
        ) from error
