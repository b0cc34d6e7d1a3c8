"""Several books opened at once, and asked one beside the other."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from threading import Lock
from typing import TypeVar

import duckdb
import pyarrow as pa

from ledger import kept, queries
from ledger.book import Book, Clock, utc_now
from ledger.engines.duckdb import Asked
from ledger.errors import BookDamaged, LedgerError, WrongUse
from ledger.queries import asked_of
from ledger.shops.places import Place, places_of
from ledger.storage.address import written

Made = TypeVar("Made")
_HANDS = 2
"""Threads that ask books: as many as the machine this is made for has cores."""
_MOST_HELD = 8
"""Of more books, each is let go of once it has answered: its engine, and its kept tables."""
_HANDS_OPENING = 8
"""Threads that open them: of an object store, mostly waiting."""
OF_ONE_BOOK = (BookDamaged, OSError, pa.ArrowException, duckdb.Error)
"""What is wrong with one book alone: the others answer. Unreachable is an OSError."""


@dataclass(frozen=True, slots=True)
class Failure:
    """A book that could not be opened, or not be read."""

    place: str
    """Its folder or address."""
    shop: str | None
    """None where not even that is known."""
    why: str


@dataclass
class Shops:
    """Books of several shops, by shop; each shop once."""

    books: Mapping[str, Book]
    failures: list[Failure] = field(default_factory=list)
    """Books that are not in the answers: added to whenever one turns out not to be readable."""
    _lock: Lock = field(default_factory=Lock, repr=False)

    @cached_property
    def currencies(self) -> tuple[str, ...]:
        """The currencies of the shops, sorted."""
        return tuple(sorted({book.settings.currency for book in self.books.values()}))

    @property
    def readable(self) -> list[str]:
        """The shops whose books can be read, as far as is known by now, sorted."""
        failed = {one.shop for one in self.failures}
        return [shop for shop in sorted(self.books) if shop not in failed]

    def each(
        self, ask: Callable[[Book], Made], *, of: Sequence[str] | None = None
    ) -> dict[str, Made]:
        """Ask every book, or those of some shops, and give the answers by shop, sorted.

        A book that cannot be read is noted in `failures` and left out of this and later answers.
        Whatever else `ask` raises is raised.
        """
        shops = [shop for shop in self.readable if of is None or shop in of]

        def asked(shop: str) -> tuple[Made] | None:
            try:
                return (ask(self.books[shop]),)
            except OF_ONE_BOOK as error:
                self._fail(shop, error)
                return None
            finally:
                if len(self.books) > _MOST_HELD:
                    queries.let_go(self.books[shop])
                    kept.let_go(self.books[shop])

        with ThreadPoolExecutor(_HANDS) as hands:
            answers = list(hands.map(asked, shops))
        return {
            shop: answer[0]
            for shop, answer in zip(shops, answers, strict=True)
            if answer is not None
        }

    def _fail(self, shop: str, error: Exception) -> None:
        failure = Failure(self.books[shop].home.address, shop, _why(error))
        with self._lock:
            if all(one.shop != shop for one in self.failures):
                self.failures.append(failure)

    def asked(self, as_at: str | None, as_known: str | None) -> dict[str, Asked]:
        """Give what is asked of each shop: a bare date ends in that shop's own time zone.

        Raises WrongUse for what is no date, and for a seq, which is each book's own.
        """
        if as_known is not None and as_known.strip().isdigit():
            raise WrongUse(
                "--as-known: a seq is one book's own; of several books, give a date such as "
                "2026-03-01."
            )

        def of_one(book: Book) -> Asked:
            at = _instant(book, "--as-at", as_at)
            known = _instant(book, "--as-known", as_known)
            return asked_of(book, at, None if known is None else book.known_seq(known))

        return self.each(of_one)


def _instant(book: Book, flag: str, text: str | None) -> datetime | None:
    try:
        return None if text is None else book.instant(text)
    except ValueError as error:
        raise WrongUse(f"{flag}: {error}.") from None


def _why(error: Exception) -> str:
    """Give in a line what is wrong with a book."""
    if isinstance(error, LedgerError):
        return str(error)
    if isinstance(error, OSError) and error.strerror:
        return f"{error.filename or 'a file'}: {error.strerror}"
    said = " ".join(str(error).split())[:300] or type(error).__name__
    return f"its files could not be read: {said}"


def open_shops(places: Sequence[Place], *, clock: Clock = utc_now) -> Shops:
    """Open every book that is meant (`places_of`); none of their events is read.

    A book that is damaged or does not answer is noted in `failures`, and the others are there.
    Raises what `places_of` does, and WrongUse where two books are of one shop.
    """
    found = places_of(places)
    with ThreadPoolExecutor(_HANDS_OPENING) as hands:
        opened = list(hands.map(lambda place: _opened(place, clock), found))
    books = [one for one in opened if isinstance(one, Book)]
    by_shop: dict[str, Book] = {}
    for book in books:
        shop = book.settings.shop
        if shop in by_shop:
            raise WrongUse(
                f"{by_shop[shop].home.address} and {book.home.address} are both books of the shop "
                f"{shop}: their bikes could not be told apart. Give each shop's book once."
            )
        by_shop[shop] = book
    failures = [one for one in opened if isinstance(one, Failure)]
    return Shops(dict(sorted(by_shop.items())), failures)


def _opened(place: Place, clock: Clock) -> Book | Failure:
    try:
        return Book.open(place, clock=clock)
    except OF_ONE_BOOK as error:
        return Failure(written(place), None, _why(error))
