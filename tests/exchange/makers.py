"""Small books and files for the tests of what comes in and goes out."""

from __future__ import annotations

import hashlib
from pathlib import Path
from typing import Any

from ledger.book import Book

TAG = "7K3M9QXA"
EVENT_ID = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"


def new_book(folder: Path, name: str = "book", shop: str = "harbour") -> Book:
    """Give an empty book of an invented shop in a town on Lisbon's time."""
    return Book.init(folder / name, shop=shop, currency="EUR", time_zone="Europe/Lisbon")


def a_file(folder: Path, text: str, name: str = "log.csv", encoding: str = "utf-8") -> Path:
    """Write a file and give its path."""
    path = folder / name
    path.write_bytes(text.encode(encoding))
    return path


def on_disk(folder: Path) -> dict[str, str]:
    """Give every file below a folder with the SHA-256 of what is in it."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def reading_line(**changes: Any) -> dict[str, Any]:
    """Give a chain reading as CloudEvents attributes; a change to None leaves one out."""
    whole: dict[str, Any] = {
        "specversion": "1.0",
        "id": EVENT_ID,
        "source": "/shops/harbour",
        "type": "lockring.measured.v1",
        "subject": TAG,
        "time": "2024-07-01T10:00:00+02:00",
        "datacontenttype": "application/json",
        "actor": "mia",
        "data": {
            "position": "chain",
            "quantity": "elongation",
            "value": {"value": "0.55", "unit": "%"},
        },
        **changes,
    }
    return {name: value for name, value in whole.items() if value is not None}
