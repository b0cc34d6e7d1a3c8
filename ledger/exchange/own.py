"""An export brought into an empty book as it was: ids, seq, recorded times and commits kept.

The same reader replays `demo_events/events.parquet`.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow as pa
import pyarrow.parquet as pq

from ledger.errors import Refused, UnreadableInput
from ledger.exchange import cloudevents

if TYPE_CHECKING:
    from ledger.book import Book
    from ledger.settings import BookSettings

Raw = dict[str, Any]
_ROWS_AT_ONCE = 2_000


@dataclass(frozen=True, slots=True)
class BroughtIn:
    """What was brought in, and whether the roots are those of the exported book."""

    count_events: int
    count_commits: int
    root: str
    """RFC 6962 root of the book now, hexadecimal."""
    is_same_root: bool | None
    """None where the export does not say its root (JSON Lines; text in the clear)."""


def import_own(
    book: Book, path: Path, *, on_progress: Callable[[int], None] | None = None
) -> BroughtIn:
    """Bring an export into an empty book; `on_progress` is told the events done so far.

    Raises UnreadableInput, Refused and BookExists; the book is then still empty.
    """
    head = book.import_own(own_commits(path, book.settings), on_progress=on_progress)
    root = head.root or ""
    said = _root_said(path)
    same = None if said is None else said == root
    return BroughtIn(head.size, head.commit, root, same)


def own_commits(path: Path, settings: BookSettings) -> Iterator[list[Raw]]:
    """Give the events of an export, commit by commit, as plain JSON types with seq.

    Raises UnreadableInput, or Refused where lines are wrong.
    """
    if not path.is_file():
        raise UnreadableInput(f"There is no file {path}. Give the path of an export.")
    if path.suffix.lower() == ".csv":
        raise UnreadableInput(
            "A CSV export does not hold a whole book. Export as CloudEvents or Parquet instead."
        )
    events = _parquet_events(path) if _is_parquet(path) else _line_events(path, settings)
    return _grouped(_gapless(events, path, settings.shop))


def _is_parquet(path: Path) -> bool:
    with path.open("rb") as file:
        return file.read(4) == b"PAR1"


def _line_events(path: Path, settings: BookSettings) -> Iterator[Raw]:
    with path.open("rb") as file:
        for line in cloudevents.read(file, settings.zone, own=True):
            if line.draft is None:
                raise Refused(line.problems)
            yield line.draft


def _parquet_events(path: Path) -> Iterator[Raw]:
    try:
        with pq.ParquetFile(path) as file:
            column = _event_column(path, file.schema_arrow.names)
            for batch in file.iter_batches(_ROWS_AT_ONCE, columns=["seq", "commit", column]):
                yield from _events_in(batch, column)
    except (pa.ArrowException, OSError, UnicodeDecodeError, json.JSONDecodeError) as error:
        wrong = f"{path.name} cannot be read as Parquet ({type(error).__name__})"
        raise UnreadableInput(f"{wrong}. Export it again.") from error


def _event_column(path: Path, names: Sequence[str]) -> str:
    found = next((name for name in ("canonical", "event") if name in names), None)
    if found is None or not {"seq", "commit"} <= set(names):
        raise UnreadableInput(f"{path.name} is not an export: it has no seq, commit and event.")
    return found


def _events_in(batch: pa.RecordBatch, column: str) -> Iterator[Raw]:
    columns = (batch[name].to_pylist() for name in ("seq", "commit", column))
    for seq, commit, text in zip(*columns, strict=True):
        raw = json.loads(text)
        if not isinstance(raw, dict):
            raise UnreadableInput(f"The event of seq {seq} is not a JSON object. Export it again.")
        yield {**raw, "seq": seq, "commit": commit}


def _gapless(events: Iterator[Raw], path: Path, shop: str) -> Iterator[Raw]:
    """Pass events on while they are numbered 1, 2, 3 … and of this book's shop."""
    for place, event in enumerate(events, start=1):
        seq = event.get("seq")
        if seq != place or isinstance(seq, bool):
            wrong = f"{path.name}: event {place} has seq {seq!r}"
            raise UnreadableInput(
                f"{wrong}. An export of a whole book counts 1, 2, 3 without gaps."
            )
        if event.get("shop") != shop:
            wrong = f"{path.name} is of shop {event.get('shop')!r}, and this book is of '{shop}'"
            raise UnreadableInput(f"{wrong}. Make a book with that shop's code for it.")
        if not isinstance(event.get("recorded_at"), str):
            raise UnreadableInput(f"{path.name}: event {place} does not say when it was recorded.")
        yield event


def _grouped(events: Iterator[Raw]) -> Iterator[list[Raw]]:
    """Give commits: as numbered, else the events recorded at one instant."""
    group: list[Raw] = []
    last: Any = None
    for event in events:
        commit = event.pop("commit", None)
        mark = commit if commit is not None else event["recorded_at"]
        if group and mark != last:
            yield group
            group = []
        last = mark
        group.append(event)
    if group:
        yield group


def _root_said(path: Path) -> str | None:
    if not _is_parquet(path):
        return None
    metadata = pq.read_schema(path).metadata or {}
    root = metadata.get(b"lockring.root")
    return None if root is None else root.decode()
