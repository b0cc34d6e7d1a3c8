"""Reading a store's files: their footers, and whether they hold what they say."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from datetime import datetime

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.errors import BookDamaged
from ledger.storage.envelope import read_stored
from ledger.storage.footer import Footer, check_self_hash, footer_size, read_footer
from ledger.storage.indexed import opened
from ledger.storage.listing import Cover, Listing
from ledger.storage.merkle import Frontier, leaf_hash
from ledger.storage.schema import MOMENT
from ledger.storage.segment import Stored, read_events, stored_in
from ledger.storage.store import Store

_FIRST_READ = 16 * 1024
"""Bytes: takes in the whole footer of a commit's file."""
_CHECKED_ON_OPEN = 3


def footer_of(store: Store, name: str) -> Footer:
    """Give a file's footer, reading little else; FileNotFoundError if the file is gone.

    Raises BookDamaged if it has none that can be read.
    """
    end = store.read_end(name, _FIRST_READ)
    if footer_size(end) > len(end):
        end = store.read_end(name, footer_size(end))
    return read_footer(end, name)


def check_newest(store: Store, listing: Listing) -> None:
    """Hold the newest files to their own hashes, and the newest commits to their roots.

    Raises BookDamaged, naming the file. Changes nothing.
    """
    newest = listing.files[-_CHECKED_ON_OPEN:]
    for file in newest:
        if file.is_segment and file is not newest[-1]:
            continue
        content = store.read(file.name)
        if not check_self_hash(content):
            raise _damaged(file, "its bytes do not give the hash it carries of itself")
        footer = read_footer(content, file.name)
        if not file.is_segment and footer.frontier != _grown(store, listing, file, content):
            raise _damaged(file, "its events do not give its root")


def size_at(store: Store, listing: Listing, moment: datetime) -> int:
    """Give how many events the files hold whose `recorded_at` is not after an instant.

    `recorded_at` never falls as `seq` rises, so only a few footers and one file are read.
    """
    files = listing.files
    count = bisect_right(
        files, moment, key=lambda file: footer_of(store, file.name).last.recorded_at
    )
    size = footer_of(store, files[count - 1].name).last.size if count else 0
    if count == len(files):
        return size
    with pq.ParquetFile(pa.BufferReader(store.read(files[count].name))) as file:
        recorded = file.read(["recorded_at"])["recorded_at"]
    return size + int(pc.sum(pc.less_equal(recorded, pa.scalar(moment, MOMENT))).as_py())


def stored_at(store: Store, listing: Listing, seq: int) -> Stored | None:
    """Give the event of a seq out of the one file that holds it; None where there is no such seq.

    A few footers say which file that is. Raises BookDamaged where it does not hold it.
    """
    files = listing.files
    place = bisect_left(files, seq, key=lambda file: footer_of(store, file.name).last.size)
    if seq < 1 or place == len(files):
        return None
    with opened(store.path(files[place].name)) as file:
        found = next(stored_in(read_stored(file, keep=pc.field("seq") == seq)), None)
    if found is None:
        raise _damaged(files[place], f"event {seq} is not in it")
    return found


def frontier_before(store: Store, listing: Listing, file: Cover) -> Frontier:
    """Give the tree as it was before a file's first commit."""
    if file.first == 1:
        return Frontier()
    before = listing.covering(file.first - 1)
    assert before is not None
    return footer_of(store, before.name).frontier


def _grown(store: Store, listing: Listing, file: Cover, content: bytes) -> Frontier:
    leaves = (leaf_hash(stored.canonical) for stored in read_events(content))
    return frontier_before(store, listing, file).extend(leaves)


def _damaged(file: Cover, wrong: str) -> BookDamaged:
    return BookDamaged(f"{file.name} is damaged: {wrong}. Put it back from a backup.")
