"""The commit protocol on a simulated disk, and the same protocol broken: each break is seen.

`make soak` runs tens of thousands of histories; here run the first 1,200, by `make long` 2,000.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager, suppress
from copy import copy
from pathlib import Path
from typing import Any
from unittest.mock import patch

import pytest

from ledger.storage import compaction, listing
from ledger.storage.footer import read_footer
from ledger.storage.listing import Lister, Listing, parse_name
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from tests.long import times
from tests.storage import histories
from tests.storage.histories import INVARIANTS, Violation

COUNT, PARTS = times(2_000, usual=1_200), 4


@pytest.mark.parametrize("part", range(PARTS))
def test_nothing_acknowledged_is_lost_in_any_history(
    part: int, record_property: Callable[[str, object], None]
) -> None:
    """Whatever is killed, fails or loses power, every invariant holds at every look."""
    seeds = range(part * COUNT // PARTS, (part + 1) * COUNT // PARTS)
    counts = histories.run_many(seeds)
    told = histories.report(seeds, counts)
    print(told)
    record_property("histories", told)
    for happened in ("acknowledged", "kills", "power failures", "segments", "files taken away"):
        assert counts[happened] > 100, told
    assert counts["doubts"] > 100 and counts["refused"] > 100, told


def test_a_seed_gives_the_same_history_again() -> None:
    """What a failing seed showed can be looked at again."""
    for seed in range(8):
        first, again = histories.run(seed), histories.run(seed)
        assert (first.acknowledged, first.counts) == (again.acknowledged, again.counts)


# -- the protocol, broken ------------------------------------------------------------------

_clear = compaction._clear
_create, _fsync_file, _fsync_folder = LocalStore.create, LocalStore._fsync, LocalStore._confirm


def no_fsync(store: LocalStore, descriptor: int) -> None:
    """Nothing."""


def fsync_again(store: LocalStore, descriptor: int) -> None:
    with suppress(OSError):
        return store._disk.fsync(descriptor)
    return store._disk.fsync(descriptor)


def overwrite(store: LocalStore, temporary: Path, path: Path) -> None:
    with suppress(FileNotFoundError):
        store._disk.unlink(path)
    store._disk.rename_exclusive(temporary, path)


def create_unread(
    store: LocalStore, name: str, content: bytes, *, is_read_back: bool = False
) -> None:
    _create(store, name, content)


def accept_all(names: Any) -> Listing:
    return Listing(tuple(sorted(filter(None, map(parse_name, names)))))


def accept_widest(names: Any) -> Listing:
    covers = sorted(filter(None, map(parse_name, names)), key=lambda one: (one.first, -one.last))
    kept = covers[:1]
    for cover in covers[1:]:
        if cover.first > kept[-1].last:
            kept.append(cover)
    return Listing(tuple(kept))


def clear_unconfirmed(log: Log, until: Any) -> Any:
    covered = log.over(lambda now: compaction._covered(log.store, now))
    held = [name for file, names in covered if compaction._is_made_by(log.store, file.name, until)
            for name in names]  # fmt: skip
    log.store.remove_all(held)
    return tuple(held), ()


class Unsure:
    """A store that never makes sure that its names last."""

    def __init__(self, store: LocalStore) -> None:
        self._store = store

    def __getattr__(self, name: str) -> Any:
        return getattr(self._store, name)

    def confirm(self) -> None:
        """Nothing."""


def clear_unsure(log: Log, until: Any) -> Any:
    unsure = copy(log)
    unsure.store = Unsure(log.store)  # type: ignore[assignment]  # a store but for one promise
    return _clear(unsure, until)


def use_at_once(lister: Lister, use: Any) -> Any:
    return use(lister.now())


BROKEN: dict[str, tuple[tuple[Any, str, Any], ...]] = {
    "no fsync of the file": ((LocalStore, "_fsync", no_fsync),),
    "no fsync of the folder": ((LocalStore, "_confirm", no_fsync),),
    "a failed fsync of the file tried again": ((LocalStore, "_fsync", fsync_again),),
    "a failed fsync of the folder tried again": ((LocalStore, "_confirm", fsync_again),),
    "a create that is not exclusive": ((LocalStore, "_exclusively", overwrite),),
    "no listing after the create": ((Log, "_stands", lambda log, footer: True),),
    "a gapped listing taken for whole": ((listing, "reading_set", accept_all),),
    "a gapped listing taken for whole, of the widest files": (
        (listing, "reading_set", accept_widest),
    ),
    "covered files taken away before anything is compared": (
        (compaction, "_clear", clear_unconfirmed),
        (compaction, "check_file", lambda file, content, before: read_footer(content)),
        (LocalStore, "create", create_unread),
    ),
    "covered files taken away before the segment's name lasts": (
        (compaction, "_clear", clear_unsure),
    ),
    "a segment taken in its place unread": (
        (compaction, "check_file", lambda file, content, before: read_footer(content)),
        (LocalStore, "create", create_unread),
    ),
    "a commit built on a name that may not last": ((Log, "_confirm_newest", lambda log: None),),
    "a file that vanished taken for lost": ((Lister, "over", use_at_once),),
}  # fmt: skip
EVERYTHING, SLEEPERS, POWER = 0, 1, 2
"""Which seeds, modulo 4, are mostly about what (`histories.Style`)."""
MOSTLY = {
    "no listing after the create": SLEEPERS,
    "a commit built on a name that may not last": POWER,
    "a file that vanished taken for lost": SLEEPERS,
}
MOST_TRIED = 300


@contextmanager
def broken(how: str) -> Iterator[None]:
    with ExitStack() as stack:
        for where, name, value in BROKEN[how]:
            stack.enter_context(patch.object(where, name, value))
        yield


@pytest.mark.parametrize("how", BROKEN)
def test_a_broken_protocol_is_seen(how: str) -> None:
    """Each way to break the protocol breaks an invariant in one of the first histories."""
    with broken(how), pytest.raises(Violation) as seen:
        histories.run_many(range(MOSTLY.get(how, EVERYTHING), 4 * MOST_TRIED, 4))
    assert seen.value.invariant in INVARIANTS
    print(f"{how}: {seen.value}")
