"""The places a backup is kept in, and which of them may not be one within another."""

from __future__ import annotations

from pathlib import Path

from ledger.errors import WrongUse
from ledger.storage.objects import Objects, is_address, objects_at


def place_at(told: str, what: str, apart_from: dict[str, str | Path]) -> Objects:
    """Give the files at a folder or an address; `what` is what it is for, in words.

    Raises WrongUse where it is, holds, or lies within one of the others, which are told by words,
    and for a file.
    """
    objects = objects_at(told if is_address(told) else Path(told).expanduser().resolve())
    if not is_address(told) and Path(objects.address).is_file():
        raise WrongUse(f"{told} is a file, and a folder is needed.")
    for words, other in apart_from.items():
        if _is_within(objects.address, _plain(other)) or _is_within(_plain(other), objects.address):
            raise WrongUse(f"{told} is {words}, or one lies within the other. {what} goes apart.")
    return objects


def _plain(told: str | Path) -> str:
    return str(told).rstrip("/") if is_address(told) else str(Path(told).expanduser().resolve())


def _is_within(inner: str, outer: str) -> bool:
    return inner == outer or inner.startswith(outer.rstrip("/") + "/")
