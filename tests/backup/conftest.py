"""Places to keep a backup in: a folder, and a prefix of a real server that speaks S3."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger import book as book_module
from ledger.book import Book
from ledger.storage import compaction
from tests.backup.kept_book import new_book
from tests.storage.s3_server import s3_server


@pytest.fixture(scope="session")
def bucket() -> Iterator[str]:
    """Give the address of an empty bucket, its server in the environment."""
    with s3_server() as (told, address), pytest.MonkeyPatch.context() as patch:
        for name, value in told.items():
            patch.setenv(name, value)
        yield address


@pytest.fixture(params=["folder", "object store"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Give the address of an empty place of both kinds."""
    if request.param == "folder":
        return str(tmp_path / "kept")
    return f"{request.getfixturevalue('bucket')}/{tmp_path.name}/kept"


@pytest.fixture(autouse=True)
def small_blocks(monkeypatch: pytest.MonkeyPatch) -> None:
    """Four commits are merged into a segment, and sixteen; and only when a test says so."""
    monkeypatch.setattr(compaction, "BLOCKS", (4, 16))
    monkeypatch.setattr(book_module, "compact_quietly", lambda log, commit, now, after: None)


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """Give a small book."""
    return new_book(tmp_path / "book")
