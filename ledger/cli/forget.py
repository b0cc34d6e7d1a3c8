"""`forget`: a rider's name, contact and key destroyed, after saying what that takes away."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.cli.options import DEFAULT_BOOK, AsJson, BookPath, open_book
from ledger.cli.output import progress, say, say_json, warn
from ledger.errors import LedgerError, WrongUse

if TYPE_CHECKING:
    from collections.abc import Iterator, Sequence

    from ledger.backup.forgotten import Told
    from ledger.book import Book
    from ledger.forgetting import ForgetDone, Held

AGAIN = (
    "A backup that was made from another machine, or copied elsewhere, is not known here: run "
    "lockring backup to it too, or a restore from it with an older copy of the keys brings them "
    "back."
)
NOISE = "Photos stay as files that nothing opens any more; --photos removes them."


class NotConfirmed(LedgerError):
    """Nobody said yes to forgetting a rider."""


def forget(
    rider: Annotated[str, typer.Argument(help="A rider's id; see lockring riders list.")],
    photos: Annotated[
        bool, typer.Option("--photos", help="Remove the photos of their bikes too.")
    ] = False,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask; needed without a terminal.")] = (
        False
    ),
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Forget a rider: their name, contact and key go, and cannot be brought back.

    What was done to their bikes stays, figures and all, and every proof holds;
    text that was written about them can be read by nobody any more.

    Examples:
    $ lockring forget r-0042 --yes
    $ lockring forget r-0042 --photos --yes
    """
    from ledger.backup.forgotten import tell_places
    from ledger.forgetting import forget as destroy
    from ledger.forgetting import what_is_held

    book = open_book(book_path)
    with progress("Looking for everything about them", book.head.size) as tell:
        held = what_is_held(book, rider, tell)
    is_nothing_left = held.is_done and not (photos and held.photos)
    if not is_nothing_left:
        _confirm(book, held, photos=photos, yes=yes, is_quiet=as_json)
    # Of one who was forgotten before, it is made sure that nothing is left in the file.
    told: list[Told] = []

    def tell_backups() -> None:
        told[:] = tell_places(book)

    done = destroy(book, held, photos=photos, when_noted=tell_backups)
    if as_json:
        say_json(forgotten_json(done, told, was_forgotten=is_nothing_left))
    elif is_nothing_left:
        day = book.settings.local(done.forgotten_at)
        say(f"Rider {rider} was forgotten on {day:%Y-%m-%d}; nothing of them is left here.")
        _warn_of_copies(book, held, "May be held by")
        _say_told(told)
    else:
        _say_done(book, done)
        _say_told(told)
        say(AGAIN)
    _warn_untold(told, rider)


def _confirm(book: Book, held: Held, *, photos: bool, yes: bool, is_quiet: bool) -> None:
    if not is_quiet:
        for line in _losses(book, held, photos=photos):
            say(line)
    if yes:
        return
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise WrongUse("Forgetting cannot be undone. Without a terminal, confirm it with --yes.")
    if input("Forget them for good? (yes or no) ").strip().lower() not in ("y", "yes"):
        raise NotConfirmed("Nothing was forgotten.")


def _losses(book: Book, held: Held, *, photos: bool) -> Iterator[str]:
    """Give what forgetting takes away, a line each."""
    from ledger.cli.receipt import count_words

    name = held.row.name if held.row is not None else None
    yield f"To be forgotten: rider {held.rider}{f', {name}' if name else ', not in the register'}."
    if held.is_unfinished:
        yield "  This was begun before and not finished; it is finished now."
    yield f"  {count_words(held.count_texts)} with text that nobody can read afterwards"
    if held.bikes:
        yield f"  Bikes, whose history stays: {', '.join(held.bikes)}"
    if held.photos:
        what = "removed" if photos else "never opened again"
        yield f"  {count_words(len(held.photos), 'photo')} of these bikes: {what}"
    if held.drafts:
        yield f"  {count_words(len(held.drafts), 'half-typed form')}, thrown away"


def _say_done(book: Book, done: ForgetDone) -> None:
    from ledger.cli.receipt import count_words

    held = done.held
    say(f"Forgotten: rider {held.rider}. Name, contact and key are destroyed; every proof holds.")
    if done.photos_removed:
        say(f"Removed {count_words(len(done.photos_removed), 'photo')}.")
    elif held.photos:
        say(NOISE)
    if done.photos_removed and held.photos_under_book_key:
        many = count_words(len(held.photos_under_book_key), "photo")
        warn(f"{many} of these, from before they were named, can be opened in a backup with keys.")
    _warn_of_copies(book, held, "Still held by")


def _say_told(told: Sequence[Told]) -> None:
    for one in told:
        if one.not_because is None:
            say(f"The backup at {one.place} knows of it: no copy of the keys brings them back.")


def _warn_untold(told: Sequence[Told], rider: str) -> None:
    for one in told:
        if one.not_because is not None:
            warn(
                f"The backup at {one.place} could not be told: {one.not_because.rstrip('.')}. "
                "Until it is, a restore from it with an older copy of the keys brings them back. "
                f"See that it can be reached, and run lockring forget {rider} again; if it is gone "
                "for good, there is nothing to do."
            )


def _warn_of_copies(book: Book, held: Held, what: str) -> None:
    for copy in held.key_backups:
        warn(f"{what} the copy {copy.name} at {copy.place}, {_until(book, copy)}.")
    if held.key_backups:
        warn(
            "A backup takes expired copies away, once a newer one stands beside them; to be rid of "
            "one sooner, delete that file."
        )


def _until(book: Book, copy: Any) -> str:
    from ledger.book import utc_now

    ends = f"{book.settings.local(copy.expires_at):%Y-%m-%d}"
    if copy.expires_at <= utc_now():
        return f"which expired on {ends} and goes once a backup keeps a newer one there"
    return f"which expires on {ends}"


def forgotten_json(
    done: ForgetDone, told: Sequence[Told], *, was_forgotten: bool
) -> dict[str, Any]:
    """Give what was forgotten as plain JSON types; no name is in it."""
    from ledger.events.types import format_moment

    held = done.held
    return {
        "rider": held.rider,
        "forgotten_at": format_moment(done.forgotten_at),
        "was_forgotten_before": was_forgotten,
        "count_texts": held.count_texts,
        "bikes": list(held.bikes),
        "count_photos": len(held.photos),
        "count_photos_removed": len(done.photos_removed),
        "count_half_typed": len(held.drafts),
        "key_backups": [
            {"place": one.place, "name": one.name, "expires_at": format_moment(one.expires_at)}
            for one in held.key_backups
        ],
        "backups_told": [one.place for one in told if one.not_because is None],
        "backups_not_told": [
            {"place": one.place, "because": one.not_because}
            for one in told
            if one.not_because is not None
        ],
    }
