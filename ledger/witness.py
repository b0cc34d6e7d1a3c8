"""`book/witness.txt`: the roots a book has signed, one a line, for copying elsewhere.

Whoever holds one line can tell a book that was rewritten as a whole: it no longer has that root at
that size. A line is size, root, time, key and signature, with tabs between.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterable, Iterator
from datetime import datetime
from pathlib import Path

from ledger.errors import Problem
from ledger.events.types import format_moment
from ledger.signing import SignedRoot

NAME = "witness.txt"
_END_SIZE = 4096
_HEX = re.compile(r"[0-9a-f]{64}")
_MOMENT = re.compile(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{6}Z")
_SIGNATURE = re.compile(r"[A-Za-z0-9_-]{86}")


def line_of(signed: SignedRoot) -> str:
    """Give the line of a signed root, without its end."""
    moment = format_moment(signed.recorded_at)
    return "\t".join((str(signed.size), signed.root, moment, signed.key, signed.signature))


def append(book: Path, signed: SignedRoot) -> bool:
    """Add a signed root to a book's witness file, durably; False where it is the newest already."""
    return append_line(book, line_of(signed))


def append_line(book: Path, line: str) -> bool:
    """Add a line of another copy of the same book's witness file, as `append` does."""
    path = book / NAME
    is_new = not path.exists()
    descriptor = os.open(path, os.O_RDWR | os.O_APPEND | os.O_CREAT, 0o644)
    try:
        end = os.pread(descriptor, _END_SIZE, max(0, os.fstat(descriptor).st_size - _END_SIZE))
        if end.rstrip(b"\n").rpartition(b"\n")[2] == line.encode():
            return False
        # A line that a crash cut off stands alone, and the next one begins on its own.
        start = "" if not end or end.endswith(b"\n") else "\n"
        os.write(descriptor, f"{start}{line}\n".encode())
        os.fsync(descriptor)
    finally:
        os.close(descriptor)
    if is_new:
        _confirm(book)
    return True


def _confirm(folder: Path) -> None:
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    finally:
        os.close(descriptor)


def read(lines: Iterable[str], shop: str, name: str = NAME) -> Iterator[SignedRoot | Problem]:
    """Give the signed root of each line, or what is wrong with it; empty lines count for nothing.

    The signature of each is checked; whether a book has that root is for who holds the book.
    """
    for number, line in enumerate(lines, 1):
        if line.strip():
            yield _read(line.rstrip("\r\n"), shop, f"{name}, line {number}")


def _read(line: str, shop: str, where: str) -> SignedRoot | Problem:
    cells = line.split("\t")
    if len(cells) != 5 or not cells[0].isascii() or not cells[0].isdigit() or len(cells[0]) > 18:
        return _problem(where, "line", "it is not size, root, time, key and signature")
    size, root, moment, key, signature = cells
    forms = (("root", root, _HEX), ("recorded_at", moment, _MOMENT), ("key", key, _HEX))
    for field, text, form in (*forms, ("signature", signature, _SIGNATURE)):
        if not form.fullmatch(text):
            return _problem(where, field, "it is not of the form that was written")
    try:
        signed = SignedRoot(shop, int(size), root, datetime.fromisoformat(moment), key, signature)
    except ValueError:
        return _problem(where, "recorded_at", "there is no such time")
    if not signed.is_signed:
        return _problem(where, "signature", "it is not by that key over that line")
    return signed


def _problem(where: str, field: str, wrong: str) -> Problem:
    return Problem(where, field, wrong, "Compare the line with a copy kept elsewhere", "witness")
