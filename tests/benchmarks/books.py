"""Very large books for timing: one real book told again and again, of other bikes each time.

`python -m tests.benchmarks.books FOLDER --events 10000000` writes one. Every telling has its own
tags, jobs, parts, riders and ids, and stands in a segment of its own; the text in all but the
first cannot be opened, since it is sealed for other ids. Hashes, roots and footers are true.
"""

from __future__ import annotations

import argparse
import json
import re
import secrets
import shutil
import tempfile
from collections.abc import Callable, Iterator
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.book import Book
from ledger.cli.demo import build
from ledger.events import parse_event
from ledger.events.types import TAG_ALPHABET, format_moment
from ledger.storage.footer import CommitMark, Footer
from ledger.storage.listing import segment_name
from ledger.storage.merkle import Frontier, leaf_hash
from ledger.storage.schema import EVENT_SCHEMA, ID, MOMENT
from ledger.storage.segment import Entry, encode_segment, tabulate
from ledger.vocabulary import standard

_TOLD_ONCE = ("mechanic_registered", "gauge_registered", "terms_set")
_NAMED = (
    *("bike", "job", "rider", "part", "replaces", "quote", "replaces_quote"),
    *("keeper", "payer", "come_back_of"),
)
_NAMED_IN_LINES = ("line_id", "payer", "quote_line")
_NAME = re.compile(
    r"^(?P<tag>[0-9A-HJKMNP-TV-Z]{8})(?=$|-\d+$)|^(?P<job>j0-)|^(?P<person>[rf])(?=\d{6}$)"
)
_IN_TEXT = re.compile(
    rb'(?<=")(?:(?P<tag>[0-9A-HJKMNP-TV-Z]{8})(?="|-\d+")|(?P<job>j0-)(?=\d)'
    rb'|(?P<person>[rf])(?=\d{6}")'
    rb"|(?P<id>[0-9a-f]{8}-[0-9a-f]{4}-7[0-9a-f]{3}-[0-9a-f]{4}-[0-9a-f]{8})"
    rb'(?P<last>[0-9a-f]{4})(?="))'
)
_STAMP = re.compile(
    rb'"recorded_at":"[^"]*"((?:,"restores":"[^"]*")?,"schema_version":\d+,"seq":)\d+(?=,"shop")'
)
_FILES_AT_ONCE = 2


def write_book(folder: Path, events: int, base: Path | None = None) -> Book:
    """Write a book of at least so many events into a new folder, in bounded memory.

    `base` is the book told again and again, as the demo names its jobs and riders; None for the
    demo itself.
    """
    if base is None:
        with tempfile.TemporaryDirectory(dir=folder.parent) as made:
            build(Path("demo_events"), Path(made) / "demo")
            return write_book(folder, events, Path(made) / "demo")
    (folder / "events").mkdir(parents=True)
    (folder / "photos").mkdir()
    for name in ("book.toml", "riders.sqlite"):
        shutil.copy(base / name, folder / name)
    _write_all(_Told.of(Book.open(base)), folder / "events", events)
    return Book.open(folder)


@dataclass(frozen=True)
class _Told:
    """The book to be told again: its events in seq order."""

    table: pa.Table

    @classmethod
    def of(cls, book: Book) -> _Told:
        tags = book.bikes()
        assert len({tag[2:] for tag in tags}) == len(tags), "two tags differ in their start alone"
        entries = [
            Entry(commit, parse_event(json.loads(canonical)), canonical)
            for _, commit, canonical in book.rows()
        ]
        units = {code: word.unit for code, word in standard().quantities.items()}
        return cls(pa.Table.from_batches([tabulate(entries, units)]))

    @property
    def recorded_at(self) -> datetime:
        """When its last event was recorded."""
        return self.table["recorded_at"][-1].as_py()

    def again(self, number: int) -> pa.Table:
        """Give its events of other bikes, still with their own seq and commit."""
        if not number:
            return self.table
        is_told = pc.invert(pc.is_in(self.table["kind"], pa.array(_TOLD_ONCE)))
        table, other = self.table.filter(is_told), _renaming(number)
        for name in _NAMED:
            table = _set(table, name, _renamed(table[name], other))
        for name in ("id", "target_id", "restores_id"):
            table = _set(table, name, _other_ids(table[name], number))
        table = _set(table, "lines", _other_lines(table["lines"].combine_chunks(), other))
        moment = self.recorded_at + timedelta(seconds=number)
        return _set(table, "recorded_at", pa.array([moment] * len(table), MOMENT))


def _set(table: pa.Table, name: str, column: pa.Array) -> pa.Table:
    place = table.schema.get_field_index(name)
    return table.set_column(place, EVENT_SCHEMA.field(name), column)


def _other_tag(tag: str, number: int) -> str:
    first, second = (TAG_ALPHABET.index(sign) for sign in tag[:2])
    first, second = divmod((32 * first + second + number) % 1024, 32)
    return TAG_ALPHABET[first] + TAG_ALPHABET[second] + tag[2:]


def _renaming(number: int) -> Callable[[str], str]:
    def other(found: re.Match[str]) -> str:
        if found["tag"]:
            return _other_tag(found["tag"], number)
        return f"j{number}-" if found["job"] else f"{found['person']}{number}"

    return lambda name: _NAME.sub(other, name)


def _renamed(column: pa.ChunkedArray | pa.Array, other: Callable[[str], str]) -> pa.Array:
    whole = column.combine_chunks() if isinstance(column, pa.ChunkedArray) else column
    encoded = whole.dictionary_encode()
    names = pa.array([other(name) for name in encoded.dictionary.to_pylist()], pa.string())
    return names.take(encoded.indices)


def _other_ids(column: pa.ChunkedArray, number: int) -> pa.Array:
    """Give ids with their last two bytes changed; one number's changes undo themselves."""
    known = column.combine_chunks()
    raw = np.frombuffer(b"".join(known.drop_null().to_pylist()), np.uint8).reshape(-1, 16).copy()
    raw[:, 14] ^= number >> 8
    raw[:, 15] ^= number & 0xFF
    ids = pa.FixedSizeBinaryArray.from_buffers(ID, len(raw), [None, pa.py_buffer(raw)])
    place = pc.subtract(pc.cumulative_sum(known.is_valid().cast(pa.int64())), 1)
    return ids.take(pc.if_else(known.is_valid(), place, None))


def _other_lines(lines: pa.ListArray, other: Callable[[str], str]) -> pa.Array:
    inner = lines.values
    columns = {field.name: inner.field(field.name) for field in inner.type}
    for name in _NAMED_IN_LINES:
        columns[name] = _renamed(columns[name], other)
    values = pa.StructArray.from_arrays(
        list(columns.values()), fields=list(inner.type), mask=inner.is_null()
    )
    return pa.ListArray.from_arrays(
        lines.offsets, values, type=EVENT_SCHEMA.field("lines").type, mask=lines.is_null()
    )


def _canonical(table: pa.Table, number: int, first_seq: int, recorded_at: str) -> list[bytes]:
    """Give the canonical bytes of a telling: every name in them changed as in its columns."""
    texts = b"\n".join(table["canonical"].to_pylist())
    tags: dict[bytes, bytes] = {}

    def other(found: re.Match[bytes]) -> bytes:
        if tag := found["tag"]:
            if tag not in tags:
                tags[tag] = _other_tag(tag.decode(), number).encode()
            return tags[tag]
        if found["id"]:
            return b"%s%04x" % (found["id"], int(found["last"], 16) ^ number)
        return b"j%d-" % number if found["job"] else b"%s%d" % (found["person"], number)

    seqs = iter(range(first_seq, first_seq + len(table)))
    stamp = b'"recorded_at":"' + recorded_at.encode() + b'"%b%d'
    texts = _STAMP.sub(lambda found: stamp % (found[1], next(seqs)), _IN_TEXT.sub(other, texts))
    return texts.split(b"\n")


class _Tree:
    """The commits so far, and the tree over their events."""

    def __init__(self) -> None:
        self.frontier, self.commit = Frontier(), 0

    def grown(self, table: pa.Table) -> tuple[pa.Table, Footer]:
        """Number a telling's commits on from here; gives its footer too."""
        leaves = [leaf_hash(one) for one in table["canonical"].to_pylist()]
        own = np.asarray(table["commit"].to_numpy())
        starts = np.flatnonzero(np.diff(own, prepend=own[0] - 1))
        stamps = table["recorded_at"].to_pylist()
        marks, first = [], self.commit + 1
        for start, end in zip(starts, [*starts[1:], len(own)], strict=True):
            self.frontier = self.frontier.extend(leaves[start:end])
            self.commit += 1
            root = self.frontier.root().hex()
            marks.append(CommitMark(self.commit, self.frontier.size, root, stamps[end - 1]))
        numbers = first + np.searchsorted(starts, np.arange(len(own)), side="right") - 1
        footer = Footer(tuple(marks), self.frontier, secrets.token_hex(16))
        return _set(table, "commit", pa.array(numbers, pa.int64())), footer


def _tellings(told: _Told, events: int) -> Iterator[tuple[pa.Table, Footer]]:
    tree, number = _Tree(), 0
    while tree.frontier.size < events:
        table, first = told.again(number), tree.frontier.size + 1
        if number:
            stamp = format_moment(told.recorded_at + timedelta(seconds=number))
            texts = _canonical(table, number, first, stamp)
            table = _set(table, "canonical", pa.array(texts, pa.binary()))
        seqs = np.arange(first, first + len(table))
        yield tree.grown(_set(table, "seq", pa.array(seqs)))
        number += 1


def _write_all(told: _Told, folder: Path, events: int) -> None:
    def write(table: pa.Table, footer: Footer) -> None:
        name = segment_name(footer.first, footer.last.commit)
        (folder / name).write_bytes(encode_segment(table, footer))

    waiting: list[Future[None]] = []
    with ThreadPoolExecutor(_FILES_AT_ONCE) as beside:
        for table, footer in _tellings(told, events):
            waiting.append(beside.submit(write, table, footer))
            if len(waiting) > _FILES_AT_ONCE:
                waiting.pop(0).result()
    for one in waiting:
        one.result()


def main() -> None:
    """Write the book asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--events", type=int, default=10_000_000)
    parser.add_argument("--base", type=Path, default=None, help="a demo book; else it is built")
    asked = parser.parse_args()
    book = write_book(asked.folder, asked.events, asked.base)
    print(f"{book.head.size:,} events in {asked.folder}")


if __name__ == "__main__":
    main()
