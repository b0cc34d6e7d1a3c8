"""Logs on an object store, over a way on which things go wrong."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from storage_events import UNITS

from ledger.storage.line import Line
from ledger.storage.log import Log
from ledger.storage.mirrored import MirroredStore
from ledger.storage.objects import BucketObjects
from tests.storage.s3_proxy import Way, proxy_to
from tests.storage.s3_server import environment

PlaceOf = Callable[..., MirroredStore]


@contextmanager
def way_to(endpoint: str, patch: pytest.MonkeyPatch) -> Iterator[Way]:
    """Have every client made from now on go to a server by a way of its own."""
    with proxy_to(endpoint) as way:
        for name, value in environment(way.endpoint).items():
            patch.setenv(name, value)
        yield way


def store_at(address: str, mirror: Path, *, listed_s: float = 0.0) -> MirroredStore:
    """Give a store with a mirror in a folder; it is listed for each question, unless told."""
    (mirror / "events").mkdir(parents=True, exist_ok=True)
    line = Line(address, mirror, ask_again_s=0.0)
    return MirroredStore(BucketObjects(address), mirror / "events", line, listed_s=listed_s)


def log_of(store: MirroredStore) -> Log:
    """Give the log of a store, with the units of the tests' readings."""
    return Log(store, UNITS)


def kept_in(mirror: Path) -> list[str]:
    """Give the names of the files a mirror holds."""
    return sorted(path.name for path in (mirror / "events").iterdir())
