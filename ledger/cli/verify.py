"""`verify`: whether a book holds what it says, from the first commit on; or a receipt does."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.cli.options import DEFAULT_BOOK, AsJson, BookPath, refuse_several
from ledger.cli.output import progress, say, say_json, warn
from ledger.errors import BookDamaged, LedgerError, NoBook, Problem, WrongUse

if TYPE_CHECKING:
    from ledger.proofs.verify import Verified

MOST_LISTED = 50
"""Problems listed in words; `--json` gives all."""


class ReceiptFails(LedgerError):
    """A receipt does not hold."""


def verify(
    context: typer.Context,
    receipt: Annotated[
        Path | None,
        typer.Option(
            help="Check this receipt instead; no book is needed, and one named with --book is held "
            "to it.",
            metavar="FILE",
        ),
    ] = None,
    key: Annotated[
        str | None,
        typer.Option(help="The key receipts must be signed with, as `receipt --key` gave it."),
    ] = None,
    witness: Annotated[
        list[Path] | None,
        typer.Option(help="Also hold the book to signed roots kept elsewhere.", metavar="FILE"),
    ] = None,
    quick: Annotated[
        bool, typer.Option("--quick", help="Hashes, numbers and roots only; not every rule again.")
    ] = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Check every file, root, number, rule and signed root of the book; change nothing.

    Or check a receipt: anywhere, without the book, or against a book that --book names.

    Examples:
    $ lockring verify
    $ lockring verify --quick --json
    $ lockring verify --receipt receipt.json --book book
    """
    if receipt is not None:
        if witness or quick:
            raise WrongUse("--receipt is of receipts alone: leave --witness and --quick out.")
        source = context.get_parameter_source("book_path")
        is_named = source is not None and source.name == "COMMANDLINE"
        _verify_receipt(receipt, key, book_path if is_named else None, as_json=as_json)
        return
    for file in witness or []:
        _check_no_receipt(file)
    if key is not None:
        raise WrongUse("--key is for --receipt FILE: give the receipt too.")
    _verify_book(book_path, witness or [], is_quick=quick, as_json=as_json)


def _verify_book(path: Path, witnesses: list[Path], *, is_quick: bool, as_json: bool) -> None:
    from ledger.home import home_of, words_of
    from ledger.proofs.verify import check_files, check_rules
    from ledger.storage.address import written

    home = home_of(path)
    try:
        settings = home.settings()
    except NoBook:
        refuse_several(path)
        raise
    home.when_silent(lambda silence: warn(words_of(silence, settings)))
    with progress("Verifying hashes") as tell:
        differing = home.differing()
        found = check_files(home.path, tell, witnesses)
        found.problems += differing
    is_held = not is_quick and not found.problems
    if is_held:
        with progress("Verifying rules") as tell:
            found.problems += check_rules(home.path, tell)
    if as_json:
        say_json(
            {
                "commits": found.commits,
                "events": found.size,
                "root": found.root,
                "signed_roots": found.count_witnessed,
                "is_held_to_rules": is_held,
                "problems": list(map(asdict, found.problems)),
            }
        )
    if found.problems:
        more = "" if is_held or is_quick else "The rules were not run over a damaged book."
        raise BookDamaged(_listed(found.problems, written(path), more))
    if not as_json:
        _say_whole(found, is_held=is_held)


def _say_whole(found: Verified, *, is_held: bool) -> None:
    from ledger.cli.receipt import count_words

    events, commits = count_words(found.size), count_words(found.commits, "commit")
    say(f"{events} in {commits}: every root is right. Root: {found.root}")
    if is_held:
        say("Every rule holds.")
    if found.count_witnessed:
        say(f"It has every one of {count_words(found.count_witnessed, 'signed root')}.")


def _check_no_receipt(file: Path) -> None:
    """Raise WrongUse where a file of signed roots is JSON, as receipts are."""
    with file.open("rb") as opened:
        start = opened.read(4096).lstrip()[:1]
    if start in (b"{", b"["):
        raise WrongUse(
            f"{file} is a receipt, and --witness takes a copy of a book's witness.txt. Hold the "
            f"book to it with: lockring verify --receipt {file} --book BOOK"
        )


def _held_against(path: Path, documents: Sequence[Any]) -> list[Problem]:
    """Give what a book that is named does not have of what whole receipts say."""
    from ledger.cli.options import open_book
    from ledger.proofs.against import check_against

    book = open_book(path)
    with progress("Hashing", book.head.size) as tell:
        return check_against(documents, book, tell)


def _verify_receipt(path: Path, key: str | None, book: Path | None, *, as_json: bool) -> None:
    from ledger.cli.receipt_of import checked_key, read_receipts, receipt_words
    from ledger.proofs import check
    from ledger.storage.address import written

    trusted = None if key is None else checked_key(key)
    documents = read_receipts(path)
    problems = [problem for one in documents for problem in check(one, trusted)]
    if book is not None and not problems:
        problems = _held_against(book, documents)
    if as_json:
        keys = [] if problems else _keys(documents, trusted)
        found: dict[str, Any] = {"receipts": len(documents), "keys": keys}
        say_json({**found, "problems": list(map(asdict, problems))})
    if problems:
        raise ReceiptFails(_listed(problems, str(path)))
    if as_json:
        return
    for one in documents:
        say(receipt_words(one))
    by = ", ".join(_keys(documents, trusted))
    say(f"{'It holds' if len(documents) == 1 else 'All of them hold'}, signed with {by}.")
    if book is not None:
        say(f"The book {written(book)} has every root that is named.")
    if trusted is None:
        say("Whether that is the shop's key is for you to compare, with --key or by eye.")


def _keys(documents: Iterable[Any], trusted: str | None) -> list[str]:
    """Give the keys that receipts which hold are signed with."""
    return sorted({str(one.get("key", trusted)) for one in documents})


def _listed(problems: Sequence[Problem], where: str, more: str = "") -> str:
    from ledger.cli.receipt import count_words

    lines: Iterable[str] = (f"  {problem}" for problem in problems[:MOST_LISTED])
    rest = len(problems) - MOST_LISTED
    ends = [f"  and {rest:,} more; all of them: --json"] if rest > 0 else []
    head = f"{count_words(len(problems), 'problem')} in {where}:"
    return "\n".join([head, *lines, *ends, *([more] if more else [])])
