"""A folder that has no name yet: what is made in it gets its name when it is done, or goes."""

from __future__ import annotations

import fcntl
import os
import secrets
import shutil
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from ledger.backup.fetch import confirm


@contextmanager
def partly(target: Path) -> Iterator[Path]:
    """Give a new hidden folder beside a target, for its owner alone; it is gone afterwards.

    Whatever is to stay is given its name before (`named`). What a process that was killed left
    behind for the same target is taken away first.
    """
    target.parent.mkdir(parents=True, exist_ok=True)
    start = f".{target.name}.restoring-"
    for left in target.parent.glob(f"{_plain(start)}*"):
        with suppress(OSError), _held(left):
            shutil.rmtree(left, ignore_errors=True)
    folder = target.with_name(f"{start}{secrets.token_hex(4)}")
    folder.mkdir(mode=0o700)
    try:
        with _held(folder):
            yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@contextmanager
def _held(folder: Path) -> Iterator[None]:
    """Hold a folder as long as this process lives; OSError where another one does."""
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        yield
    finally:
        os.close(descriptor)


def named(folder: Path, target: Path) -> None:
    """Give a folder its name for good, all in it durable; an empty folder of that name goes."""
    for path in (folder, *folder.rglob("*")):
        if path.is_dir():
            confirm(path)
    folder.rename(target)
    confirm(target.parent)


def _plain(name: str) -> str:
    return "".join(f"[{sign}]" if sign in "*?[" else sign for sign in name)
