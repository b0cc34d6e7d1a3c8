"""Receipts held against a book: it must have every root they name, at the very size."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from ledger.book import Book
from ledger.errors import BookDamaged, Problem
from ledger.storage.tree import OnProgress, Tree

_RIGHT = "The book was rewritten or cut since, or this is another book"


def check_against(
    documents: Sequence[Mapping[str, Any]], book: Book, on_progress: OnProgress | None = None
) -> list[Problem]:
    """Give what receipts say that a book does not; every hash is made anew from its events.

    The receipts are such as `check` finds nothing wrong with. `on_progress` is told how many
    events have been hashed.
    """
    tree = Tree(book.files(), None, on_progress)
    roots: dict[int, str] = {}
    return [
        problem
        for document in documents
        for problem in _differing(document, book.settings.shop, tree, roots)
    ]


def _differing(
    document: Mapping[str, Any], shop: str, tree: Tree, roots: dict[int, str]
) -> Iterator[Problem]:
    where = f"receipt of a book of {document['size']} events"
    if document["shop"] != shop:
        wrong = f"is '{document['shop']}', and the book is of '{shop}'"
        yield Problem(where, "shop", wrong, _RIGHT, "receipt_of_book")
        return
    for size_field, root_field in (("size", "root"), ("from_size", "from_root")):
        size = document.get(size_field)
        if size is None:
            continue
        if size > tree.size:
            wrong = f"is {size}, and the book holds {tree.size} events"
            yield Problem(where, size_field, wrong, _RIGHT, "receipt_of_book")
        elif (root := _root(size, tree, roots)) != document[root_field]:
            wrong = f"is {document[root_field]}, and at {size} events the book has {root}"
            yield Problem(where, root_field, wrong, _RIGHT, "receipt_of_book")


def _root(size: int, tree: Tree, roots: dict[int, str]) -> str:
    if size not in roots:
        try:
            roots[size] = tree.root(size).hex()
        except BookDamaged:
            roots[size] = "none, since it is damaged"
    return roots[size]
