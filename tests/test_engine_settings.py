"""What every question to the engine is asked under, whichever cursor asks it."""

from __future__ import annotations

import os
import subprocess
import sys
from datetime import UTC, datetime
from pathlib import Path

from ledger.book import Book
from ledger.queries import engine_of, whole_table

NOW = datetime(2026, 6, 1, 12, tzinfo=UTC)


def one_bike(folder: Path) -> Book:
    book = Book.init(folder / "book", shop="quay", clock=lambda: NOW)
    book.append([{"kind": "bike_registered", "bike": "7K3M9QXA", "actor": "mia",
                  "occurred_at": "2026-01-01T12:00:00Z", "data": {}}])  # fmt: skip
    return book


def test_instants_are_utc_wherever_the_machine_stands(tmp_path: Path) -> None:
    """Asked in Tokyo, a column of instants is still one of UTC."""
    one_bike(tmp_path)
    code = (
        "from ledger.book import Book\nfrom ledger.queries import whole_table\n"
        f"book = Book.open({str(tmp_path / 'book')!r})\n"
        "print(whole_table(book, 'observed_bikes').schema.field('observed_until').type.tz)"
    )
    ended = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True, text=True, timeout=60, check=True,
        env={**os.environ, "TZ": "Asia/Tokyo"},
    )  # fmt: skip
    assert ended.stdout.strip() == "UTC"


def test_what_a_file_says_of_itself_is_read_once(tmp_path: Path) -> None:
    """Every cursor keeps the files' own tables of contents, which never change."""
    book = one_bike(tmp_path)
    whole_table(book, "observed_bikes")
    cursor = engine_of(book)._cursor({})
    (kept,) = cursor.execute("select current_setting('parquet_metadata_cache')").fetchone() or ()
    assert kept is True
