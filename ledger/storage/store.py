"""What a place must be able to do to hold a book's files."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from contextlib import AbstractContextManager
from datetime import datetime
from pathlib import Path
from typing import Protocol


class Store(Protocol):
    """A flat set of named files that are created whole, or not at all, and never changed."""

    longest_pause_s: float
    """How long a writer who lost a race may wait at most before the next try."""

    def at_source(self) -> AbstractContextManager[None]:
        """Within it, what is read and listed is what stands in the store itself at that moment.

        Elsewhere a store that is far away may answer from a copy, which is older by a moment or,
        while it does not answer, by more. Raises Unreachable, an OSError.
        """

    def names(self) -> list[str]:
        """Give the names of all files there are now, in no order; others' files too."""

    def changed_at(self) -> int | None:
        """Give a mark that is another one whenever `names` are; None where that is not known."""

    def read(self, name: str) -> bytes:
        """Give a whole file; FileNotFoundError if there is none."""

    def read_end(self, name: str, size: int) -> bytes:
        """Give the last bytes of a file, `size` at most; FileNotFoundError if there is none."""

    def made_at(self, name: str) -> datetime:
        """Give when a file was written, by the store's own clock; FileNotFoundError if none."""

    def create(self, name: str, content: bytes, *, is_read_back: bool = False) -> None:
        """Make a file that lasts, unless the name is taken.

        On return the file is durable. FileExistsError: the name is taken. WriteRefused: nothing
        was made. NotDurable: the disk did not confirm. Any other OSError: the reply was lost, and
        the file may be there; read it back. With `is_read_back` nothing takes the name before
        what was written has been read again and is the same.
        """

    def create_all(
        self, files: Iterable[tuple[str, bytes]], may_finish: Callable[[], bool]
    ) -> None:
        """Make many files that last, last one first, or none.

        All are written before any takes its name. `may_finish` is asked before the first file
        takes its name; if it says no, or any name is taken, the others are taken back and
        FileExistsError raised. Otherwise as `create`.
        """

    def confirm(self) -> None:
        """Return once every name now in the store is durable; NotDurable if it cannot be said."""

    def remove(self, name: str) -> None:
        """Remove a file, durably; no error if it is gone already."""

    def remove_all(self, names: Iterable[str]) -> None:
        """Remove files, durably; no error for those that are gone already."""

    def path(self, name: str) -> Path:
        """Give where the file stands, for tools that read Parquet by path."""

    def probe(self) -> None:
        """Raise WriteRefused, saying why, where `create` cannot keep its promise."""
