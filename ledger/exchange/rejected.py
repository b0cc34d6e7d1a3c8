"""The rows that were not accepted, beside the input, each with its reason in a last column."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from ledger.errors import UnreadableInput

REASON = "not accepted because"
"""The name of the last column; it is passed over when the file is brought in again."""


def rejected_path(path: Path) -> Path:
    """Give where the rejected rows of an input go: `log.csv.rejected.csv`."""
    return path.with_name(f"{path.name}.rejected.csv")


def _opened(path: Path) -> TextIO:
    try:
        return path.open("w", encoding="utf-8-sig", newline="", errors="replace")
    except OSError as error:
        raise UnreadableInput(
            f"Rejected rows cannot be written to {path} ({error.strerror}). Make that possible and "
            "bring the file in again: what was recorded already is not recorded twice."
        ) from error


class Rejected:
    """Writes rejected rows as RFC 4180 CSV in UTF-8; makes no file while there are none.

    With `path` None the rows are only counted.
    """

    def __init__(self, path: Path | None, columns: Sequence[str]) -> None:
        self.path = path
        self.count = 0
        self._columns = [name for name in columns if name != REASON]
        self._kept = [index for index, name in enumerate(columns) if name != REASON]
        self._file: TextIO | None = None

    def add(self, number: int, cells: Sequence[str], reason: str) -> None:
        """Write one row and why it was not accepted."""
        self.count += 1
        if self.path is None:
            return
        if self._file is None:
            self._file = _opened(self.path)
            csv.writer(self._file).writerow([*self._columns, REASON])
        row = [cells[index] for index in self._kept]
        csv.writer(self._file).writerow([*row, f"row {number}: {reason}"])

    def close(self) -> None:
        """Finish the file."""
        if self._file is not None:
            self._file.close()
