from pathlib import Path

import pytest
from visit_book import new_book

from ledger.book import Book


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """A book with one bike, ridden by r1, and no visit yet."""
    return new_book(tmp_path / "book")
