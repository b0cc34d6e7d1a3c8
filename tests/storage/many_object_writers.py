"""Writers on an object store, forked from one process that has loaded everything.

python many_object_writers.py ADDRESS FOLDER WRITERS TURNS. Each writer has a mirror in the folder,
the first two share one; each commits two readings a turn, says each one that is acknowledged into
a file of its own, and merges what is due. Not a test; a test starts it.
"""

from __future__ import annotations

import os
import sys
from datetime import UTC, datetime
from pathlib import Path

from many_processes import forked
from object_store_places import log_of, store_at
from storage_events import reading

from ledger.storage import compaction

BLOCKS = (8, 64)


def write(address: str, folder: Path, writer: int, turns: int) -> None:
    """Commit, and say so once it is acknowledged."""
    log = log_of(store_at(address, folder / f"m{max(1, writer)}", listed_s=1.0))
    with (folder / f"said-{writer}").open("w") as said:
        for turn in range(turns):
            number = writer * 1_000_000 + 2 * turn
            committed = log.commit(
                lambda head, number=number: [
                    reading(head.size + 1, number=number),
                    reading(head.size + 2, number=number + 1),
                ]
            )
            assert committed is not None
            for event in committed.events:
                print(event.id, event.seq, committed.commit, file=said, flush=True)
            compaction.compact_quietly(log, log.head().commit, datetime.now(UTC))


def main(address: str, folder: str, writers: str, turns: str) -> None:
    """Start them all, wait for them, and end as they did."""
    compaction.BLOCKS = BLOCKS
    place = Path(folder)
    writing = [
        forked(lambda number=number: write(address, place, number, int(turns)))
        for number in range(int(writers))
    ]
    sys.exit(any(code for _, code in list(map(os.waitpid, writing, [0] * len(writing)))))


if __name__ == "__main__":
    main(*sys.argv[1:])
