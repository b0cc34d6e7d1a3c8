"""Making receipts of a book. Each is checked before it is handed out."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Any, TypeVar
from uuid import UUID

from ledger.book import Book
from ledger.errors import BookDamaged, LedgerError
from ledger.proofs.check import check
from ledger.proofs.documents import Receipt, ReceiptOfEvent, ReceiptOfGrowth
from ledger.signing import SignedRoot, Signer
from ledger.storage.proof import consistency_path, inclusion_path
from ledger.storage.tree import OnProgress, Tree

Made = TypeVar("Made", bound=Receipt)


class NothingToProve(LedgerError):
    """The book does not hold what a receipt was asked of."""


def signed_root(book: Book) -> SignedRoot | None:
    """Sign what the book is now, and add it to the witness file; None of an empty book.

    The same root is not written there twice in a row.
    """
    head = book.head
    if head.recorded_at is None:
        return None
    signed = Signer(book.path).sign(book.settings.shop, head.size, head.root, head.recorded_at)
    book.home.note_witness(signed)
    return signed


class Receipts:
    """Receipts of a book as it stands when this is made."""

    def __init__(self, book: Book, on_progress: OnProgress | None = None) -> None:
        """Take the book; `on_progress` is told the events hashed, where hashes are made anew."""
        self._book = book
        self._signer = Signer(book.path)
        self._tree = Tree(book.files(), book.path / "derived", on_progress)

    @property
    def size(self) -> int:
        """Give how many events the book holds."""
        return self._tree.size

    def seq_of(self, event_id: str) -> int:
        """Give the seq of an event; raises NothingToProve where the book has no such id."""
        try:
            raw = UUID(event_id)
        except ValueError:
            raise NothingToProve(f"{event_id!r} is not the id of an event.") from None
        seq = self._tree.seq_of(raw.bytes, _made_at(raw))
        if seq is None:
            raise NothingToProve(f"The book has no event {raw}.")
        return seq

    def seqs_of_commit(self, commit: int) -> list[int]:
        """Give the seqs of a commit's events; raises NothingToProve where there is none."""
        try:
            return self._tree.commit_events(commit)
        except LookupError as error:
            raise NothingToProve(f"In this book {error}.") from None

    def of_event(self, seq: int) -> ReceiptOfEvent:
        """Give the receipt of one event in the book as it is; raises NothingToProve."""

        def make() -> ReceiptOfEvent:
            stored = self._tree.at_seq(seq)
            path = inclusion_path(seq - 1, self.size, self._tree.node)
            signed = self._sign(self.size)
            held: dict[str, Any] = json.loads(stored.canonical)
            return ReceiptOfEvent(signed, seq, held["id"], stored.canonical, tuple(path))

        try:
            return self._checked(make)
        except LookupError as error:
            raise NothingToProve(f"In this book {error}.") from None

    def of_growth(self, from_size: int, to_size: int | None = None) -> ReceiptOfGrowth:
        """Give the receipt that the book only grew from one size to another, or to now.

        Raises NothingToProve where it has not that many events, or would have shrunk.
        """
        size = self.size if to_size is None else to_size
        if not 1 <= from_size <= size <= self.size:
            raise NothingToProve(
                f"The book holds {self.size} events: it cannot have grown from {from_size} to "
                f"{size}. Give sizes from 1 to {self.size}, the smaller one first."
            )

        def make() -> ReceiptOfGrowth:
            path = consistency_path(from_size, size, self._tree.node)
            old = self._tree.root(from_size).hex()
            return ReceiptOfGrowth(self._sign(size), from_size, old, tuple(path))

        return self._checked(make)

    def _sign(self, size: int) -> SignedRoot:
        root = self._tree.root(size).hex()
        shop = self._book.settings.shop
        return self._signer.sign(shop, size, root, self._tree.recorded_at(size))

    def _checked(self, make: Callable[[], Made]) -> Made:
        """Make a receipt that holds: with the hashes that were kept, else with new ones."""
        made = make()
        if self._is_wrong(made):
            self._tree.forget()
            made = make()
            if self._is_wrong(made):
                raise BookDamaged(
                    "The book's events do not give its root, so nothing can be proved of it. See "
                    "what is wrong: lockring verify."
                )
        self._book.home.note_witness(made.signed)
        return made

    def _is_wrong(self, made: Receipt) -> bool:
        is_of_head = made.signed.size == self.size
        return bool(check(made.to_json())) or (
            is_of_head and made.signed.root != self._tree.root_said.hex()
        )


def _made_at(raw: UUID) -> datetime:
    """Give when an id was made, as its first 48 bits say (RFC 9562, version 7)."""
    milliseconds = raw.int >> 80
    try:
        return datetime.fromtimestamp(milliseconds / 1000, UTC)
    except (ValueError, OverflowError, OSError):
        return datetime.now(UTC)
