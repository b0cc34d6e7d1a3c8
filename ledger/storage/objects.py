"""Whole files under one address: a folder of a disk, or a prefix of an S3-speaking object store.

What a backup is kept in, and what a book on an object store is kept in. Names have `/` between
their parts. Credentials, region and endpoint come from the usual environment (AWS_ACCESS_KEY_ID,
AWS_SECRET_ACCESS_KEY, AWS_REGION, AWS_ENDPOINT_URL, AWS_ALLOW_HTTP), never from an address.
"""

from __future__ import annotations

import os
import re
from collections.abc import Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple, Protocol
from urllib.parse import urlsplit

import obstore
from obstore.exceptions import (
    AlreadyExistsError,
    BaseError,
    InvalidPathError,
    NotFoundError,
    NotSupportedError,
    PreconditionError,
)
from obstore.store import S3Store

from ledger.errors import NotDurable, Unreachable, WriteRefused, WrongUse
from ledger.storage.address import SCHEME, is_address
from ledger.storage.listed import is_name, names_of
from ledger.storage.local import TEMPORARY, LocalStore

if TYPE_CHECKING:
    from obstore import ObjectMeta

__all__ = [
    "BucketObjects",
    "FolderObjects",
    "Named",
    "Objects",
    "Unreachable",
    "checked",
    "is_address",
    "objects_at",
]

_PATIENCE = timedelta(seconds=10)
_TRIES = 3
_HANDS = 16
_UNENCRYPTED = (
    "AWS_ENDPOINT_URL begins with http://, and what is sent there can be read on the way. Give an "
    "https:// address; on a network of your own, set AWS_ALLOW_HTTP=true."
)
_BUCKET = re.compile(r"[a-z0-9][a-z0-9.-]{1,61}[a-z0-9]")
_PART = re.compile(r"[^/\\\x00-\x1f]+")


class Named(NamedTuple):
    """One file: its name, its size in bytes, and when it was written by the store's own clock."""

    name: str
    size: int
    made_at: datetime
    tag: str = ""
    """Another one whenever the content is, as far as the store tells (an ETag)."""


class Objects(Protocol):
    """Files by name, under one address. Every method may raise Unreachable, or OSError."""

    address: str
    """Where they are, as people would write it."""

    def all(self, prefix: str = "") -> list[Named]:
        """Give every file in a folder (`events`), or everywhere, by name; not half-made ones."""

    def get(self, name: str) -> bytes:
        """Give a whole file; FileNotFoundError if there is none."""

    def get_end(self, name: str, size: int) -> bytes:
        """Give the last bytes of a file, `size` at most; FileNotFoundError if there is none."""

    def create(self, name: str, content: bytes) -> None:
        """Make a file that lasts; FileExistsError where the name is taken."""

    def put(self, name: str, content: bytes) -> None:
        """Make a file that lasts, in place of one that is there."""

    def remove(self, name: str) -> None:
        """Remove a file; no error if it is gone already."""


def objects_at(address: str | Path) -> Objects:
    """Give the files at `s3://bucket/prefix`, or in a folder; raises WrongUse for a bad address."""
    return BucketObjects(str(address)) if is_address(address) else FolderObjects(Path(address))


def checked(name: str) -> str:
    """Give a name back; raises WrongUse where it could lead outside of its address."""
    parts = name.split("/")
    if any(part in (".", "..") or not _PART.fullmatch(part) for part in parts):
        raise WrongUse(f"{name!r} is not the name of a file here: no '..', no empty part.")
    return name


class FolderObjects:
    """Files in a folder and its folders, each durable when its method returns."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.address = str(folder)

    def _place(self, name: str) -> tuple[LocalStore, str]:
        path = self.folder / checked(name)
        return LocalStore(path.parent), path.name

    def all(self, prefix: str = "") -> list[Named]:
        """See `Objects.all`."""
        start = self.folder / checked(prefix) if prefix else self.folder
        files = (path for path in start.rglob("*") if path.is_file())
        found = []
        for path in files:
            if not path.name.startswith(TEMPORARY):
                state = path.stat()
                made_at = datetime.fromtimestamp(state.st_mtime, UTC)
                name = path.relative_to(self.folder).as_posix()
                found.append(Named(name, state.st_size, made_at))
        return sorted(found)

    def get(self, name: str) -> bytes:
        """See `Objects.get`."""
        store, last = self._place(name)
        return store.read(last)

    def get_end(self, name: str, size: int) -> bytes:
        """See `Objects.get_end`."""
        store, last = self._place(name)
        return store.read_end(last, size)

    def create(self, name: str, content: bytes) -> None:
        """See `Objects.create`."""
        store, last = self._place(name)
        with _saying(name, self.folder):
            store.folder.mkdir(parents=True, exist_ok=True)
            store.create(last, content)

    def put(self, name: str, content: bytes) -> None:
        """See `Objects.put`."""
        store, last = self._place(name)
        with _saying(name, self.folder):
            store.folder.mkdir(parents=True, exist_ok=True)
            store.replace(last, content)

    def remove(self, name: str) -> None:
        """See `Objects.remove`."""
        store, last = self._place(name)
        if store.folder.is_dir():
            store.remove(last)


@contextmanager
def _saying(name: str, folder: Path) -> Iterator[None]:
    """Say which file was not written where, and what to do: of no book is anything recorded here.

    A name that is taken is no failure of the disk.
    """
    try:
        yield
    except FileExistsError:
        raise
    except NotDurable as error:
        raise NotDurable(
            f"The disk did not confirm that {name} was written in {folder} "
            f"({error.__cause__ or error}). Check that disk and the room left on it, and try again."
        ) from error
    except (WriteRefused, OSError) as error:
        why = error.__cause__ if isinstance(error, WriteRefused) else error
        if why is None:
            raise
        raise WriteRefused(
            f"{name} was not written in {folder} ({why}). Make room there, or give yourself the "
            "right to write there, and try again."
        ) from error


class BucketObjects:
    """Files under a prefix of a bucket; `create` is a conditional PUT."""

    def __init__(self, address: str, *, longest_s: int = 60) -> None:
        """Take an address; no request may take longer than so many seconds."""
        told = urlsplit(address)
        self._prefix = told.path.strip("/")
        if told.scheme != SCHEME or not _BUCKET.fullmatch(told.netloc) or told.query:
            raise WrongUse(f"{address!r} is no address of an object store: write s3://bucket/name.")
        if self._prefix:
            checked(self._prefix)
        self.address = f"{SCHEME}://{told.netloc}/{self._prefix}".rstrip("/")
        may_http = os.environ.get("AWS_ALLOW_HTTP", "").lower() == "true"
        if os.environ.get("AWS_ENDPOINT_URL", "").startswith("http://") and not may_http:
            raise WrongUse(_UNENCRYPTED)
        self._bucket = told.netloc
        self._store = S3Store(
            told.netloc,
            prefix=self._prefix or None,
            client_options={
                "connect_timeout": "5s",
                "timeout": f"{longest_s}s",
                "allow_http": may_http,
            },
            retry_config={
                "max_retries": _TRIES,
                "retry_timeout": _PATIENCE,
                "backoff": {
                    "init_backoff": timedelta(milliseconds=100),
                    "max_backoff": timedelta(seconds=2),
                    "base": 2,
                },
            },
        )

    @contextmanager
    def _asking(self, name: str) -> Iterator[None]:
        try:
            yield
        except AlreadyExistsError:
            raise FileExistsError(f"{self.address}/{name}") from None
        except (NotFoundError, FileNotFoundError):
            raise FileNotFoundError(f"{self.address}/{name}") from None
        except BaseError as error:
            raise Unreachable(f"{self.address} does not answer: {_why(error)}") from None

    def all(self, prefix: str = "") -> list[Named]:
        """See `Objects.all`."""
        try:
            with self._asking(prefix):
                under = checked(prefix) if prefix else None
                found = self._list(under)
        except FileNotFoundError:
            raise Unreachable(f"{self.address} does not answer: there is no such bucket.") from None
        named = (
            Named(one["path"], one["size"], one["last_modified"], one["e_tag"] or "")
            for one in found
        )
        return sorted(named)

    def _list(self, under: str | None) -> Sequence[ObjectMeta]:
        try:
            return obstore.list(self._store, prefix=under).collect()
        except InvalidPathError:
            with ThreadPoolExecutor(_HANDS) as hands:
                heads = hands.map(self._head, filter(is_name, self._names(under or "")))
                return [one for one in heads if one is not None]

    def _head(self, name: str) -> ObjectMeta | None:
        """Give what a listing says of one file; None where it is gone by now."""
        try:
            return obstore.head(self._store, name)
        except (NotFoundError, FileNotFoundError):
            return None

    def _names(self, under: str) -> list[str]:
        start = "/".join(filter(None, (self._prefix, under)))
        names = names_of(self._bucket, start)
        return [f"{under}/{name}" for name in names] if under else names

    def folders(self) -> list[str]:
        """Give the first parts of names that have several, sorted: `quay` of `quay/book.toml`."""
        with self._asking(""):
            found = obstore.list_with_delimiter(self._store)
        return sorted(one.rstrip("/").rpartition("/")[2] for one in found["common_prefixes"])

    def has(self, name: str) -> bool:
        """Say whether there is a file of a name."""
        with self._asking(name):
            return self._head(checked(name)) is not None

    def odd_names(self) -> list[str]:
        """Give the names under the address that no file here can have: `all` passes them over."""
        with self._asking(""):
            try:
                obstore.list(self._store).collect()
            except InvalidPathError:
                return sorted(name for name in self._names("") if not is_name(name))
        return []

    def get(self, name: str) -> bytes:
        """See `Objects.get`."""
        with self._asking(name):
            return bytes(obstore.get(self._store, checked(name)).bytes())

    def get_tagged(self, name: str) -> tuple[bytes, str | None]:
        """Give a whole file and its ETag, if the store gives one; raises as `get`."""
        with self._asking(name):
            got = obstore.get(self._store, checked(name))
            return bytes(got.bytes()), got.meta["e_tag"]

    def put_over(self, name: str, content: bytes, tag: str | None) -> None:
        """Put a file in place of the very one of a tag; FileExistsError where it is another by now.

        FileNotFoundError where it is gone. A store that heeds no `If-Match` replaces any.
        """
        with self._asking(name):
            try:
                if tag is not None:
                    obstore.put(self._store, checked(name), content, mode={"e_tag": tag})
                    return
            except PreconditionError:
                raise FileExistsError(f"{self.address}/{name}") from None
            except NotSupportedError:
                pass
            obstore.put(self._store, checked(name), content)

    def get_end(self, name: str, size: int) -> bytes:
        """See `Objects.get_end`."""
        with self._asking(name):
            told = obstore.get(self._store, checked(name), options={"range": {"suffix": size}})
            return bytes(told.bytes())

    def create(self, name: str, content: bytes) -> None:
        """See `Objects.create`."""
        with self._asking(name):
            obstore.put(self._store, checked(name), content, mode="create", use_multipart=False)

    def put(self, name: str, content: bytes) -> None:
        """See `Objects.put`."""
        with self._asking(name):
            obstore.put(self._store, checked(name), content)

    def remove(self, name: str) -> None:
        """See `Objects.remove`."""
        with self._asking(name):
            obstore.delete(self._store, checked(name))


def _why(error: BaseError) -> str:
    """Give the end of the first line of what the store said: the rest is inside its client."""
    return str(error).partition("\n")[0].rpartition(" - ")[2].rstrip(".: ") + "."
