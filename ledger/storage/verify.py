"""Holding a log to its word: every hash, root and hot column recomputed from canonical bytes."""

from __future__ import annotations

import os
from collections.abc import Callable, Mapping
from concurrent.futures import ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from multiprocessing import get_context

from ledger.errors import BookDamaged, Problem
from ledger.storage.files import footer_of
from ledger.storage.footer import CommitMark, Footer, check_self_hash, read_footer
from ledger.storage.listing import Cover, Listing, parse_name
from ledger.storage.merkle import Frontier
from ledger.storage.store import Store
from ledger.storage.verify_file import Looked, look_at, no_self_hash
from ledger.storage.verify_rows import problem

OnProgress = Callable[[int, int], object]
"""Told how many events were looked at, of how many."""
OnMark = Callable[[CommitMark], object]
"""Told of each commit whose events give its root."""
_LONGEST_S = 600.0
"""Seconds after which a damaged file is taken for one that nobody comes to the end of."""


class Apart:
    """Looks at damaged files in a process of its own: reading one can bring the reader down."""

    def __init__(self) -> None:
        self._pool: ProcessPoolExecutor | None = None

    def look_at(
        self, file: Cover, content: bytes, before: Frontier | None, size: int, units: dict[str, str]
    ) -> Looked:
        """Look at a file; see `verify_file.look_at`. What brings the reader down is a problem."""
        if self._pool is None:
            context = get_context("spawn")
            self._pool = ProcessPoolExecutor(1, mp_context=context, initializer=_be_quiet)
        try:
            asked = self._pool.submit(look_at, file, content, before, size, units)
            return asked.result(timeout=_LONGEST_S)
        except Exception as error:
            # Whatever damaged bytes lead a reader to is what was found.
            if isinstance(error, (BrokenProcessPool, TimeoutError)):
                self.close()
            looked = Looked(size, units, [no_self_hash(file.name, is_all=False)])
            wrong = f"reading it breaks off; it should hold the events after {size}"
            looked.problems.append(problem(file.name, "the file", wrong, "unreadable"))
            return looked

    def close(self) -> None:
        """End the process, if there is one."""
        if self._pool is not None:
            self._pool.shutdown(wait=False, cancel_futures=True)
            self._pool = None


def verify_log(
    store: Store,
    listing: Listing,
    units: Mapping[str, str],
    on_progress: OnProgress | None = None,
    on_mark: OnMark | None = None,
    apart: Apart | None = None,
) -> list[Problem]:
    """Give everything that is wrong with the files of a reading set; nothing wrong, an empty list.

    `units` is each quantity's canonical unit. One file is held in memory at a time. A file that
    is damaged does not keep those after it from being looked at; it is read `apart`.
    """
    problems: list[Problem] = []
    elsewhere = apart or Apart()
    after = Looked(0, dict(units), frontier=Frontier())
    total = _size_said(store, listing) if on_progress is not None else 0
    try:
        for file in listing.files:
            after = _next(store, file, after, elsewhere)
            problems += after.problems
            if on_mark is not None:
                for mark in after.marks:
                    on_mark(mark)
            if on_progress is not None:
                on_progress(after.size, total)
    finally:
        if apart is None:
            elsewhere.close()
    return problems


def _next(store: Store, file: Cover, after: Looked, apart: Apart) -> Looked:
    try:
        content = store.read(file.name)
    except OSError as error:
        lost = problem(file.name, "the file", f"it cannot be read ({error})", "unreadable")
        return Looked(after.size, after.units, [lost])
    if check_self_hash(content):
        return look_at(file, content, after.frontier, after.size, after.units)
    return apart.look_at(file, content, after.frontier, after.size, dict(after.units))


def verify_covered(store: Store, listing: Listing) -> list[Problem]:
    """Give what is wrong with files that a wider one has taken the place of.

    They are read no more, but must still say the same.
    """
    problems: list[Problem] = []
    over: dict[str, Footer | None] = {}
    read = {file.name for file in listing.files}
    for cover in sorted(filter(None, map(parse_name, store.names()))):
        wider = listing.covering(cover.last)
        if cover.name in read or wider is None or cover.last > wider.last:
            continue  # read, or beyond a gap
        try:
            if not check_self_hash(store.read(cover.name)):
                problems.append(no_self_hash(cover.name, is_all=False))
                continue
            if wider.name not in over:
                over[wider.name] = _footer_if_whole(store, wider.name)
            beside = over[wider.name]
            # What is wrong with the wider one was found already.
            if beside is not None and not _says_the_same(footer_of(store, cover.name), beside):
                wrong = f"it does not say of its last commit what {wider.name} says"
                problems.append(problem(cover.name, "root", wrong, "root"))
        except FileNotFoundError:
            continue  # its time was up while we looked
        except (BookDamaged, OSError) as error:
            wrong = str(error).rstrip(".")
            problems.append(problem(cover.name, "the file", wrong, "unreadable"))
    return problems


def _says_the_same(covered: Footer, wider: Footer) -> bool:
    place = covered.last.commit - wider.first
    return 0 <= place < len(wider.marks) and wider.marks[place] == covered.last


def _footer_if_whole(store: Store, name: str) -> Footer | None:
    """Give a file's footer, if its bytes give the hash it carries: others are read apart."""
    content = store.read(name)
    return read_footer(content, name) if check_self_hash(content) else None


def _size_said(store: Store, listing: Listing) -> int:
    """Give how many events there are to look at, as the newest file says if it is whole."""
    if not listing.files:
        return 0
    try:
        footer = _footer_if_whole(store, listing.files[-1].name)
    except (BookDamaged, OSError):
        return 0
    return footer.last.size if footer is not None else 0


def _be_quiet() -> None:
    # What a reader cries as it goes down is for nobody.
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
