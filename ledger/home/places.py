"""Which home a path or an address means, and where mirrors are."""

from __future__ import annotations

import hashlib
import json
import os
from pathlib import Path
from urllib.parse import urlsplit

from ledger.errors import BookDamaged
from ledger.home.folder import Home
from ledger.storage.address import is_address, written

MIRRORS = "LOCKRING_MIRRORS"
MARK = "mirror.json"
"""The file by which a folder is known as the mirror of an object store."""


def home_of(place: Path | str) -> Home:
    """Give the home of a book, by its folder, its `s3://bucket/prefix`, or a mirror's folder.

    Raises WrongUse for an address that cannot be one.
    """
    if is_address(place):
        address = written(place).rstrip("/")
        return _mirrored(address, mirror_of(address))
    path = Path(place)
    return _mirrored(_address_in(path), path) if (path / MARK).exists() else Home(path)


def mirrors() -> Path:
    """Give the folder that mirrors are in: LOCKRING_MIRRORS, else one of the user's own data.

    It is no cache: PINs, half-typed forms and this machine's signing key are in a mirror alone.
    """
    if told := os.environ.get(MIRRORS):
        return Path(told).expanduser()
    data = os.environ.get("XDG_DATA_HOME") or "~/.local/share"
    return Path(data).expanduser() / "lockring" / "mirrors"


def mirror_of(address: str) -> Path:
    """Give the folder of an address's mirror; the same address at two servers is two places."""
    server = urlsplit(os.environ.get("AWS_ENDPOINT_URL", "")).netloc
    digest = hashlib.sha256(f"{server}\n{address}".encode()).hexdigest()[:16]
    return mirrors() / f"{address.rpartition('/')[2]}-{digest}"


def mark(path: Path, address: str) -> None:
    """Make a folder the mirror of an address, for this user alone."""
    path.mkdir(mode=0o700, parents=True, exist_ok=True)
    if not (path / MARK).exists():
        (path / MARK).write_text(json.dumps({"address": address}) + "\n", encoding="utf-8")


def _address_in(path: Path) -> str:
    try:
        return str(json.loads((path / MARK).read_text(encoding="utf-8"))["address"])
    except (ValueError, KeyError, TypeError) as error:
        raise BookDamaged(f"{path / MARK} does not tell whose mirror this is ({error}).") from None


def _mirrored(address: str, path: Path) -> Home:
    # The client of object stores is loaded for those who have one.
    from ledger.home.mirrored import MirroredHome

    return MirroredHome(address, path)
