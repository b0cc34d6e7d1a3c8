"""A writer of its own process on an object store. Not a test; a test starts several.

python many_object_writers.py ADDRESS MIRROR WRITER TURNS: says `ready`, waits for a line, commits
two readings a turn, says each one that is acknowledged, and merges what is due.
"""

from __future__ import annotations

import sys
from datetime import UTC, datetime
from pathlib import Path

from object_store_places import log_of, store_at
from storage_events import reading

from ledger.storage import compaction

BLOCKS = (8, 64)


def main(address: str, mirror: str, writer: str, turns: str) -> None:
    """Write as told."""
    compaction.BLOCKS = BLOCKS
    log = log_of(store_at(address, Path(mirror), listed_s=1.0))
    print("ready", flush=True)
    sys.stdin.readline()
    for turn in range(int(turns)):
        number = int(writer) * 1_000_000 + 2 * turn
        committed = log.commit(
            lambda head, number=number: [
                reading(head.size + 1, number=number),
                reading(head.size + 2, number=number + 1),
            ]
        )
        assert committed is not None
        for event in committed.events:
            print(event.id, event.seq, committed.commit, flush=True)
        compaction.compact_quietly(log, datetime.now(UTC))


if __name__ == "__main__":
    main(*sys.argv[1:])
