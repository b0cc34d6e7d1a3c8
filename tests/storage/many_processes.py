"""Many processes on one folder, forked from one that has loaded everything.

python many_processes.py FOLDER WRITERS TURNS. Each writer commits readings, says each one that is
acknowledged into a file of its own, and merges what is due; one more process does nothing else
than merge and take away. Not a test; the tests of a real disk start it.
"""

from __future__ import annotations

import os
import sys
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

from storage_events import UNITS, reading

from ledger.storage import compaction
from ledger.storage.compaction import compact, compact_quietly
from ledger.storage.local import LocalStore
from ledger.storage.log import Log

BLOCKS = (4, 32)


def write(folder: Path, writer: int, turns: int) -> None:
    """Commit two readings a turn, and say so once they are acknowledged."""
    log = Log(LocalStore(folder), UNITS)
    with (folder.parent / f"said-{writer}").open("w") as said:
        for turn in range(turns):
            number = writer * 1_000_000 + 2 * turn
            committed = log.commit(
                lambda head, number=number: [
                    reading(head.size + 1, number=number),
                    reading(head.size + 2, number=number + 1),
                ]
            )
            for event in committed.events:
                print(event.id, event.seq, committed.commit, file=said, flush=True)
            compact_quietly(log, log.head().commit, datetime.now(UTC))


def merge(folder: Path, *, is_forever: bool = False) -> None:
    """Merge and take away at once, again and again, until a file says that all have written."""
    log = Log(LocalStore(folder), UNITS)
    while is_forever or not (folder.parent / "done").exists():
        compact(log, datetime.now(UTC), grace=timedelta(0))
        time.sleep(0.01)
    compact(log, datetime.now(UTC), grace=timedelta(0))


def forked(work) -> int:
    """Run something in a process of its own; give its id."""
    pid = os.fork()
    if pid:
        return pid
    code = 1
    try:
        work()
        code = 0
    finally:
        os._exit(code)


def main(folder: str, writers: str, turns: str) -> None:
    """Start them all, wait for them, and end as they did."""
    compaction.BLOCKS = BLOCKS
    place = Path(folder)
    merging = forked(lambda: merge(place))
    writing = [
        forked(lambda number=number: write(place, number, int(turns)))
        for number in range(int(writers))
    ]
    codes = [os.waitpid(pid, 0)[1] for pid in writing]
    (place.parent / "done").touch()
    codes.append(os.waitpid(merging, 0)[1])
    sys.exit(any(codes))


if __name__ == "__main__":
    main(*sys.argv[1:])
