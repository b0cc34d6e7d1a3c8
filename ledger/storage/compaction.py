"""Merging runs of commits into segments, and taking away what a segment holds as well.

Commits are merged by a fixed grid of their numbers: whole blocks of 64, then of 4,096 and of
65,536, as far as a block holds no more events than a segment should. So whoever merges, however
late, two segments are either apart or one lies within the other. A file that lies within another
may go at any time and for ever, whatever else happened meanwhile: what holds it as well is only
ever replaced by what holds more. Bulk imports have their own limits: a file across a line of the
grid parts the block and stays as it is.

Nobody needs to be told, and a crash at any point leaves a book that reads the same: a segment
takes its name when it is durable and was read back, and what it covers goes later, once the
segment has been compared with it, its name is durable, and everybody has had a day to finish
reading by an older listing. Who still comes later finds a file gone, and lists again.
"""

from __future__ import annotations

import contextlib
import secrets
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import partial
from itertools import groupby, islice

import pyarrow as pa

from ledger.errors import BookDamaged, LedgerError
from ledger.storage.files import footer_of, frontier_before
from ledger.storage.footer import CommitMark, Footer, check_self_hash, read_footer
from ledger.storage.listing import Cover, Listing, parse_name, segment_name
from ledger.storage.local import TEMPORARY
from ledger.storage.log import Log
from ledger.storage.merkle import Frontier, leaf_hash
from ledger.storage.segment import encode_segment, in_full, read_events, read_file, stored_in
from ledger.storage.store import Store

BLOCKS = (64, 4_096, 65_536)
"""Commits in a block, for each tier; every size is a multiple of the one before it."""
MOST_EVENTS = 150_000
"""Events in a segment: a block of more is left as its smaller blocks are."""
GRACE = timedelta(days=1)
"""How long a segment must have stood before what it covers goes, by its file's own time."""
GRACE_UNFINISHED = timedelta(days=7)
"""How long a temporary file must have stood before its writer is taken for dead."""
_END_OF_TIME = datetime(9999, 1, 1, tzinfo=UTC)

Run = tuple[Cover, ...]
Leaf = tuple[int, int, bytes]
"""seq, commit and leaf hash of one event."""
Tell = Callable[[int, int], None]
"""Is told how many files there are less by now, and how many there were."""


@dataclass(frozen=True, slots=True)
class Compacted:
    """What a compaction did."""

    segments: tuple[str, ...] = ()
    """Names of the segments it made."""
    removed: tuple[str, ...] = ()
    """Names of the files it took away."""
    left: tuple[str, ...] = ()
    """Names of covered files that do not hold what the segment over them holds."""


def compact(
    log: Log,
    now: datetime,
    *,
    most_segments: int | None = None,
    grace: timedelta = GRACE,
    tell: Tell = lambda done, total: None,
) -> Compacted:
    """Merge what may be merged, and take away what a segment has covered for long enough.

    `now` is by the clock that file times are by. Raises BookDamaged, naming the file, where one
    does not hold what it says, WriteRefused and NotDurable; the book reads the same whatever is
    raised.
    """
    made: list[str] = []
    count = len(log.reading_set())
    while most_segments is None or len(made) < most_segments:
        tell(count - len(log.reading_set()), count)
        name = log.over(partial(_merge_next, log))
        if name is None:
            break
        made.append(name)
    # No grace at all is for the segments just made too, whatever the two clocks say.
    removed, left = _clear(log, now - grace if grace else _END_OF_TIME)
    _clear_unfinished(log.store, now - GRACE_UNFINISHED)
    return Compacted(tuple(made), removed, left)


def compact_quietly(
    log: Log, commit: int, now: datetime, after: Callable[[], None] = lambda: None
) -> None:
    """Do what is due of it after a commit of this number: one segment, and no failure is told.

    Whatever it was, it comes up again at the next commit, `compact` or `verify`. `after` is
    called where a segment was made.
    """
    if commit % BLOCKS[0] == 1:
        with contextlib.suppress(LedgerError, OSError, pa.ArrowException, ValueError):
            if compact(log, now, most_segments=1).segments:
                after()


# -- merging -------------------------------------------------------------------------------


def runs(store: Store, listing: Listing) -> Iterator[Run]:
    """Give the runs of files that may each become one, of the greatest blocks first.

    The newest file of the book is in none: a commit that another one follows is never withdrawn.
    """
    for size in sorted(BLOCKS, reverse=True):
        for run in blocks(listing, size):
            if _count_events(store, listing, run) <= MOST_EVENTS:
                yield run


def blocks(listing: Listing, size: int) -> Iterator[Run]:
    """Give the files of each whole block of so many commits, where they are more than one."""
    for block, files in groupby(listing.files, key=lambda file: _block_of(file, size)):
        run = tuple(files)
        if block is not None and len(run) > 1 and run[-1].last < listing.last:
            yield run


def _block_of(file: Cover, size: int) -> int | None:
    """Give the block of the grid that holds a file; None for one across a line of it."""
    block = (file.first - 1) // size
    return block if block == (file.last - 1) // size else None


def _count_events(store: Store, listing: Listing, run: Run) -> int:
    after = footer_of(store, run[-1].name).last.size
    return after - frontier_before(store, listing, run[0]).size


def _merge_next(log: Log, listing: Listing) -> str | None:
    """Make the next segment there is to make, if any; give its name."""
    run = next(runs(log.store, listing), None)
    if run is None:
        return None
    name = segment_name(run[0].first, run[-1].last)
    content = _merged(log.store, listing, run, log.units)
    # Whoever made it meanwhile made it of the same commits.
    with contextlib.suppress(FileExistsError):
        log.store.create(name, content, is_read_back=True)
    return name


def _merged(store: Store, listing: Listing, run: Run, units: Mapping[str, str]) -> bytes:
    """Give the bytes of the segment of a run; they and what they come from give every root."""
    before = frontier = frontier_before(store, listing, run[0])
    tables: list[pa.Table] = []
    marks: list[CommitMark] = []
    for file in run:
        content = store.read(file.name)
        footer, table = _read(file, content, is_in_full=True)
        _check(file, footer, table, frontier)
        tables.append(_in_full(file, table, units))
        marks.extend(footer.marks)
        frontier = footer.frontier
    footer = Footer(tuple(marks), frontier, writer=secrets.token_hex(16))
    content = encode_segment(pa.concat_tables(tables), footer)
    first, last = run[0].first, run[-1].last
    check_file(Cover(first, last, segment_name(first, last)), content, before)
    return content


def _in_full(file: Cover, table: pa.Table, units: Mapping[str, str]) -> pa.Table:
    try:
        return in_full(table, units)
    except (pa.ArrowException, ValueError, KeyError) as error:
        said = " ".join(str(error).split())
        raise _damaged(file, f"its columns cannot be read ({said})") from None


def check_file(file: Cover, content: bytes, before: Frontier) -> Footer:
    """Give a file's footer, once its hash, its commits and every root are found right.

    `before` is the tree as it was before its first commit. Raises BookDamaged, naming the file.
    """
    footer, table = _read(file, content)
    _check(file, footer, table, before)
    return footer


def _read(file: Cover, content: bytes, *, is_in_full: bool = False) -> tuple[Footer, pa.Table]:
    if not check_self_hash(content):
        raise _damaged(file, "its bytes do not give the hash it carries of itself")
    return read_file(content, file.name, is_in_full=is_in_full)


def _check(file: Cover, footer: Footer, table: pa.Table, before: Frontier) -> None:
    if (footer.first, footer.last.commit) != (file.first, file.last):
        raise _damaged(file, f"it holds commits {footer.first} to {footer.last.commit}")
    frontier, rows = before, stored_in(table)
    for mark in footer.marks:
        held = list(islice(rows, max(0, mark.size - frontier.size)))
        if any(row.commit != mark.commit for row in held):
            raise _damaged(file, f"events of other commits stand in commit {mark.commit}")
        frontier = frontier.extend(leaf_hash(row.canonical) for row in held)
        if (frontier.size, frontier.root().hex()) != (mark.size, mark.root):
            raise _damaged(file, f"its events do not give the root of commit {mark.commit}")
    if frontier != footer.frontier or next(rows, None) is not None:
        raise _damaged(file, "it holds events of no commit")


# -- taking away ---------------------------------------------------------------------------


def _clear(log: Log, until: datetime) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Take away what segments made up to an instant hold as well.

    Gives the names taken away, and those left though covered.
    """
    store = log.store
    held: list[str] = []
    left: list[str] = []
    for file, names in log.over(partial(_covered, store)):
        if _is_made_by(store, file.name, until):
            with store.at_source():
                compared = log.over(partial(_compared, store, file, names))
            for name, is_held in compared:
                (held if is_held else left).append(name)
    if held:
        # The segments' own names must last before what they hold as well goes.
        store.confirm()
        store.remove_all(held)
    return tuple(held), tuple(left)


def _clear_unfinished(store: Store, until: datetime) -> None:
    """Take away what killed writers left, and what is as old by the newest file there is.

    A clock ahead of its time would take what is being written now.
    """
    names = store.names()
    unfinished = [name for name in names if name.startswith(TEMPORARY)]
    if unfinished:
        newest = max(filter(None, (_made_at(store, name) for name in names)), default=until)
        until = min(until, newest - GRACE_UNFINISHED)
        store.remove_all(name for name in unfinished if _is_made_by(store, name, until))


def _made_at(store: Store, name: str) -> datetime | None:
    try:
        return store.made_at(name)
    except FileNotFoundError:
        return None


def _is_made_by(store: Store, name: str, until: datetime) -> bool:
    made_at = _made_at(store, name)
    return made_at is not None and made_at <= until


def _covered(store: Store, listing: Listing) -> list[tuple[Cover, list[str]]]:
    """Give files of the reading set, and the names of those that lie within each."""
    found: dict[Cover, list[str]] = {}
    read = frozenset(listing.files)
    for cover in sorted(filter(None, map(parse_name, store.names()))):
        file = listing.covering(cover.first)
        if file is not None and cover not in read and cover.last <= file.last:
            found.setdefault(file, []).append(cover.name)
    return list(found.items())


def _compared(
    store: Store, file: Cover, names: Sequence[str], listing: Listing
) -> list[tuple[str, bool]]:
    """Tell of each covered file whether a segment, read anew, holds every event of it.

    Nothing is told where a greater segment has taken its place meanwhile. Raises BookDamaged if
    the segment's events do not give its roots.
    """
    if file not in listing.files:
        return []
    holder = _held(store.read(file.name), file, frontier_before(store, listing, file))
    found = []
    for name in names:
        # Somebody else may be clearing too.
        with contextlib.suppress(FileNotFoundError):
            found.append((name, _is_within(store.read(name), holder)))
    return found


def _held(content: bytes, file: Cover, before: Frontier) -> frozenset[CommitMark | Leaf]:
    footer = check_file(file, content, before)
    return frozenset((*footer.marks, *_leaves(content)))


def _leaves(content: bytes) -> Iterator[Leaf]:
    return ((row.seq, row.commit, leaf_hash(row.canonical)) for row in read_events(content))


def _is_within(content: bytes, holder: frozenset[CommitMark | Leaf]) -> bool:
    """Tell whether each commit's mark and each event in a file's bytes is among those."""
    try:
        return holder.issuperset((*read_footer(content).marks, *_leaves(content)))
    except (BookDamaged, pa.ArrowException, OSError):
        return False


def _damaged(file: Cover, wrong: str) -> BookDamaged:
    return BookDamaged(
        f"{file.name} is damaged: {wrong}. Nothing was merged into it or taken away for it. Put "
        "it back from a backup; `lockring verify` looks at every file."
    )
