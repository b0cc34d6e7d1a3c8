"""`backup` and `restore`: the book kept elsewhere too, and brought back from there."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ledger.cli.options import DEFAULT_BOOK, AsJson, BookPath, ConfirmClock, open_book
from ledger.cli.output import progress, say, say_json, warn
from ledger.errors import LedgerError

if TYPE_CHECKING:
    from ledger.backup.make import Backed
    from ledger.backup.restore import Restored
    from ledger.key_backups import KeyBackup

MOST_LISTED = 50
"""Things that are wrong, listed in words; `--json` gives all."""


class NotWhole(LedgerError):
    """A backup, or what was restored of it, lacks something."""


KeysTo = Annotated[
    str | None,
    typer.Option(
        help="Another place, for the riders and the keys that open what is written about them.",
        metavar="PLACE",
    ),
]
KeysExpire = Annotated[
    str,
    typer.Option(
        help="How long it is kept, and photos that the book has no more: 90d, 12w, 1y.",
        metavar="TIME",
    ),
]


def backup(
    to: Annotated[str, typer.Argument(help="A folder, or s3://bucket/name.", metavar="TO")],
    keys_to: KeysTo = None,
    keys_expire: KeysExpire = "90d",
    check: Annotated[
        bool, typer.Option("--check", help="Read back what is there already, and mend it.")
    ] = False,
    confirm_clock: ConfirmClock = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Bring a backup of the book up to date; only what is not there yet is sent.

    Others may record meanwhile. Names, contacts and keys are never in it: with --keys-to they
    go to a place of their own, for a time, so that who is forgotten is forgotten there too.

    Examples:
    $ lockring backup disk/book
    $ lockring backup disk/book --keys-to stick/keys --keys-expire 90d
    """
    from ledger.backup.keys import span_of
    from ledger.backup.make import backup as make
    from ledger.backup.places import place_at
    from ledger.book import utc_now

    keep = span_of(keys_expire)
    book = open_book(book_path)
    apart: dict[str, str | Path] = {"the book itself": book.home.address, "its mirror": book.path}
    place = place_at(to, "A backup", apart)
    apart["where the events are kept"] = place.address
    keys_place = place_at(keys_to, "A copy of the keys", apart) if keys_to is not None else None
    with progress("Backing up") as tell:
        done = make(
            book, place, now=utc_now(), keys_place=keys_place, keep_keys=keep,
            is_checked=check, confirm_clock=confirm_clock,
            tell=lambda doing, at, of: tell(at, of),
        )  # fmt: skip
    if as_json:
        say_json(backed_json(done, place.address))
    else:
        _say_backed(done, place.address)
    _say_keys(done, as_json=as_json)
    if done.left_out:
        listed = "\n".join(f"  {one}" for one in done.left_out)
        raise NotWhole(f"Not in the backup:\n{listed}\nEverything else is.")


def backed_json(done: Backed, address: str) -> dict[str, Any]:
    """Give what a backup did as plain JSON types."""
    from ledger.events.types import format_moment

    stated = done.statement
    return {
        "to": address,
        "made_at": format_moment(stated.made_at),
        "commit": stated.commit,
        "events": stated.size,
        "root": stated.root,
        "is_signed": done.is_signed,
        "files_sent": done.count_sent,
        "bytes_sent": done.bytes_sent,
        "files_there": done.count_there,
        "bytes_there": done.bytes_there,
        "removed": done.removed,
        "mended": done.mended,
        "left_out": done.left_out,
        "gone_from_book": [{"name": one.name, "since": one.gone_since} for one in done.gone],
        "forgotten": done.count_forgotten,
        "keys": _copy_json(done.keys),
        "keys_removed": [_copy_json(one.backup) for one in done.expired if not one.left_because],
        "keys_left": [
            {**(_copy_json(one.backup) or {}), "because": one.left_because}
            for one in done.expired
            if one.left_because
        ],
    }


def _copy_json(copy: KeyBackup | None) -> dict[str, str] | None:
    from ledger.events.types import format_moment

    if copy is None:
        return None
    times = {"made_at": copy.made_at, "expires_at": copy.expires_at}
    told = {name: format_moment(moment) for name, moment in times.items()}
    return {"place": copy.place, "name": copy.name, **told}


def _say_backed(done: Backed, address: str) -> None:
    from ledger.cli.receipt import count_words

    stated = done.statement
    say(f"{count_words(stated.size)} up to commit {stated.commit} are in {address}.")
    sent = f"Sent: {count_words(done.count_sent, 'file')}, {_size(done.bytes_sent)}."
    there = f"There already: {count_words(done.count_there, 'file')}, {_size(done.bytes_there)}."
    say(f"{sent} {there}")
    if done.mended:
        say(f"Mended, as it was damaged there: {', '.join(done.mended)}.")
    if done.removed:
        say(f"Taken away, as larger files hold them too: {count_words(len(done.removed), 'file')}.")


def _say_keys(done: Backed, *, as_json: bool) -> None:
    if not done.is_signed:
        warn("The book's folder cannot be written, so the backup is not signed.")
    if done.gone:
        listed = ", ".join(f"{one.name[:19]}… since {one.gone_since}" for one in done.gone[:8])
        warn(
            f"In the backup and not in the book any more: {len(done.gone)} of the photos ({listed})"
            ". They go in their time, and are never restored. One that was lost can be copied back."
        )
    for one in done.expired:
        where = f"{one.backup.name} in {one.backup.place}"
        if one.left_because:
            warn(f"Expired, but not taken away: {where}: {one.left_because}")
        elif not as_json:
            say(f"Expired, and taken away: {where}.")
    if done.keys is None:
        warn(
            "Names, contacts and keys are not in it. Restored from this alone, notes, photos and "
            "names read as forgotten: keep a copy of the keys too, with --keys-to PLACE."
        )
    elif not as_json:
        copy = done.keys
        say(f"Riders and keys: {copy.name} in {copy.place}, until {copy.expires_at:%Y-%m-%d}.")


def _size(count: int) -> str:
    if count < 1_000_000:
        return f"{count / 1_000:,.1f} kB"
    return f"{count / 1_000_000:,.1f} MB"


def restore(
    source: Annotated[
        str, typer.Argument(help="The folder or s3://bucket/name of a backup.", metavar="FROM")
    ],
    keys_from: Annotated[
        str | None,
        typer.Option(help="Where the copies of riders and keys are.", metavar="PLACE"),
    ] = None,
    key: Annotated[
        str | None,
        typer.Option(help="The key the backup must be signed with, as `receipt --key` gave it."),
    ] = None,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Bring a book back from a backup into a new folder, and prove that it is the same.

    It gets its name only if root, count and a replay of every bike are equal to the original's.
    Of a damaged backup, what is whole goes into BOOK.quarantine, and what is not is listed.

    Examples:
    $ lockring restore disk/book --book book-again
    $ lockring restore disk/book --keys-from stick/keys --book book-again
    """
    from ledger.backup.places import place_at
    from ledger.backup.restore import restore as bring_back
    from ledger.backup.targets import target_for
    from ledger.book import utc_now
    from ledger.cli.receipt_of import checked_key
    from ledger.storage.address import written

    apart: dict[str, str | Path] = {"where the book is to be": written(book_path)}
    place = place_at(source, "A backup", apart)
    keys_place = place_at(keys_from, "A copy of the keys", apart) if keys_from else None
    trusted = None if key is None else checked_key(key)
    target = target_for(book_path)
    with progress("Restoring") as tell:
        done = bring_back(
            place, target.folder, now=utc_now(), keys_place=keys_place, trusted_key=trusted,
            tell=lambda doing, at, of: tell(at, of),
        )  # fmt: skip
        target.take(done)
    if as_json:
        say_json(restored_json(done))
    if done.damages or done.book is None:
        raise NotWhole(_damage_words(done, place.address))
    if not as_json:
        _say_restored(done, has_keys=keys_place is not None)


def restored_json(done: Restored) -> dict[str, Any]:
    """Give what came of a restore as plain JSON types."""
    from ledger.events.types import format_moment
    from ledger.storage.address import written

    stated, copy = done.statement, done.keys.copy
    return {
        "book": None if done.book is None else written(done.book),
        "quarantine": None if done.quarantine is None else str(done.quarantine),
        "is_equal": done.book is not None,
        "commit": done.commit,
        "events": done.size,
        "root": done.root,
        "original": None
        if stated is None
        else {
            "made_at": format_moment(stated.made_at),
            "commit": stated.commit,
            "events": stated.size,
            "root": stated.root,
            "key": stated.key or None,
        },
        "damages": [asdict(one) for one in done.damages],
        "lost_commits": [list(span) for span in done.lost],
        "aside_commits": [list(span) for span in done.aside],
        "keys": _copy_json(copy),
        "forgotten_dropped": done.keys.count_dropped,
    }


def _say_restored(done: Restored, *, has_keys: bool) -> None:
    from ledger.cli.receipt import count_words
    from ledger.storage.address import written

    stated, copy, stands = done.statement, done.keys.copy, done.book
    assert stated is not None and stated.replayed is not None and stands is not None
    events, commits = count_words(done.size), count_words(done.commit, "commit")
    say(f"{events} in {commits} are in {written(stands)}.")
    bikes = count_words(stated.replayed.count_bikes, "bike")
    say(f"Root, count and the replay of {bikes} are equal to the original's. Root: {done.root}")
    by = f"signed with {stated.key}" if stated.key else "not signed"
    say(f"The backup was made on {stated.made_at:%Y-%m-%d %H:%M} UTC, {by}.")
    if copy is not None:
        say(f"Riders and keys are those of {copy.made_at:%Y-%m-%d %H:%M} UTC.")
    elif not has_keys:
        say("No riders or keys came with it: notes, photos and names read as forgotten.")
    if done.keys.count_dropped:
        count = count_words(done.keys.count_dropped, "row")
        say(f"Forgotten since that copy, and not brought back: {count}.")
    say("Sign-ins, PINs and the signing key are in no backup: receipts get a new key.")


def _damage_words(done: Restored, address: str) -> str:
    from ledger.backup.damage import spans_words
    from ledger.cli.receipt import count_words
    from ledger.storage.address import written

    lines = [f"  {one}" for one in done.damages[:MOST_LISTED]]
    rest = len(done.damages) - MOST_LISTED
    lines += [f"  and {rest:,} more; all of them: --json"] if rest > 0 else []
    head = f"{count_words(len(done.damages), 'thing')} wrong with the backup in {address}:"
    if done.book is not None:
        end = [
            f"All events are whole and equal to the original's, and stand in {written(done.book)}."
        ]
        return "\n".join([head, *lines, *end])
    end = [f"Lost: {spans_words(done.lost)}."] if done.lost else []
    whole = f"{count_words(done.size)} up to commit {done.commit}" if done.commit else "no event"
    end += [f"Whole from the first on: {whole}. What there is, and a page on it: {done.quarantine}"]
    return "\n".join([head, *lines, *end])
