"""Whether the files that are asked hold every event once, each in its place.

A file under another one's name is a whole Parquet file, and every figure over it would be wrong
without a word. Numbers are gapless, so that how many there are in a file and their sum tell.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TypeVar

import duckdb

from ledger.errors import BookDamaged

Told = Mapping[str, tuple[int, int]]
"""By path: how many events a file holds, and the sum of their numbers."""

Found = TypeVar("Found")

_LOOKS = 5
_ASKED = """select filename, count(*), coalesce(sum(seq), 0)::bigint
from read_parquet($files, filename = true, union_by_name = true, hive_partitioning = false)
group by filename"""


def told_by_duckdb(connection: duckdb.DuckDBPyConnection, paths: Sequence[str]) -> Told:
    """Give what files hold."""
    found = connection.cursor().execute(_ASKED, {"files": list(paths)}).fetchall()
    return {path: (count, total) for path, count, total in found}


def asked_again(files: Callable[[], Sequence[Path]], ask: Callable[[list[str]], Found]) -> Found:
    """Give what `ask` is told by DuckDB of the files; of those there are then, where one went.

    A compaction takes files away whose events a segment holds as well. Raises what `ask` raises
    of files that are the same still.
    """
    for _ in range(_LOOKS):
        paths = [str(path) for path in files()]
        try:
            return ask(paths)
        except duckdb.IOException:
            if [str(path) for path in files()] == paths:
                raise
    return ask([str(path) for path in files()])


class Held:
    """What is known of files that never change: how many events each holds, and their sum."""

    def __init__(self) -> None:
        self._known: dict[str, tuple[int, int]] = {}
        self._whole: tuple[str, ...] = ()

    def unknown(self, paths: Sequence[str]) -> list[str]:
        """Give those of the files that were not looked at yet."""
        return [path for path in paths if path not in self._known]

    def check(self, ask: Callable[[Sequence[str]], Told], paths: Sequence[str]) -> None:
        """Look at the files not looked at yet; `paths` are a reading set, in order of commits.

        `ask` tells of files what they hold; one without events may be left out. Raises
        BookDamaged, naming the first file that does not hold what belongs in its place.
        """
        if tuple(paths) == self._whole:
            return
        known = {path: self._known[path] for path in paths if path in self._known}
        new = [path for path in paths if path not in known]
        if new:
            told = ask(new)
            known |= {path: told.get(path, (0, 0)) for path in new}
        before = 0
        for path in paths:
            count, total = known[path]
            if total != count * before + count * (count + 1) // 2:
                raise BookDamaged(
                    f"{Path(path).name} does not hold the events that belong in its place (from "
                    f"number {before + 1:,} on): files may have been renamed or mixed up. Put it "
                    "back from a backup; `lockring verify` looks at every file."
                )
            before += count
        self._known, self._whole = known, tuple(paths)
