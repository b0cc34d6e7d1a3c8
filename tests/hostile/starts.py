"""What fuzzing starts from: one right input of each kind, out of a small real book."""

from __future__ import annotations

import io
import json
from datetime import UTC, datetime
from pathlib import Path

from ledger.backup.make import backup
from ledger.book import Book
from ledger.exchange.export import export_book
from ledger.proofs import Receipts
from ledger.storage.objects import objects_at

TAG = "7K3M9QXA"
_AT = "2025-03-0{}T09:00:00+01:00"
_MAPPING = b"""
[when]
column = "Date"
formats = ["%d/%m/%Y"]
[bike]
tag = "Tag"
[actor]
value = "ada"
[[event]]
kind = "distance_read"
needs = ["km"]
[event.fields]
odometer = { column = "km", unit = "km" }
"""
_TABLE = b'Date;Tag;km;Note\r\n01/02/2024;7K3M9QXA;1.200,5;"a ""b"""\r\n03/02/2024;;;\r\n'
_CELLS = (b"1.234,56", b"1h 30", b"12/02/2024", b"72 psi", b"-0.5", b"\xe2\x82\xac 12.50")
_ADDRESSES = (
    b"tag=7K3M9QXA&step=measure&item=chain+elongation&form=marks&job=j1",
    b"by=part_model&row=k%3AHalm&days=90&km=1000&until=2025-01-01&most=cost&tag=7K3M9QXA",
    b"since=2025-01-01&until=2025-06-30&what_if=full_service:5:-3&row=late&clock=1",
    b"tier=full_service&tasks=brakes:30,gears&age=4&riding=commute&risk=20&price=79.50",
)


def _draft(kind: str, day: int, bike: str | None, **data: object) -> dict[str, object]:
    told = {"kind": kind, "actor": "ada", "occurred_at": _AT.format(day), "data": data}
    return told if bike is None else {**told, "bike": bike}


def small_book(path: Path) -> Book:
    """Make a book of a few events, some with words in them."""
    book = Book.init(path, shop="quayside", time_zone="Europe/Copenhagen")
    book.append([_draft("mechanic_registered", 1, None, mechanic="ada", role="owner", name="Ada")])
    book.append([
        _draft("bike_registered", 2, TAG, make="Varde", model="Tourer 28"),
        _draft("distance_read", 3, TAG, odometer={"value": "120.5", "unit": "km"}),
        _draft("noted", 4, TAG, position="fork", text="Greased post"),
    ])  # fmt: skip
    return book


def starts(folder: Path) -> dict[str, list[bytes]]:
    """Give right inputs by the name of what reads them."""
    book = small_book(folder / "book")
    lines = io.BytesIO()
    export_book(book, lines, "cloudevents", clear=True)
    receipts = Receipts(book)
    told = [receipts.of_event(2).to_json(), receipts.of_growth(1).to_json()]
    backup(book, objects_at(folder / "kept"), now=datetime.now(UTC))
    kept = [path.read_bytes() for path in (folder / "kept").rglob("*.json")]
    return {
        "lines": [lines.getvalue()],
        "mappings": [_MAPPING],
        "tables": [_TABLE],
        "cells": list(_CELLS),
        "receipts": [json.dumps(one).encode() for one in told],
        "witnesses": [path.read_bytes() for path in [book.path / "witness.txt"] if path.exists()],
        "footers": [path.read_bytes()[-9_000:] for path in book.files()],
        "book_settings": [(book.path / "book.toml").read_bytes()],
        "statements": kept,
        "addresses": list(_ADDRESSES),
    }
