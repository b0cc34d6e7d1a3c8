"""The files of a backup: their names, and whether one is what a statement says."""

from __future__ import annotations

import hashlib

from ledger import witness
from ledger.backup.statement import File
from ledger.storage.footer import check_self_hash, hash_carried
from ledger.storage.listing import Cover, parse_name

EVENTS, PHOTOS = "events/", "photos/"
SETTINGS = "book.toml"
CHANGING = (SETTINGS, witness.NAME)
"""Files that may change: each is kept under a name that its content gives it."""
END = 4096
"""Bytes that hold the hash a file of events carries of itself."""


def is_whole(file: File, content: bytes) -> bool:
    """Tell whether a file's bytes are those that a statement names."""
    if len(content) != file.size:
        return False
    if file.name.startswith(EVENTS):
        return hash_carried(content[-END:]) == file.sha256 and check_self_hash(content)
    return hashlib.sha256(content).hexdigest() == file.sha256


def kept_as(name: str, digest: str) -> str:
    """Give the name in a backup of a file that may change, by its content's SHA-256."""
    return f"{name}.{digest[:16]}"


def cover_of(name: str) -> Cover | None:
    """Give the commits a file holds, as its name in a book or a backup says; None for others."""
    return parse_name(name.removeprefix(EVENTS)) if name.startswith(EVENTS) else None
