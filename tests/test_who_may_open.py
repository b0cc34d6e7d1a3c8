"""Files that hold keys, names and PINs are their owner's alone, whatever the machine's habit is."""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.book import Book
from ledger.private import Person, Private
from ledger.riders import Rider


@pytest.fixture(params=[0o000, 0o022, 0o077])
def habit(request: pytest.FixtureRequest) -> Iterator[int]:
    """Have the machine make files open to everybody, or to fewer."""
    before = os.umask(request.param)
    yield request.param
    os.umask(before)


def mode(path: Path) -> int:
    """Give who may do what with a file."""
    return stat.S_IMODE(path.stat().st_mode)


def test_a_new_book_keeps_its_keys_to_itself(habit: int, tmp_path: Path) -> None:
    """The register, with the keys and the signing key, and the people's PINs."""
    book = Book.init(tmp_path / "book", shop="quayside")
    book.riders.add([Rider("r-1", name="Tilde Moen")])
    book.keys.keys_for(["r-1"])
    Private(book.path).add(Person("ada", "owner", "ada", None), "583920174")
    files = list(book.path.rglob("*.sqlite*"))
    assert {path.name for path in files} >= {"riders.sqlite", "private.sqlite"}
    assert {mode(path) for path in files} == {0o600}


def test_a_register_that_others_could_read_is_closed_to_them(tmp_path: Path) -> None:
    """A book of an earlier release, or one copied by hand, is mended at its next use."""
    book = Book.init(tmp_path / "book", shop="quayside")
    register = book.path / "riders.sqlite"
    register.chmod(0o664)
    assert Book.open(book.path).riders.all() == []
    assert mode(register) == 0o600
