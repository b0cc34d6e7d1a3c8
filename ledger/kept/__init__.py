"""Tables kept beside a book, so that figures over all of it need not be worked out each time.

They lie in `derived/` in the book's folder. Anyone may delete it at any time, and every answer
stays the same. They follow the book: only the bikes that something was recorded of since are
looked at anew.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext
from dataclasses import dataclass, field
from datetime import UTC, datetime
from functools import partial
from pathlib import Path
from tempfile import mkdtemp
from threading import RLock
from typing import TYPE_CHECKING
from weakref import WeakKeyDictionary

import pyarrow as pa

from ledger.engines.bounded import private_folder
from ledger.engines.duckdb import Asked
from ledger.engines.memory import give_back
from ledger.events import Event
from ledger.events.shop import GaugeRegistered
from ledger.kept import ranges
from ledger.kept.changes import Changes, changes_since
from ledger.kept.keep import Keep, Read, as_it_is
from ledger.kept.mark import Mark, is_of
from ledger.kept.own_events import SCHEMA, OwnEvents, read_after
from ledger.kept.reading import events_of, newest_us, of_all, of_some
from ledger.kept.shelf import Held, Shelf, by_bike, merged, without
from ledger.queries import has_other_engine
from ledger.state import live

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.storage.head import Head
    from ledger.vocabulary import Vocabulary

__all__ = [
    "FEWEST_EVENTS",
    "Keep",
    "Read",
    "as_it_is",
    "followed",
    "gauges_known",
    "is_made_by_range",
    "keep_ready",
    "kept",
    "let_go",
    "links_known",
    "made_apart",
    "pieces_apart",
    "terms_known",
    "words_known",
]

_OWN = Keep("book_events", (), lambda read: SCHEMA.empty_table(), ("ledger.kept.own_events",))
"""Followed in its own way: what the book itself says only grows."""

FEWEST_EVENTS = 20_000
"""A smaller book is worked out as fast as its tables are read: nothing is kept of it."""
_MOST_SHARE = 5
"""Where more than one in so many events is new, all bikes are looked at anew."""
_MOST_REPLACED = 256
"""So many bikes are told beside the base before a base is written anew."""
_SMALL_BYTES = 4_000_000
"""A base as small as this is written anew at once."""


@dataclass(frozen=True)
class _Changed:
    """What happened since a mark, up to a size, and every event of the bikes it touched."""

    since: Mark
    size: int
    changes: Changes
    events: pa.Table


@dataclass
class _Known:
    """What one process holds of a book's kept tables."""

    locks: dict[str, RLock] = field(default_factory=dict)
    """By table: while one takes long to be made, the others are there for whoever asks."""
    changing: RLock = field(default_factory=RLock)
    held: dict[str, Held] = field(default_factory=dict)
    changed: _Changed | None = None
    """The last changes looked up: several tables follow the same ones."""
    own: OwnEvents | None = None

    def lock(self, keep: Keep) -> RLock:
        """Give the lock of one table."""
        with _known_lock:
            return self.locks.setdefault(keep.folder, RLock())


_known: WeakKeyDictionary[Book, _Known] = WeakKeyDictionary()
_known_lock = RLock()


def kept(book: Book, keep: Keep, asked: Asked) -> pa.Table | None:
    """Give a kept table as at an instant, as known to a seq; the rows of each bike together.

    None where it is not kept: of a small book, of an instant before the last event, or where the
    book knew less. What is not there yet is made, which takes long at first.
    """
    head = book.head
    if head.size < FEWEST_EVENTS or asked.known_seq < head.size:
        return None
    held = _current(book, keep, head)
    return held.table if _micros(asked.as_at) >= held.mark.newest_us else None


def is_made_by_range(book: Book) -> bool:
    """Say whether tables of a book are made a range of bikes at a time: it is a great one.

    Not while another engine, over many machines perhaps, answers for it.
    """
    return book.head.size > ranges.MOST_AT_ONCE and not has_other_engine(book)


def made_apart(book: Book, keeps: Sequence[Keep], asked: Asked) -> dict[str, pa.Table]:
    """Give tables by name as at an instant, as known to a seq, made a range of bikes at a time.

    They are kept nowhere: what is not as the book stands now, or of another instant, is made at
    each question.
    """

    def made() -> dict[str, pa.Table]:
        with private_folder() as folder:
            found = _pieces(book, keeps, asked, folder)
            return {name: pieces.in_place() for name, pieces in found.items()}

    return book.while_read(made)


@contextmanager
def pieces_apart(book: Book, keep: Keep, asked: Asked) -> Iterator[ranges.Pieces]:
    """Give a table made as by `made_apart`, to be read a range of bikes at a time within."""
    with private_folder() as folder:

        def made() -> ranges.Pieces:
            laid = Path(mkdtemp(dir=folder))  # anew, where a file of the book has gone meanwhile
            return _pieces(book, [keep], asked, laid)[keep.name]

        pieces = book.while_read(made)
        give_back()
        yield pieces


def followed(book: Book, keep: Keep) -> pa.Table:
    """Give a kept table as the book stands, as at the Keep's own instant."""
    return _current(book, keep, book.head).table


def let_go(book: Book, folders: Collection[str] | None = None) -> None:
    """Forget what this process holds of kept tables, by their folders; None for all."""
    known = _of(book)
    with _known_lock:
        for folder in [*known.held] if folders is None else folders:
            known.held.pop(folder, None)


def keep_ready(
    book: Book,
    keeps: Iterable[Keep],
    telling: Callable[[], AbstractContextManager[object]] = nullcontext,
) -> None:
    """Make what is not kept yet of a book; `telling` is entered only if that is a whole table."""
    head = book.head
    if head.size < FEWEST_EVENTS:
        return
    missing = [keep for keep in (*keeps, _OWN) if not _is_there(book, keep, head)]
    if missing:
        with telling():
            _make_by_range(book, missing, head)
            for keep in missing:
                _current(book, keep, head)
        give_back()


def words_known(book: Book, known_seq: int) -> Vocabulary:
    """Give the vocabulary as the book knew it at a seq, without reading all its files for it."""
    head = book.head
    if head.size < FEWEST_EVENTS:
        return book.vocabulary_known(known_seq)
    return _own_events(book, head).vocabulary(known_seq)


def terms_known(book: Book, known_seq: int) -> Sequence[Event]:
    """Give the terms that hold, as the book knew them at a seq, in order of time."""
    head = book.head
    events = book.book_events() if head.size < FEWEST_EVENTS else _own_events(book, head).terms
    return [event for event in live(events, None, known_seq) if event.kind == "terms_set"]


def links_known(book: Book, known_seq: int) -> Sequence[Event]:
    """Give the links between bikes that hold, as the book knew them at a seq."""
    head = book.head
    events = book.book_events() if head.size < FEWEST_EVENTS else _own_events(book, head).links
    return [event for event in live(events, None, known_seq) if event.kind == "bike_linked"]


def gauges_known(book: Book, known_seq: int) -> Sequence[GaugeRegistered]:
    """Give the gauges that are registered, each as last, as the book knew them at a seq."""
    head = book.head
    events = book.book_events() if head.size < FEWEST_EVENTS else _own_events(book, head).gauges
    told = [one.data for one in live(events, None, known_seq) if one.kind == "gauge_registered"]
    return list({one.gauge: one for one in told}.values())


def _micros(moment: datetime) -> int:
    return round((moment - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds() * 1_000_000)


def _of(book: Book) -> _Known:
    with _known_lock:
        return _known.setdefault(book, _Known())


def _shelf(book: Book, keep: Keep) -> Shelf:
    return Shelf(book.path / "derived", keep)


def _is_there(book: Book, keep: Keep, head: Head) -> bool:
    return _earlier(book, keep, head) is not None


def _earlier(book: Book, keep: Keep, head: Head) -> Held | None:
    """Give the table as at this size or an earlier one, if it is worth following from there."""
    known = _of(book)
    with known.lock(keep):
        held = known.held.get(keep.folder)
        if held is None or not is_of(held.mark, book):
            found = _shelf(book, keep).found(head.size)
            held = next((one for one in found if is_of(one.mark, book)), None)
        if held is None or (head.size - held.mark.size) * _MOST_SHARE > head.size:
            return None
        known.held[keep.folder] = held
        return held


def _current(book: Book, keep: Keep, head: Head) -> Held:
    """Give the table as at a head, from memory, from its file, or made now and written."""
    known = _of(book)
    with known.lock(keep):
        held = _earlier(book, keep, head)
        if held is not None and held.mark.size == head.size:
            return held
        if held is None and _is_by_range(book, keep):
            _make_by_range(book, [keep], head)
            return known.held[keep.folder]
        made = book.while_read(lambda: _made(book, keep, head, held))
        known.held[keep.folder] = made
        return made


def _made(book: Book, keep: Keep, head: Head, held: Held | None) -> Held:
    """Give a table made now, and write it."""
    if held is not None and keep is not _OWN:
        return _followed(book, keep, head, held)
    made = _own(book, head, held) if keep is _OWN else _whole(book, keep, head)
    _shelf(book, keep).put(made)
    return made


def _is_by_range(book: Book, keep: Keep) -> bool:
    return keep.is_by_range and keep is not _OWN and is_made_by_range(book)


def _make_by_range(book: Book, keeps: Iterable[Keep], head: Head) -> None:
    """Make whole tables of a great book that are not there, all of a range of bikes together."""
    known = _of(book)
    asked = sorted((one for one in keeps if _is_by_range(book, one)), key=lambda one: one.folder)
    with ExitStack() as locked:
        # always in one order: who waits for one of them holds none that comes later
        for keep in asked:
            locked.enter_context(known.lock(keep))
        missing = [keep for keep in asked if not _is_there(book, keep, head)]
        for as_at in {keep.as_at for keep in missing}:
            some = [keep for keep in missing if keep.as_at == as_at]
            known.held |= book.while_read(partial(_by_range, book, some, head, as_at))


def _by_range(book: Book, keeps: Sequence[Keep], head: Head, as_at: datetime) -> dict[str, Held]:
    """Give whole tables by their folder, made a range of bikes at a time, and write them."""
    mark = _mark(head, newest_us(book))
    with private_folder() as folder:
        made = _pieces(book, keeps, Asked(as_at, head.size), folder)
        return {
            keep.folder: _shelf(book, keep).put_pieces(mark, made[keep.name].read) for keep in keeps
        }


def _pieces(
    book: Book, keeps: Sequence[Keep], asked: Asked, folder: Path
) -> dict[str, ranges.Pieces]:
    """Give tables by name, made a range of bikes at a time, as they lie in an empty folder."""
    uses = tuple(dict.fromkeys(name for keep in keeps for name in keep.uses))
    made = {keep.name: ranges.Pieces(folder / keep.name) for keep in keeps}
    laid = ranges.laid_events(book, uses, folder)
    for number in range(len(laid)):
        read = of_some(book, laid.read(number), asked.known_seq, uses, asked.as_at)
        for keep in keeps:
            made[keep.name].add(by_bike(keep.make(read)))
    return made


def _own(book: Book, head: Head, held: Held | None) -> Held:
    """Give the events of the book itself as at a head: those there were, and the new ones."""
    commit, size = (held.mark.commit, held.mark.size) if held else (0, 0)
    new = read_after(book, commit, size, head.size)
    table = pa.concat_tables([held.table, new]) if held else new
    return Held(_mark(head, 0), head.size, by_bike(table))


def _own_events(book: Book, head: Head) -> OwnEvents:
    """Give them, parsed once for each size the book has had."""
    known = _of(book)
    with known.lock(_OWN):
        held = _current(book, _OWN, head)
        if known.own is None or known.own.table is not held.table:
            known.own = OwnEvents(held.table, book.settings.shop)
        return known.own


def _whole(book: Book, keep: Keep, head: Head) -> Held:
    mark = _mark(head, newest_us(book))
    return Held(mark, head.size, by_bike(keep.make(of_all(book, head.size, keep.as_at))))


def _followed(book: Book, keep: Keep, head: Head, held: Held) -> Held:
    """Give the table as at a head, only the bikes made anew that were touched since."""
    changed = _changed(book, held.mark, head)
    tags, mark = changed.changes.tags, _mark(head, changed.changes.newest_us)
    read = of_some(book, changed.events, head.size, keep.uses, keep.as_at)
    newer = by_bike(keep.make(read))
    replaced = held.replaced | tags
    if held.newer is not None:
        newer = by_bike(pa.concat_tables([without(held.newer, tags), newer]))
    if len(replaced) <= _MOST_REPLACED and held.base.nbytes > _SMALL_BYTES:
        made = Held(mark, held.base_size, held.base, newer, replaced)
    elif held.base["bike"].num_chunks > 1:
        return _shelf(book, keep).put_pieces(mark, partial(merged, held.base, replaced, newer))
    else:
        made = Held(mark, head.size, next(merged(held.base, replaced, newer)))
    _shelf(book, keep).put(made)
    return made


def _changed(book: Book, mark: Mark, head: Head) -> _Changed:
    """Give what happened since a mark, looked up once for all tables that follow it."""
    known, own = _of(book), _own_events(book, head)
    with known.changing:
        found = known.changed
        if found is None or (found.since, found.size) != (mark, head.size):
            changes = changes_since(book, mark, head.size, own)
            events = events_of(book, changes.tags, own.aliases(head.size))
            known.changed = found = _Changed(mark, head.size, changes, events)
    return found


def _mark(head: Head, newest_us: int) -> Mark:
    return Mark(head.size, head.commit, head.root, newest_us)
