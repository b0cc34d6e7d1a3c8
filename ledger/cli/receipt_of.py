"""`receipt`: a proof that an event stands in the book, or that the book was only added to."""

from __future__ import annotations

import base64
import json
import re
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.cli.options import DEFAULT_BOOK, AsJson, BookPath, open_book
from ledger.cli.output import progress, say, say_json
from ledger.cli.outputs import Force, check_out, write_out
from ledger.errors import UnreadableInput, WrongUse

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.proofs import Receipt

_KEY = re.compile(r"[0-9a-fA-F]{64}")
_LARGEST = 256 * 1024 * 1024
"""Bytes of a file of receipts."""


def receipt(
    event_id: Annotated[str | None, typer.Argument(help="The id of an event.")] = None,
    seq: Annotated[int | None, typer.Option(help="Of the event of this number.")] = None,
    commit: Annotated[int | None, typer.Option(help="Of every event of this commit.")] = None,
    from_size: Annotated[
        int | None,
        typer.Option("--from", help="That the book of so many events was only added to."),
    ] = None,
    to_size: Annotated[
        int | None, typer.Option("--to", help="Up to so many events; to now if not given.")
    ] = None,
    key: Annotated[
        bool, typer.Option("--key", help="Print the public key of the book, and nothing else.")
    ] = False,
    output: Annotated[
        str | None,
        typer.Option("--output", "--out", help="Write it to a file as JSON.", metavar="FILE"),
    ] = None,
    force: Force = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Prove that an event stands in the book, or that the book was only added to; signed.

    Anybody can check it without the book: lockring verify --receipt FILE, or the script in the
    README. The signed root is added to witness.txt of the book: keep copies of that elsewhere.

    Examples:
    $ lockring receipt --seq 1
    $ lockring receipt --from 1 --json
    $ lockring receipt --key
    """
    asked = [event_id, seq, commit, from_size, key or None]
    if sum(one is not None for one in asked) != 1:
        raise WrongUse("Ask for one: an event's id, --seq N, --commit N, --from SIZE, or --key.")
    if to_size is not None and from_size is None:
        raise WrongUse("--to is for --from SIZE: give the smaller size too.")
    if output is not None:
        check_out(output, is_replacing=force)
    book = open_book(book_path)
    if key:
        _say_key(book, as_json=as_json)
        return
    made = _made(book, event_id, seq, commit, from_size, to_size)
    _hand_over(made, output, is_one=commit is None, as_json=as_json)


def _hand_over(made: Sequence[Receipt], output: str | None, *, is_one: bool, as_json: bool) -> None:
    """Write or print receipts; all events of a commit make one file."""
    documents = [one.to_json() for one in made]
    document: Any = documents[0] if is_one else documents
    if output is not None:
        text = json.dumps(document, ensure_ascii=False, indent=2) + "\n"
        if write_out(output, text.encode()) and not as_json:
            say(f"Wrote {output}. Check it anywhere: lockring verify --receipt {output}")
    if as_json:
        say_json(document)
    elif output is None:
        for one in documents:
            say(receipt_words(one))
        _say_root(documents[0])


def _made(
    book: Book,
    event_id: str | None,
    seq: int | None,
    commit: int | None,
    from_size: int | None,
    to_size: int | None,
) -> list[Receipt]:
    from ledger.proofs import Receipts

    with progress("Hashing") as tell:
        receipts = Receipts(book, tell)
        if from_size is not None:
            return [receipts.of_growth(from_size, to_size)]
        if commit is not None:
            return [receipts.of_event(one) for one in receipts.seqs_of_commit(commit)]
        return [receipts.of_event(receipts.seq_of(event_id or "") if seq is None else seq)]


def _say_key(book: Book, *, as_json: bool) -> None:
    from ledger.signing import Signer

    public = Signer(book.path).key
    if as_json:
        say_json({"shop": book.settings.shop, "key": public})
    else:
        say(public)


def receipt_words(document: Mapping[str, Any]) -> str:
    """Give what a receipt that holds says, in one line."""
    size, shop = document["size"], document["shop"]
    if "kind" not in document:
        return f"The page of a visit was made of the book of {shop} with {size:,} events."
    if document["kind"] == "growth":
        return (
            f"The book of {shop} with {size:,} events begins with the very "
            f"{document['from_size']:,} it held before (root {document['from_root']})."
        )
    event = json.loads(base64.b64decode(document["event"]))
    bike = f", bike {event['bike']}" if event.get("bike") else ""
    what = f"{event.get('kind')}{bike}, of {event.get('occurred_at')}"
    return f"Event {document['seq']:,} ({what}) stands in the book of {shop} with {size:,} events."


def _say_root(document: Mapping[str, Any]) -> None:
    say(f"Root {document['root']}, signed with key {document['key']}.")
    say("To hand it over, write it to a file: --output FILE.")


def checked_key(text: str) -> str:
    """Give a public key as receipts carry it; raises WrongUse for what is none."""
    if not _KEY.fullmatch(text.strip()):
        raise WrongUse("--key is 64 hexadecimal digits, as `lockring receipt --key` prints them.")
    return text.strip().lower()


def read_receipts(path: Path) -> list[Any]:
    """Give the receipts of a file, one or a list of them; raises UnreadableInput."""
    if path.stat().st_size > _LARGEST:
        raise UnreadableInput(f"{path} is too large to be receipts.")
    try:
        found = json.loads(path.read_bytes())
    except (ValueError, RecursionError):
        raise UnreadableInput(
            f"{path} is not a receipt: it is not JSON. Give a file that `lockring receipt "
            "--output` wrote."
        ) from None
    documents = found if isinstance(found, list) else [found]
    if not documents:
        raise UnreadableInput(f"{path} holds no receipt.")
    return documents
