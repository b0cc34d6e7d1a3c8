"""Writing what a command made into a file, or to stdout for another program."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import Annotated

import typer

from ledger.errors import LedgerError, WrongUse

STDOUT = "-"

Out = Annotated[str, typer.Option("--out", help="The PDF to write; - for stdout.", metavar="FILE")]
Force = Annotated[
    bool, typer.Option("--force", "--replace", help="Write over the file if it is there.")
]


def check_out(out: str, *, is_replacing: bool) -> None:
    """Refuse a file that is there already, a folder, and a terminal, before any work is done."""
    if out == STDOUT:
        if sys.stdout.isatty():
            raise WrongUse("A PDF is not for reading on a terminal: give a file with --out.")
        return
    path = Path(out)
    if path.is_dir():
        raise LedgerError(f"{out} is a folder. Give a file to write, such as {path / 'page.pdf'}.")
    if not path.parent.is_dir():
        raise LedgerError(
            f"There is no folder {path.parent} to write {path.name} into. Make it first, or name "
            "another with --out."
        )
    if path.exists() and not is_replacing:
        raise LedgerError(f"{out} is already there. Give another name, or add --force.")


def write_out(out: str, content: bytes) -> bool:
    """Write bytes to a file, whole or not at all, or to stdout; say whether it was a file."""
    if out == STDOUT:
        sys.stdout.buffer.write(content)
        sys.stdout.buffer.flush()
        return False
    path = Path(out)
    beside = path.with_name(f".{path.name}.{os.getpid()}.part")
    try:
        beside.write_bytes(content)
        beside.replace(path)
    except OSError as error:
        raise LedgerError(f"{out} could not be written: {error.strerror or error}.") from None
    finally:
        beside.unlink(missing_ok=True)
    return True
