"""What is whole of a backup that is not: a book of its own, the rest aside, and a page about it."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from ledger.backup.damage import Damage, Span, spans_words
from ledger.backup.fetch import write
from ledger.backup.statement import Statement

PAGE = "WHAT-THIS-IS.txt"
BOOK, ASIDE = "book", "aside"


def quarantine_of(target: Path) -> Path:
    """Give the folder that takes what is whole where the target itself is not given its name."""
    return target.with_name(f"{target.name}.quarantine")


def write_page(
    folder: Path,
    place: str,
    statement: Statement | None,
    damages: Sequence[Damage],
    held: tuple[int, int, bool],
    lost: Sequence[Span],
    aside: Sequence[Span],
) -> None:
    """Write the page; `held` is the last commit and the count of events of the book in it, and
    whether it opens."""
    commit, size, is_opening = held
    asked = f"It should hold {statement.size:,} events in {statement.commit} commits" if (
        statement is not None
    ) else "How much it should hold is not known"  # fmt: skip
    lines = [
        f"This was restored from a damaged backup: {place}",
        f"{asked}.",
        "",
        f"{BOOK}/   the book up to commit {commit}: {size:,} events, every root right.",
        "        Read it with: lockring verify --book book"
        if is_opening
        else "        It cannot be opened: book.toml is lost. Put one back, as `init` writes it.",
    ]
    if aside:
        lines += [
            f"{ASIDE}/  {spans_words(aside)}: whole files that stand after what is missing. They",
            "        are plain Parquet; with the missing files found, put all of them into",
            "        book/events and run `lockring verify`.",
        ]
    if lost:
        lines += ["", f"Lost in this backup: {spans_words(lost)}."]
    lines += ["", "What is wrong with the backup:", *(f"  {one}" for one in damages), ""]
    lines += ["Do not go on recording in this book before you have looked for a better backup."]
    write(folder / PAGE, ("\n".join(lines) + "\n").encode())
