"""Where the book stood after any of its commits, from the footers alone."""

from __future__ import annotations

from bisect import bisect_right
from datetime import datetime
from functools import lru_cache

from ledger.storage.files import footer_of
from ledger.storage.footer import CommitMark
from ledger.storage.listing import Cover, settled_listing
from ledger.storage.store import Store


class Marks:
    """The commits' marks of one store; footers never change, so they are kept once read."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._of_file = lru_cache(maxsize=4096)(self._read)

    def _read(self, name: str) -> tuple[CommitMark, ...]:
        return footer_of(self._store, name).marks

    def of_commit(self, commit: int) -> CommitMark:
        """Give the mark of one commit; KeyError where the book has no such commit."""
        cover = settled_listing(self._store.names).covering(commit)
        if cover is None:
            raise KeyError(commit)
        marks = self._of_file(cover.name)
        return marks[commit - marks[0].commit]

    def size_at(self, moment: datetime) -> int:
        """Give how many events the book held at an instant: those recorded by then."""
        files: tuple[Cover, ...] = settled_listing(self._store.names).files
        at = bisect_right(files, moment, key=lambda file: self._of_file(file.name)[0].recorded_at)
        if at == 0:
            return 0
        marks = self._of_file(files[at - 1].name)
        inside = bisect_right(marks, moment, key=lambda mark: mark.recorded_at)
        return marks[inside - 1].size
