"""What a backup says of itself: which files make it up, the root they give, and the replay.

A statement is one file, `backup-<number>.json`, made by exclusive create: of two backups that end
at once, one has to look again. Nothing it names is ever changed, so the newest one always holds.
Number 0 stands from the start and says whose backups the place is for.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from typing import Any

from ledger.errors import LedgerError
from ledger.events.types import format_moment
from ledger.signing import SignedRoot, Signer, is_signature
from ledger.storage.merkle import EMPTY_ROOT
from ledger.storage.objects import checked

FORMAT = 1
_NAME = re.compile(r"backup-([0-9]{12})\.json")
_HEX = re.compile(r"[0-9a-f]{64}")
_OF_A_BOOK = re.compile(
    r"book\.toml|witness\.txt|photos/[0-9a-f]{64}|events/(c-[0-9]{12}|s-[0-9]{12}-[0-9]{12})\.parquet"
)


class BadStatement(LedgerError):
    """What a backup says of itself cannot be read, or was changed."""


@dataclass(frozen=True, slots=True)
class File:
    """One file of a book, as a backup keeps it."""

    name: str
    """Where it stands in the book: `events/c-000000000001.parquet`."""
    size: int
    sha256: str
    """Of a file of events, the one it carries of itself; else that of its bytes."""
    kept_as: str = ""
    """Its name in the backup, where that is another: of files that do change."""
    gone_since: str = ""
    """The day on which a photo was first not in the book any more: it is not brought back."""

    @property
    def there(self) -> str:
        """Give its name in the backup."""
        return self.kept_as or self.name


@dataclass(frozen=True, slots=True)
class Replayed:
    """What every bike's state came to when the book was replayed."""

    form: int
    """How it was worked out; figures of two forms are not comparable."""
    count_bikes: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Statement:
    """What a backup is."""

    number: int
    made_at: datetime
    shop: str
    begins: str | None
    """The root after the book's first commit, which no other book has; None of an empty one."""
    commit: int = 0
    size: int = 0
    """Events."""
    root: str = EMPTY_ROOT.hex()
    recorded_at: datetime | None = None
    replayed: Replayed | None = None
    settings: str = ""
    """The text of `book.toml`; the file is among the files too."""
    files: tuple[File, ...] = ()
    signed_root: str = ""
    """The signature of shop, size, root and recorded_at, as receipts have it; empty: none."""
    key: str = ""
    """The public key of both signatures; empty where the book could not sign."""

    @property
    def name(self) -> str:
        """Give the name of its file."""
        return statement_name(self.number)

    @property
    def is_begun(self) -> bool:
        """Tell whether it only says whose backups are to come."""
        return self.number == 0

    def signed_with(self, signer: Signer) -> Statement:
        """Give it with the book's key, and its root signed."""
        if self.recorded_at is None:
            return replace(self, key=signer.key)
        signed = signer.sign(self.shop, self.size, self.root, self.recorded_at)
        return replace(self, key=signer.key, signed_root=signed.signature)

    def to_bytes(self, signer: Signer | None) -> bytes:
        """Give the file's content, signed where there is somebody to sign."""
        body = {"lockring_backup": FORMAT, **_plain(self)}
        digest = _digest(body)
        signature = signer.signature(_said(digest)) if signer is not None else ""
        sealed = {**body, "sha256": digest, "signature": signature}
        return (json.dumps(sealed, ensure_ascii=False, indent=1) + "\n").encode()


def statement_name(number: int) -> str:
    """Give the name of the file of a statement."""
    return f"backup-{number:012}.json"


def numbers_in(names: Iterable[str]) -> list[int]:
    """Give the numbers of the statements among these names, in order."""
    return sorted(int(match[1]) for match in map(_NAME.fullmatch, names) if match)


def read_statement(content: bytes, name: str) -> Statement:
    """Give what a statement says; raises BadStatement where it is not what was written.

    Its signatures are checked against the key it carries; whose that is, is for the caller.
    """
    try:
        told = json.loads(content)
        if told["lockring_backup"] != FORMAT:
            raise BadStatement(f"{name} is of another version of Lockring: restore with that one.")
        body = {key: told[key] for key in told if key not in ("sha256", "signature")}
        statement = _made(body)
        digest, signature = told["sha256"], told["signature"]
    except (KeyError, TypeError, ValueError, AttributeError, RecursionError, LedgerError) as error:
        if isinstance(error, BadStatement):
            raise
        raise BadStatement(f"{name} is damaged: what it says cannot be read.") from None
    if digest != _digest(body) or statement.name != name:
        raise BadStatement(f"{name} is damaged: what it says does not give its own SHA-256.")
    if statement.key and not _is_signed(statement, digest, signature):
        raise BadStatement(f"{name} was changed: it is not signed by the key it names.")
    return statement


def _is_signed(statement: Statement, digest: str, signature: Any) -> bool:
    if not isinstance(signature, str) or not is_signature(statement.key, _said(digest), signature):
        return False
    if statement.recorded_at is None:
        return True
    of_root = (statement.shop, statement.size, statement.root, statement.recorded_at)
    return SignedRoot(*of_root, statement.key, statement.signed_root).is_signed


def _said(digest: str) -> bytes:
    return f"lockring backup {FORMAT}\n{digest}\n".encode()


def _digest(body: Mapping[str, Any]) -> str:
    plain = json.dumps(body, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(plain.encode()).hexdigest()


def _plain(statement: Statement) -> dict[str, Any]:
    recorded_at = statement.recorded_at
    return {
        **asdict(statement),
        "made_at": format_moment(statement.made_at),
        "recorded_at": None if recorded_at is None else format_moment(recorded_at),
        "files": [
            {key: value for key, value in asdict(one).items() if value != ""}
            for one in statement.files
        ],
    }


def _made(body: Mapping[str, Any]) -> Statement:
    told = {key: value for key, value in body.items() if key != "lockring_backup"}
    replayed = told["replayed"]
    statement = Statement(
        **{
            **told,
            "made_at": _moment(told["made_at"]),
            "recorded_at": None if told["recorded_at"] is None else _moment(told["recorded_at"]),
            "replayed": None if replayed is None else Replayed(**replayed),
            "files": tuple(File(**one) for one in told["files"]),
        }
    )
    for file in statement.files:
        checked(file.there)
        if not (_OF_A_BOOK.fullmatch(file.name) and _HEX.fullmatch(file.sha256)):
            raise ValueError(file.name)
    if not _HEX.fullmatch(statement.root) or min(statement.commit, statement.size) < 0:
        raise ValueError(statement.root)
    return statement


def _moment(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)
