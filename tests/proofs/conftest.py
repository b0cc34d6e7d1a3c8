"""A small book whose receipts are looked at, made once."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from ticking_book import Ticking, new_book

from ledger.book import Book


@pytest.fixture(scope="session")
def first_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("shop") / "book"
    new_book(folder)
    return folder


@pytest.fixture
def book(tmp_path: Path, first_book: Path) -> Book:
    """A copy of it that a test may change."""
    shutil.copytree(first_book, tmp_path / "book")
    return Book.open(tmp_path / "book", clock=Ticking(hours=2))


@pytest.fixture(scope="session")
def proved_book(tmp_path_factory: pytest.TempPathFactory, first_book: Path) -> Book:
    """Another copy, of which receipts are made and nothing else."""
    folder = tmp_path_factory.mktemp("proved") / "book"
    shutil.copytree(first_book, folder)
    return Book.open(folder)
