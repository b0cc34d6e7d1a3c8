"""The whole tree over a book's events, with the hashes of its greater subtrees kept beside it.

What is kept (`derived/tree.arrow`) are the roots of all complete subtrees of 256 events and more;
what lies below is worked out from the events of one block. The file may be deleted and comes back
the same. It is believed only where the book still has its very root at its very size.
"""

from __future__ import annotations

import json
from bisect import bisect_right
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from datetime import datetime
from itertools import islice
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from ledger.errors import BookDamaged
from ledger.storage import tree_kept
from ledger.storage.envelope import read_stored
from ledger.storage.merkle import EMPTY_ROOT, Frontier, leaf_hash, node_hash
from ledger.storage.proof import root_of
from ledger.storage.segment import Stored
from ledger.storage.tree_kept import BLOCK, BLOCK_LEVEL, ends_of, footer_at

_AHEAD = 2
"""Files read while another is hashed."""
_WORTH_KEEPING = 8
"""Blocks that must have come before what is kept is written anew."""

OnProgress = Callable[[int], object]


class Tree:
    """The tree over the events of a reading set of files, as it stood when this was made."""

    def __init__(
        self, paths: Sequence[Path], folder: Path | None, on_progress: OnProgress | None = None
    ) -> None:
        """Take the files in order of commits; `folder` is where hashes are kept, if anywhere.

        `on_progress` is told how many events have been hashed where hashes must be made. Raises
        BookDamaged, naming the file, where one cannot be read.
        """
        self._paths = {path.name: path for path in paths}
        self._folder = folder
        self._tell = on_progress or (lambda done: None)
        known = tree_kept.read(folder) if folder is not None else None
        self._ends = ends_of(paths, known.ends if known else ())
        self._levels = known.levels if known and self._is_of_book(known) else [[]]
        self._frontier = footer_at(paths[-1]).frontier if paths else Frontier()
        self._edges = _edges(self._frontier)
        self._blocks: dict[int, list[Stored]] = {}
        self._leaves: dict[int, list[bytes]] = {}

    @property
    def size(self) -> int:
        """Give how many events there are."""
        return self._ends[-1].size if self._ends else 0

    @property
    def root_said(self) -> bytes:
        """Give the root over all events as the newest file says."""
        return self._frontier.root()

    def recorded_at(self, size: int) -> datetime:
        """Give when the newest of the first `size` events was recorded; LookupError as `at_seq`."""
        if size == self.size and self._ends:
            return self._ends[-1].recorded_at
        held = json.loads(self.at_seq(size).canonical)
        return datetime.fromisoformat(held["recorded_at"])

    def root(self, size: int) -> bytes:
        """Give the root over the first `size` events."""
        return root_of(size, self.node) if size else EMPTY_ROOT

    def node(self, level: int, number: int) -> bytes:
        """Give the root of a perfect subtree that lies within the tree; see `proof.Node`."""
        if (found := self._edges.get((level, number))) is not None:
            return found
        if level < BLOCK_LEVEL:
            return self._in_block(level, number)
        self._make_up_to((number + 1) << level)
        return self._levels[level - BLOCK_LEVEL][number]

    def at_seq(self, seq: int) -> Stored:
        """Give one stored event; LookupError where there is none of that seq."""
        if not 1 <= seq <= self.size:
            raise LookupError(f"there is no event {seq}; the newest is {self.size}")
        block = self._events((seq - 1) // BLOCK)
        return block[(seq - 1) % BLOCK]

    def seq_of(self, raw_id: bytes, moment: datetime) -> int | None:
        """Give the seq of an id; None where the book has none. `moment` is about when it was made.

        The files recorded about then are looked through first.
        """
        first = bisect_right(self._ends, moment, key=lambda end: end.recorded_at)
        around = sorted(range(len(self._ends)), key=lambda place: (abs(place - first), place))
        wanted = pa.scalar(raw_id, pa.binary(16))
        for place in around:
            with _opened(self._paths[self._ends[place].name]) as file:
                table = file.read(["id", "seq"])
            rows = table["seq"].filter(pc.equal(table["id"], wanted))
            if len(rows):
                return int(rows[0].as_py())
        return None

    def commit_events(self, commit: int) -> list[int]:
        """Give the seqs of a commit's events; LookupError where there is no such commit."""
        last = self._ends[-1].commit if self._ends else 0
        if not 1 <= commit <= last:
            raise LookupError(f"there is no commit {commit}; the newest is {last}")
        place = bisect_right(self._ends, commit - 1, key=lambda end: end.commit)
        marks = footer_at(self._paths[self._ends[place].name]).marks
        at = commit - marks[0].commit
        before = marks[at - 1].size if at else self._ends[place - 1].size if place else 0
        return list(range(before + 1, marks[at].size + 1))

    def forget(self) -> None:
        """Make every hash anew from here on: what was kept led to a wrong root."""
        self._levels, self._edges = [[]], {}
        self._blocks.clear()
        self._leaves.clear()

    def _is_of_book(self, known: tree_kept.Kept) -> bool:
        """Tell whether the book has the root that was kept, at the same commit and size."""
        place = bisect_right(self._ends, known.commit - 1, key=lambda end: end.commit)
        if not known.commit or place == len(self._ends):
            return False
        footer = footer_at(self._paths[self._ends[place].name])
        mark = footer.marks[known.commit - footer.first]
        return (mark.size, mark.root) == (known.size, known.root)

    # -- below a block --------------------------------------------------------------------------

    def _in_block(self, level: int, number: int) -> bytes:
        block, within = divmod(number << level, BLOCK)
        if block not in self._leaves:
            self._leaves[block] = [leaf_hash(one.canonical) for one in self._events(block)]
        hashes = self._leaves[block][within : within + (1 << level)]
        while len(hashes) > 1:
            hashes = _paired(hashes)
        return hashes[0]

    def _events(self, block: int) -> list[Stored]:
        """Give the events of a block in seq order; the last block may not be full."""
        if block not in self._blocks:
            low, high = block * BLOCK, min((block + 1) * BLOCK, self.size)
            found = sorted(
                one
                for name, _, _ in self._files(low, high)
                for one in self._between(name, low, high)
            )
            if [one.seq for one in found] != list(range(low + 1, high + 1)):
                raise BookDamaged(
                    f"Events {low + 1} to {high} are not all there. See what is wrong: "
                    "lockring verify."
                )
            self._blocks[block] = found
        return self._blocks[block]

    def _between(self, name: str, low: int, high: int) -> Iterator[Stored]:
        """Give the events of a file whose seq lies above low and up to high."""
        keep = (pc.field("seq") > low) & (pc.field("seq") <= high)
        with _opened(self._paths[name]) as file:
            for group in range(file.metadata.num_row_groups):
                seqs = file.read_row_group(group, ["seq"])["seq"]
                is_asked = pc.and_(pc.greater(seqs, low), pc.less_equal(seqs, high))
                if pc.any(is_asked).as_py():
                    rows = read_stored(file, groups=[group], keep=keep).to_pylist()
                    yield from (Stored(**row) for row in rows)

    def _files(self, low: int, high: int) -> Iterator[tuple[str, int, int]]:
        """Give (name, size before, size after) of the files with events above low, up to high."""
        place = bisect_right(self._ends, low, key=lambda end: end.size)
        for at, end in enumerate(islice(self._ends, place, None), place):
            before = self._ends[at - 1].size if at else 0
            if before >= high:
                return
            yield end.name, before, end.size

    # -- blocks and above -----------------------------------------------------------------------

    def _make_up_to(self, size: int) -> None:
        """Have the roots of all complete blocks, if those up to a size are not there yet."""
        start = len(self._levels[0]) * BLOCK
        if size <= start:
            return
        leaves: list[bytes] = []
        blocks = list(self._levels[0])
        for before, hashes in self._hashes_from(start):
            leaves += hashes[max(0, start - before) :]
            whole = len(leaves) - len(leaves) % BLOCK
            blocks += _block_roots(leaves[:whole])
            leaves = leaves[whole:]
            self._tell(before + len(hashes))
        is_worth_it = len(blocks) - start // BLOCK >= _WORTH_KEEPING or not start
        self._levels = _levels_over(blocks)
        if self._folder is not None and is_worth_it:
            footer = footer_at(self._paths[self._ends[-1].name])
            tree_kept.write(self._folder, self._levels, self._ends, footer.last)

    def _hashes_from(self, start: int) -> Iterator[tuple[int, list[bytes]]]:
        """Give, file by file, the size before it and its leaf hashes in seq order."""
        waiting: deque[tuple[int, int, Future[pa.Table]]] = deque()
        with ThreadPoolExecutor(_AHEAD) as beside:
            for name, before, after in self._files(start, self.size):
                waiting.append((before, after, beside.submit(_read, self._paths[name])))
                if len(waiting) > _AHEAD:
                    yield _hashed(*waiting.popleft())
            while waiting:
                yield _hashed(*waiting.popleft())


def _read(path: Path) -> pa.Table:
    with _opened(path) as file:
        return read_stored(file)


def _hashed(before: int, after: int, reading: Future[pa.Table]) -> tuple[int, list[bytes]]:
    table = reading.result()
    seqs = table["seq"].to_numpy()
    order = np.argsort(seqs, kind="stable")
    if not np.array_equal(seqs[order], np.arange(before + 1, after + 1)):
        raise BookDamaged(
            f"Events {before + 1} to {after} are not all there. See what is wrong: lockring verify."
        )
    texts = table["canonical"].to_pylist()
    return before, [leaf_hash(texts[at]) for at in order.tolist()]


def _block_roots(leaves: Sequence[bytes]) -> Iterator[bytes]:
    hashes = list(leaves)
    for _ in range(BLOCK_LEVEL):
        hashes = _paired(hashes)
    return iter(hashes)


def _levels_over(blocks: list[bytes]) -> list[list[bytes]]:
    levels = [blocks]
    while len(levels[-1]) > 1:
        levels.append(_paired(levels[-1]))
    return levels


def _paired(hashes: Sequence[bytes]) -> list[bytes]:
    return [node_hash(*pair) for pair in zip(hashes[::2], hashes[1::2], strict=False)]


def _edges(frontier: Frontier) -> dict[tuple[int, int], bytes]:
    """Give the perfect subtrees at the right edge, by level and number."""
    found: dict[tuple[int, int], bytes] = {}
    done = 0
    for node in frontier.nodes:
        level = (frontier.size - done).bit_length() - 1
        found[level, done >> level] = node
        done += 1 << level
    return found


def _opened(path: Path) -> pq.ParquetFile:
    try:
        return pq.ParquetFile(path)
    except (pa.ArrowException, OSError) as error:
        if isinstance(error, FileNotFoundError):
            raise
        raise BookDamaged(
            f"{path.name} is damaged: {' '.join(str(error).split())}. Put it back from a backup."
        ) from error
