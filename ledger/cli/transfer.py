"""`import` and `export`: a workshop's own log in, everything the book holds out."""

from __future__ import annotations

import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, BinaryIO, Literal

import typer

from ledger.cli.options import DEFAULT_BOOK, AsJson, BookPath, ConfirmClock, open_book
from ledger.cli.output import progress, say, say_json, say_table, warn
from ledger.cli.readied import ready
from ledger.errors import LedgerError, WrongUse

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.exchange.export import Exported
    from ledger.exchange.importer import Imported
    from ledger.exchange.mapping import Mapping
    from ledger.exchange.mapping_text import Guess


def import_file(
    file: Annotated[Path, typer.Argument(help="CSV or XLSX; with --own, an export of a book.")],
    mapping: Annotated[
        Path | None, typer.Option(help="The TOML file that says what the columns mean.")
    ] = None,
    guess: Annotated[
        bool, typer.Option("--guess", help="Print a guessed mapping and record nothing.")
    ] = False,
    dry_run: Annotated[
        bool, typer.Option("--dry-run", help="Say what would be recorded, and record nothing.")
    ] = False,
    own: Annotated[
        bool, typer.Option("--own", help="Bring a whole export into an empty book as it was.")
    ] = False,
    confirm_clock: ConfirmClock = False,
    as_json: AsJson = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Bring in a workshop's own service log, or a whole export.

    Rows that cannot be taken go to FILE.rejected.csv, each with its reason,
    and the command then ends with 1; the others are recorded once, however
    often the file is brought in again.

    Examples:
    $ lockring import log.csv --guess
    $ lockring import log.csv --mapping log.toml --dry-run
    $ lockring import log.csv --mapping log.toml
    """
    if own and (mapping or guess or dry_run):
        raise WrongUse("--own takes an export as it is: no --mapping, --guess or --dry-run.")
    book = open_book(book_path)
    if own:
        _import_own(book, file, as_json=as_json)
    elif guess:
        _say_guess(_guess(book, file))
    else:
        found = _mapping_for(book, file, mapping)
        _import_log(book, file, found, dry_run=dry_run, confirm=confirm_clock, as_json=as_json)


def _guess(book: Book, file: Path) -> Guess:
    from ledger.exchange.guess import guess_mapping
    from ledger.exchange.tables import open_table

    actors = sorted(book.mechanics)
    return guess_mapping(open_table(file), book.settings, actors[0] if actors else "m1")


def _say_guess(guess: Guess) -> None:
    say(guess.toml.rstrip())
    for question in guess.questions:
        warn(f"To answer first: {question}")


def _mapping_for(book: Book, file: Path, path: Path | None) -> Mapping:
    """Read the mapping, or offer the guessed one on a terminal; raises WrongUse elsewhere."""
    from ledger.exchange.mapping import parse_mapping, read_mapping

    if path is not None:
        return read_mapping(path)
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise WrongUse(
            f"Say what the columns mean with --mapping. For a guess to start from: "
            f"lockring import {file} --guess > mapping.toml"
        )
    guess = _guess(book, file)
    _say_guess(guess)
    if guess.questions:
        raise LedgerError("Write the answers into a mapping file, and use --mapping.")
    if input("Bring the file in by this mapping? (yes or no) ").strip().lower() not in ("y", "yes"):
        raise LedgerError("Nothing was recorded. Mend the mapping in a file, and use --mapping.")
    return parse_mapping(guess.toml)


def _import_log(
    book: Book, file: Path, mapping: Mapping, *, dry_run: bool, confirm: bool, as_json: bool
) -> None:
    from ledger.exchange.importer import import_log

    with progress(f"Reading {file.name}") as tell:
        done = import_log(
            book, file, mapping, dry_run=dry_run, confirm_clock=confirm, on_progress=tell
        )
    if not dry_run:
        ready(book)
    if as_json:
        say_json(imported_json(done))
    else:
        say_imported(done, file.name)
    if done.count_rejected:
        raise typer.Exit(1)


def _import_own(book: Book, file: Path, *, as_json: bool) -> None:
    from ledger.cli.receipt import count_words
    from ledger.exchange.own import import_own

    with progress(f"Bringing in {file.name}") as tell:
        done = import_own(book, file, on_progress=tell)
    ready(book)
    if as_json:
        say_json(
            {
                "events": done.count_events,
                "commits": done.count_commits,
                "root": done.root,
                "is_same_root": done.is_same_root,
            }
        )
    else:
        events, commits = count_words(done.count_events), count_words(done.count_commits, "commit")
        say(f"Brought in {events} in {commits}. Root: {done.root}")
    if done.is_same_root is False:
        raise LedgerError(
            "The root is not the one the export says its book had: something was changed on the "
            "way. Delete this new book and export again."
        )


def export(
    form: Annotated[
        Literal["cloudevents", "csv", "parquet"], typer.Option(help="What to write.")
    ] = "cloudevents",
    out: Annotated[
        Path | None, typer.Option(help="The file to write; stdout if not given.")
    ] = None,
    clear: Annotated[
        bool, typer.Option("--clear", help="Open free text; the roots are then not kept.")
    ] = False,
    replace: Annotated[
        bool, typer.Option("--replace", help="Write over the file if it is there.")
    ] = False,
    book_path: BookPath = DEFAULT_BOOK,
) -> None:
    """Write every event of the book out, in the order of seq.

    CloudEvents and Parquet can be brought back with import --own.

    Examples:
    $ lockring export --out events.jsonl
    $ lockring export --form csv --clear --out events.csv
    """
    from ledger.cli.receipt import count_words

    book = open_book(book_path)
    if out is None:
        if form == "parquet" and sys.stdout.isatty():
            raise WrongUse("Parquet is not for reading on a terminal: give a file with --out.")
        done = _write(book, sys.stdout.buffer, form, clear=clear)
        sys.stdout.buffer.flush()
    else:
        done = _write_file(book, out, form, clear=clear, replace=replace)
        say(f"Wrote {count_words(done.count_events)} to {out}.")
    for note in done.notes:
        warn(note)


Form = Literal["cloudevents", "csv", "parquet"]


def _write(book: Book, stream: BinaryIO, form: Form, *, clear: bool) -> Exported:
    from ledger.exchange.export import export_book

    with progress("Writing", book.head.size) as tell:
        return export_book(book, stream, form, clear=clear, on_progress=tell)


def _write_file(book: Book, out: Path, form: Form, *, clear: bool, replace: bool) -> Exported:
    """Write beside the file and move it there when it is whole; raises LedgerError."""
    if out.is_dir():
        raise LedgerError(f"{out} is a folder; give the name of a file in it.")
    if out.exists() and not replace:
        raise LedgerError(f"{out} is already there. Give another name, or add --replace.")
    beside = out.with_name(f".{out.name}.{os.getpid()}.part")
    try:
        with beside.open("xb") as stream:
            done = _write(book, stream, form, clear=clear)
        beside.replace(out)
    finally:
        beside.unlink(missing_ok=True)
    return done


def say_imported(done: Imported, name: str) -> None:
    """Print what an import did, or would do, and what it could not take."""
    from ledger.cli.receipt import count_words

    for problem in done.warnings:
        warn(f"Warning: {problem}")
    say(f"{name}: {done.form}, {count_words(done.count_rows, 'row')}.")
    verb = "Would record" if done.is_dry else "Recorded"
    events = done.events_by_kind.total()
    commits = "" if done.is_dry else f" in {count_words(done.count_commits, 'commit')}"
    say(f"{verb} {count_words(done.count_recorded, 'row')} as {count_words(events)}{commits}.")
    say_table(
        "Events",
        ("kind", ">count"),
        ((kind.replace("_", " "), f"{n:,}") for kind, n in done.events_by_kind.most_common()),
    )
    if done.count_known:
        say(f"Passed over {count_words(done.count_known, 'row')} that the book holds already.")
    for number, reason in done.rejected:
        warn(f"row {number}: {reason}")
    if done.count_rejected:
        where = f"; with their reasons in {done.rejected_file}" if done.rejected_file else ""
        warn(f"Not accepted: {count_words(done.count_rejected, 'row')}{where}.")


def imported_json(done: Imported) -> dict[str, Any]:
    """Give what an import did as plain JSON types."""
    return {
        "form": done.form,
        "is_dry_run": done.is_dry,
        "rows": done.count_rows,
        "recorded": done.count_recorded,
        "known": done.count_known,
        "rejected": done.count_rejected,
        "commits": done.count_commits,
        "events_by_kind": dict(done.events_by_kind),
        "rejected_rows": [{"row": number, "reason": reason} for number, reason in done.rejected],
        "rejected_file": None if done.rejected_file is None else str(done.rejected_file),
        "warnings": [str(problem) for problem in done.warnings],
    }
