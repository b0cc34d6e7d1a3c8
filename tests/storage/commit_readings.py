"""A writer process: commits readings into a folder and says each one that is acknowledged.

python commit_readings.py FOLDER WRITER COUNT. Not a test; the tests of many processes start it.
"""

from __future__ import annotations

import sys
from pathlib import Path

from storage_events import UNITS, reading

from ledger.storage.local import LocalStore
from ledger.storage.log import Log


def main(folder: str, writer: str, count: str) -> None:
    """Commit `count` times two readings, whose ids tell the writer and the turn."""
    log = Log(LocalStore(Path(folder)), UNITS)
    print("ready", flush=True)
    sys.stdin.readline()
    for turn in range(int(count)):
        number = int(writer) * 1_000_000 + 2 * turn
        committed = log.commit(
            lambda head, number=number: [
                reading(head.size + 1, number=number),
                reading(head.size + 2, number=number + 1),
            ]
        )
        for event in committed.events:
            print(event.id, event.seq, committed.commit, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
