"""Backups, and restores, that are killed (SIGKILL) before their n-th call to the disk.

Reads lines `backup N` and `restore N` from stdin; each is done in a process of its own, which is
killed before call N. Prints how many calls there were, or `killed`. N = 0 lets it end.
"""

from __future__ import annotations

import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from threading import Lock
from typing import Any

from ledger.backup import fetch
from ledger.book import Book
from ledger.storage.disk import Disk
from tests.backup.kept_book import back_up, bring_back

CALLS = ("create", "write", "fsync", "link", "rename", "unlink")
_lock = Lock()


def main(book: Path, place: Path, target: Path) -> None:
    """Do what stdin says, one process a line."""
    for line in sys.stdin:
        doing, _, number = line.partition(" ")
        read, write = os.pipe()
        child = os.fork()
        if child == 0:
            calls = _killed_before(int(number))
            if doing == "backup":
                back_up(Book.open(book), place)
            else:
                bring_back(place, target)
            os.write(write, str(calls()).encode())
            os._exit(0)
        os.close(write)
        told = os.read(read, 100).decode()
        os.close(read)
        os.waitpid(child, 0)
        print(told or "killed", flush=True)


def _killed_before(number: int) -> Callable[[], int]:
    """Count the calls to the disk from now on, and have the process killed before one."""
    calls = 0

    def counted(call: Callable[..., Any]) -> Callable[..., Any]:
        def counting(*arguments: Any) -> Any:
            nonlocal calls
            with _lock:
                calls += 1
                if calls == number:
                    os.kill(os.getpid(), signal.SIGKILL)
            return call(*arguments)

        return counting

    for name in CALLS:
        setattr(Disk, name, counted(getattr(Disk, name)))
    fetch.write = counted(fetch.write)
    fetch.confirm = counted(fetch.confirm)
    Path.rename = counted(Path.rename)  # type: ignore[method-assign] # a call to the disk as well
    return lambda: calls


if __name__ == "__main__":
    main(*map(Path, sys.argv[1:]))
