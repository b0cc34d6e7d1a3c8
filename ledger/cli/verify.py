"""`verify`: whether every file of the book holds what it says, from the first commit on."""

from __future__ import annotations

from ledger.cli.options import DEFAULT_BOOK, AsJson, BookPath, open_book
from ledger.cli.output import progress, say, say_json
from ledger.errors import BookDamaged


def verify(as_json: AsJson = False, book_path: BookPath = DEFAULT_BOOK) -> None:
    """Check every file, root and column of the book; change nothing.

    Examples:
    $ lockring verify
    $ lockring verify --json
    """
    from ledger.cli.receipt import count_words
    from ledger.storage.local import LocalStore
    from ledger.storage.log import Log

    book = open_book(book_path)
    head = book.head
    with progress("Verifying"):
        problems = Log(LocalStore(book_path / "events")).verify_roots()
    if as_json:
        say_json(
            {
                "commits": head.commit,
                "events": head.size,
                "root": head.root,
                "problems": [str(problem) for problem in problems],
            }
        )
    if problems:
        listed = "\n".join(f"  {problem}" for problem in problems)
        raise BookDamaged(f"{count_words(len(problems), 'problem')} in {book_path}:\n{listed}")
    if not as_json:
        events, commits = count_words(head.size), count_words(head.commit, "commit")
        say(f"{events} in {commits}: every root is right. Root: {head.root}")
