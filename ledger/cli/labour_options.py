"""What `labour` and `margin` are both asked: a period, how much is listed, and files to write."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from ledger.errors import LedgerError, WrongUse

if TYPE_CHECKING:
    from ledger.exchange.sheets import Sheet

FEW = 15
"""Rows of a list that are shown to people who did not say how many."""
NONE = "none"
"""What is typed for the row of jobs that nothing was told of."""

Since = Annotated[
    str | None,
    typer.Option(
        help="Jobs closed from this day on, such as 2026-03-01.",
        show_default="12 months before --until",
    ),
]
Until = Annotated[
    str | None,
    typer.Option(help="Jobs closed up to this day, it included.", show_default="today, or --as-at"),
]
Limit = Annotated[
    int | None,
    typer.Option(
        help="At most so many rows of a list; 0 for all.",
        min=0,
        show_default=f"{FEW}; all with --json, --csv or --xlsx",
    ),
]
CsvFile = Annotated[
    Path | None,
    typer.Option("--csv", help="Write the table asked for as CSV; - for stdout.", metavar="FILE"),
]
XlsxFile = Annotated[
    Path | None, typer.Option("--xlsx", help="Write every table into one XLSX.", metavar="FILE")
]
Replace = Annotated[bool, typer.Option("--replace", help="Write over a file that is there.")]


@dataclass(frozen=True, slots=True)
class Files:
    """Where the tables are to be written; None for nowhere."""

    csv: Path | None
    xlsx: Path | None
    is_replacing: bool

    @property
    def is_any(self) -> bool:
        """Whether anything is to be written."""
        return self.csv is not None or self.xlsx is not None


def files_asked(csv: Path | None, xlsx: Path | None, *, replace: bool, as_json: bool) -> Files:
    """Give the files asked for; raises WrongUse, and LedgerError for one that is in the way."""
    if as_json and (csv or xlsx):
        raise WrongUse("Choose --json, or files with --csv and --xlsx.")
    if replace and not (csv or xlsx):
        raise WrongUse("--replace goes with --csv or --xlsx.")
    if csv is not None and csv == xlsx:
        raise WrongUse("--csv and --xlsx need files of their own.")
    for path in (csv, xlsx):
        if path is not None and not _is_stdout(path):
            _refuse_in_the_way(path, is_replacing=replace)
    if xlsx is not None and _is_stdout(xlsx):
        raise WrongUse("--xlsx needs a file; - is for --csv.")
    return Files(csv, xlsx, replace)


def _is_stdout(path: Path) -> bool:
    return str(path) == "-"


def _refuse_in_the_way(path: Path, *, is_replacing: bool) -> None:
    if not path.parent.is_dir():
        raise LedgerError(f"There is no folder {path.parent}. Make it, or name another.")
    if path.is_dir():
        raise LedgerError(f"{path} is a folder; give the name of a file in it.")
    if path.exists() and not is_replacing:
        raise LedgerError(f"{path} is already there. Give another name, or add --replace.")


def write_files(
    files: Files, table: Callable[[], Sheet], tables: Callable[[], Sequence[Sheet]]
) -> None:
    """Write the one table as CSV and every table as XLSX, as far as asked, and say so."""
    from ledger.exchange.sheets import csv_bytes, xlsx_bytes

    if files.csv is not None:
        one = table()
        _write(files.csv, csv_bytes(one), f"{_rows(len(one.rows))} of {one.name}")
    if files.xlsx is not None:
        every = tables()
        _write(files.xlsx, xlsx_bytes(every), f"{len(every)} tables")


def _rows(count: int) -> str:
    return f"{count:,} row{'' if count == 1 else 's'}"


def _write(path: Path, content: bytes, what: str) -> None:
    """Write beside the file and move it there when it is whole."""
    from ledger.cli.output import say

    if _is_stdout(path):
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()
        return
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        beside.write_bytes(content)
        beside.replace(path)
    finally:
        beside.unlink(missing_ok=True)
    say(f"Wrote {what} to {path}.")


def period_asked(since: str | None, until: str | None) -> tuple[date | None, date | None]:
    """Give the days of --since and --until; raises WrongUse for what is no day."""
    return _day("--since", since), _day("--until", until)


def _day(flag: str, text: str | None) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise WrongUse(f"{flag}: {text!r} is no day; write it as 2026-03-01.") from None


def most(limit: int | None, *, is_all: bool) -> int | None:
    """Give how many rows of a list are asked for; None for all."""
    return FEW if limit is None and not is_all else limit or None


def key_asked(text: str) -> str | None:
    """Give the key of a row; None for the row of jobs that nothing was told of."""
    return None if text.strip().lower() == NONE else text.strip()


def key_words(key: str | None) -> str:
    """Give the key of a row as it is typed."""
    return NONE if key is None else key


def refuse_unknown(flag: str, key: str | None, known: Sequence[str | None], what: str) -> None:
    """Raise WrongUse where no row has the key, with those there are."""
    if key in known:
        return
    from difflib import get_close_matches

    names = [key_words(one) for one in known]
    if not names:
        raise WrongUse(f"{flag} {key_words(key)}: no job was closed in the period.")
    near = get_close_matches(key_words(key), [one for one in names if one != NONE], n=3, cutoff=0.5)
    said = f"Did you mean {' or '.join(near)}?" if near else f"There are: {', '.join(names[:12])}."
    raise WrongUse(f"{flag}: no {what} here is {key_words(key)!r}. {said}")
