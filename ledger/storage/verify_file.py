"""One file of a log held to its word: its rows, its commits' roots, and what its footer says."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

import pyarrow as pa

from ledger.errors import BookDamaged, Problem
from ledger.storage.footer import CommitMark, Footer, check_self_hash, read_footer
from ledger.storage.listing import Cover
from ledger.storage.merkle import Frontier, leaf_hash
from ledger.storage.segment import ROWS_IN_GROUP
from ledger.storage.verify_rows import Held, decoded, problem, rows_of, where, wrong_rows


@dataclass
class Looked:
    """What was found in one file, and where the log stands after it."""

    size: int
    """Events so far, as far as the files say."""
    units: Mapping[str, str]
    """Each quantity's canonical unit once these events hold."""
    problems: list[Problem] = field(default_factory=list)
    frontier: Frontier | None = None
    """The tree after the file; None where it does not say."""
    marks: list[CommitMark] = field(default_factory=list)
    """The commits whose events give their root."""


def look_at(
    file: Cover, content: bytes, before: Frontier | None, size: int, units: Mapping[str, str]
) -> Looked:
    """Look at a file's bytes; `before` is the tree before it, None where nobody says.

    `size` is how many events come before it.
    """
    looked = Looked(size, units)
    try:
        footer = read_footer(content, file.name)
        if (footer.first, footer.last.commit) != (file.first, file.last):
            raise BookDamaged(f"it holds commits {footer.first} to {footer.last.commit}")
    except BookDamaged as error:
        wrong = f"{str(error).rstrip('.')}; it should hold the events after {size}"
        looked.problems.append(problem(file.name, "the file", wrong, "unreadable"))
        return looked
    looked.problems += _in_file(file, content, footer, before, looked)
    if not check_self_hash(content):
        looked.problems.insert(0, no_self_hash(file.name, is_all=not looked.problems))
    looked.frontier, looked.size = footer.frontier, footer.last.size
    return looked


def no_self_hash(name: str, *, is_all: bool) -> Problem:
    """Give the problem of a file that was changed; `is_all`: nothing else is wrong with it."""
    wrong = "the file's bytes do not give the hash it carries of itself"
    if is_all:
        wrong += (
            "; its events are whole, so what was changed is said about them or lies beside them"
        )
    return problem(name, "lockring.sha256", wrong, "self_hash")


def _in_file(
    file: Cover, content: bytes, footer: Footer, before: Frontier | None, looked: Looked
) -> Iterator[Problem]:
    table, found = decoded(file.name, content)
    yield from found
    if table is None:
        return
    table = table.sort_by("seq")
    named: set[int] = set()
    held: list[Held] = []
    for start in range(0, table.num_rows, ROWS_IN_GROUP):
        rows = rows_of(table.slice(start, ROWS_IN_GROUP))
        wrong, looked.units = wrong_rows(file.name, rows, looked.units)
        yield from wrong.problems
        named |= wrong.seqs
        held += [Held(row.seq, row.commit, leaf_hash(row.canonical)) for row in rows.stored]
    if before is None:
        unchecked = "its roots could not be recomputed, since the file before it is damaged"
        yield problem(file.name, "root", unchecked, "root_not_checked")
    else:
        yield from _wrong_roots(file, held, footer, before, named, looked.marks)
    yield from _wrong_moments(file, table, footer.marks)


def _wrong_roots(
    file: Cover,
    held: list[Held],
    footer: Footer,
    before: Frontier,
    named: set[int],
    right: list[CommitMark],
) -> Iterator[Problem]:
    """Give the first commit whose events do not give its root, and what is out of place.

    Roots hang on all events before them: after the first wrong one the others say nothing. Those
    that hold go into `right`.
    """
    frontier, at, is_right = before, 0, True
    for mark in footer.marks:
        rows = held[at : at + max(0, mark.size - frontier.size)]
        expected = range(frontier.size + 1, mark.size + 1)
        at += len(rows)
        frontier = frontier.extend(row.leaf for row in rows)
        if not is_right:
            continue
        if [row.seq for row in rows] != list(expected):
            gone = sorted(set(expected) - {row.seq for row in rows}) or list(expected)
            yield problem(where(file.name, gone), "seq", "missing or out of place", "seq_gap")
        if strays := [row.seq for row in rows if row.commit != mark.commit]:
            wrong = f"another commit than {mark.commit} is named"
            yield problem(where(file.name, strays), "commit", wrong, "commit_numbers")
        is_right = (frontier.size, frontier.root().hex()) == (mark.size, mark.root)
        if is_right:
            right.append(mark)
        else:
            yield _wrong_root(file, mark, expected, named)
    if at < len(held):
        yield problem(file.name, "seq", "it holds events of no commit", "seq_gap")


def _wrong_root(file: Cover, mark: CommitMark, expected: range, named: set[int]) -> Problem:
    suspects = sorted(named & set(expected)) or list(expected)
    wrong = (
        f"they do not give the root that is stated after commit {mark.commit} (the file's later "
        "roots hang on it and say nothing)"
    )
    if len(suspects) > 1:
        wrong = f"one of them was changed, or more: {wrong}"
    return problem(where(file.name, suspects), "root", wrong, "root")


def _wrong_moments(file: Cover, table: pa.Table, marks: Iterable[CommitMark]) -> Iterator[Problem]:
    """Give the commits that were recorded at another time than the footer says."""
    if "recorded_at" not in table.column_names:
        return
    try:
        columns = [table[name].to_pylist() for name in ("commit", "recorded_at")]
    except (ValueError, OverflowError):
        return  # a time beyond the years there are: its row was named
    last = dict(zip(*columns, strict=True))
    for mark in marks:
        if mark.commit in last and last[mark.commit] != mark.recorded_at:
            place = f"{file.name}, commit {mark.commit}"
            yield problem(place, "recorded_at", "its events were recorded at another time", "time")
