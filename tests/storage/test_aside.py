"""Tables kept beside the book: what is held does not change with its file."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pyarrow as pa
import pytest

from ledger.storage import aside

TABLE = pa.table({"bike": ["7K3M9QXA", "2B4D6F8H"] * 5_000, "km": [1.5, 2.5] * 5_000})


def shortened(path: Path) -> None:
    os.truncate(path, 100)


def written_over(path: Path) -> None:
    size = path.stat().st_size
    with path.open("r+b") as file:
        file.write(b"\x5a" * size)


def taken_away(path: Path) -> None:
    path.unlink()


def put_anew(path: Path) -> None:
    assert aside.write(path, TABLE.slice(0, 3), {})


@pytest.mark.parametrize("happen", [shortened, written_over, taken_away, put_anew])
def test_what_is_held_stays_whatever_becomes_of_its_file(
    tmp_path: Path, happen: Callable[[Path], None]
) -> None:
    """A backup copied over a book in use writes over its files: who reads them goes on."""
    path = tmp_path / "kept.arrow"
    assert aside.write(path, TABLE, {})
    held = aside.read(path)
    assert held is not None
    happen(path)
    assert held.equals(TABLE)
    found = aside.read(path)
    assert found is None or found.equals(TABLE.slice(0, 3))


@pytest.mark.parametrize("happen", [taken_away, put_anew])
def test_a_great_file_is_read_in_place(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, happen: Callable[[Path], None]
) -> None:
    """It may be taken away, or put in place anew, as everything here is."""
    monkeypatch.setattr(aside, "_GREAT", 1)
    path = tmp_path / "kept.arrow"
    assert aside.write(path, TABLE, {"a": "b"})
    held = aside.read(path)
    assert held is not None
    happen(path)
    assert held.equals(TABLE)
