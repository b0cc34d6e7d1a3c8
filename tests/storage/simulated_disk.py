"""A disk in memory that does what a real one may do at its worst, and processes that share it.

The model of the file system, for one folder of files:

- What was written to a file and not fsynced may, when the power fails, be there, be missing from
  some byte on, or read as zeros, each write on its own.
- A name given or taken away, and not followed by an fsync of the folder, may have happened or not
  after a power failure, each name on its own: names have no order among them.
- A failed fsync may drop what it should have written: it stays readable, is lost when the power
  fails, and the next fsync says yes. Only who had the file or folder open at the time is told.
  A folder is written as a whole: a name given or taken later makes all of it unwritten again.
- A listing takes time: what comes or goes meanwhile may be in it or not.
- Any call may fail: no room, no answer, a short write, an answer lost after the work was done, a
  write that went wrong and did not say so.

Every process runs in a greenlet of its own and stops before each call; a scheduler that draws from
a seeded generator says who goes on, who is killed, and when the power fails.
"""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

import greenlet

from ledger.storage.disk import Disk

FOLDER = Path("/events")
DAY = 86_400.0


class Killed(BaseException):
    """The process is no more: nothing it does after this has any effect."""


@dataclass
class Written:
    """One write to a file, and what became of it."""

    content: bytes
    is_durable: bool = False
    is_dropped: bool = False


@dataclass
class Inode:
    """A file without its names."""

    writes: list[Written] = field(default_factory=list)
    modified_at: float = 0.0

    def content(self) -> bytes:
        return b"".join(one.content for one in self.writes)

    def survive(self, chance: Random) -> None:
        """Become what is left of it after a power failure."""
        kept: list[Written] = []
        for one in self.writes:
            content, is_end = _after_failure(one, chance)
            kept.append(Written(content, is_durable=True))
            if is_end:
                break
        self.writes = kept


def _after_failure(one: Written, chance: Random) -> tuple[bytes, bool]:
    """Give what is left of a write, and whether the file ends there."""
    if one.is_durable:
        return one.content, False
    fate = chance.choice(("kept", "zeros", "torn", "torn and zeros", "lost"))
    if fate == "lost" or one.is_dropped:
        return b"", True
    if fate == "kept":
        return one.content, False
    if fate == "zeros":
        return bytes(len(one.content)), False
    at = chance.randrange(len(one.content) + 1)
    if fate == "torn":
        return one.content[:at], True
    return one.content[:at] + bytes(len(one.content) - at), False


@dataclass(frozen=True)
class Faults:
    """How often calls go wrong, each as a share of 1."""

    fails: float = 0.0
    """Any call: the error of a full, closed or failing disk."""
    loses_reply: float = 0.0
    """Naming a file: done, and an error told."""
    drops: float = 0.0
    """An fsync that fails and drops what it should have written."""
    writes_short: float = 0.0
    spoils: float = 0.0
    """A write of which a byte goes wrong, unsaid."""


NO_FAULTS = Faults()


@dataclass
class _Opened:
    inode: Inode | None
    """None for the folder."""
    failures_seen: int


class FileSystem:
    """One folder, as the system shows it and as the disk has it."""

    def __init__(self, chance: Random, *, has_links: bool = True) -> None:
        self.chance = chance
        self.has_links = has_links
        self.faults = NO_FAULTS
        self.now = 1_772_442_000.0
        self.names: dict[str, Inode] = {}
        self.durable: dict[str, Inode] = {}
        self.pending: dict[str, list[Inode | None]] = {}
        self.is_dirty = False
        self.count_failures = 0

    def name(self, name: str, inode: Inode | None) -> None:
        """Give a name to a file, or take it away (None)."""
        if inode is None:
            del self.names[name]
        else:
            self.names[name] = inode
        self.pending.setdefault(name, []).append(inode)
        self.is_dirty = True

    def fsync_folder(self) -> None:
        if self.is_dirty:
            self.durable, self.pending, self.is_dirty = dict(self.names), {}, False

    def lose_power(self) -> None:
        """Become what a power failure leaves: every name on its own, every write on its own."""
        for name, values in self.pending.items():
            inode = self.chance.choice([self.durable.get(name), *values])
            if inode is None:
                self.durable.pop(name, None)
            else:
                self.durable[name] = inode
        self.names, self.pending, self.is_dirty = dict(self.durable), {}, False
        for inode in {id(one): one for one in self.names.values()}.values():
            inode.survive(self.chance)


class SimulatedDisk(Disk):
    """A process's way to the file system: each call stops first, and may fail."""

    def __init__(
        self,
        files: FileSystem,
        pause: Callable[[str], None],
        *,
        may_spoil: bool = False,
        before_unlink: Callable[[str], None] = lambda name: None,
    ) -> None:
        self._files = files
        self._before_unlink = before_unlink
        self._pause = pause
        self._may_spoil = may_spoil
        self._opened: dict[int, _Opened] = {}

    def _start(self, call: str, *errors: int) -> None:
        self._pause(call)
        if errors and self._happens(self._files.faults.fails):
            number = self._files.chance.choice(errors)
            raise OSError(number, os.strerror(number))

    def _happens(self, share: float) -> bool:
        return share > 0 and self._files.chance.random() < share

    def _inode(self, path: Path) -> Inode:
        try:
            return self._files.names[path.name]
        except KeyError:
            raise FileNotFoundError(errno.ENOENT, os.strerror(errno.ENOENT), str(path)) from None

    def _open(self, inode: Inode | None) -> int:
        descriptor = len(self._opened) + 3
        self._opened[descriptor] = _Opened(inode, self._files.count_failures)
        return descriptor

    def names(self, folder: Path) -> list[str]:
        self._start("names", errno.EIO)
        before = dict(self._files.names)
        self._pause("names, still")
        now = self._files.names
        sure, unsure = before.keys() & now.keys(), before.keys() ^ now.keys()
        return [
            *sorted(sure),
            *(name for name in sorted(unsure) if self._files.chance.random() < 0.5),
        ]

    def changed_at(self, folder: Path) -> tuple[int, int]:
        return 0, 0  # never settled: every look is a listing of its own

    def read(self, path: Path) -> bytes:
        self._start("read", errno.EIO)
        return self._inode(path).content()

    def read_end(self, path: Path, size: int) -> bytes:
        self._start("read end", errno.EIO)
        return self._inode(path).content()[-size:]

    def modified_at(self, path: Path) -> float:
        self._start("modified at")
        return self._inode(path).modified_at

    def create(self, path: Path) -> int:
        self._start("create", errno.EACCES, errno.ENOSPC, errno.EROFS)
        if path.name in self._files.names:
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
        inode = Inode(modified_at=self._files.now)
        self._files.name(path.name, inode)
        return self._open(inode)

    def write(self, descriptor: int, content: memoryview) -> int:
        self._start("write", errno.ENOSPC, errno.EDQUOT, errno.EIO)
        inode = self._opened[descriptor].inode
        assert inode is not None
        taken = bytes(content)
        if len(taken) > 1 and self._happens(self._files.faults.writes_short):
            taken = taken[: self._files.chance.randrange(1, len(taken))]
        spoilt = bytearray(taken)
        if self._may_spoil and self._happens(self._files.faults.spoils):
            spoilt[self._files.chance.randrange(len(spoilt))] ^= 1
        inode.writes.append(Written(bytes(spoilt)))
        inode.modified_at = self._files.now
        return len(taken)

    def fsync(self, descriptor: int) -> None:
        self._start("fsync")
        opened, files = self._opened[descriptor], self._files
        if opened.inode is None and opened.failures_seen < files.count_failures:
            opened.failures_seen = files.count_failures
            raise OSError(errno.EIO, "an earlier write of the folder failed")
        if self._happens(files.faults.drops):
            self._drop(opened)
            raise OSError(errno.EIO, os.strerror(errno.EIO))
        if opened.inode is None:
            files.fsync_folder()
        else:
            for one in opened.inode.writes:
                one.is_durable = not one.is_dropped

    def _drop(self, opened: _Opened) -> None:
        if opened.inode is None:
            self._files.is_dirty = False
            self._files.count_failures += 1
            opened.failures_seen = self._files.count_failures
            return
        for one in opened.inode.writes:
            one.is_dropped = one.is_dropped or not one.is_durable

    def close(self, descriptor: int) -> None:
        self._pause("close")
        self._opened[descriptor].failures_seen = -1

    def open_folder(self, folder: Path) -> int:
        self._start("open folder", errno.EIO, errno.EACCES)
        return self._open(None)

    def link(self, source: Path, target: Path) -> None:
        self._start(_naming(target))
        if not self._files.has_links:
            raise OSError(errno.EPERM, os.strerror(errno.EPERM))
        self._give(source, target)

    def rename_exclusive(self, source: Path, target: Path) -> None:
        self._start(_naming(target))
        self._give(source, target)
        self._files.name(source.name, None)

    def _give(self, source: Path, target: Path) -> None:
        self._fail_to_name()
        inode = self._inode(source)
        if target.name in self._files.names:
            raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(target))
        self._files.name(target.name, inode)
        if self._happens(self._files.faults.loses_reply):
            raise TimeoutError(errno.ETIMEDOUT, os.strerror(errno.ETIMEDOUT), str(target))

    def _fail_to_name(self) -> None:
        if self._happens(self._files.faults.fails):
            raise OSError(errno.EIO, os.strerror(errno.EIO))

    def unlink(self, path: Path) -> None:
        self._start("unlink", errno.EIO)
        self._inode(path)
        self._before_unlink(path.name)
        self._files.name(path.name, None)


def _naming(target: Path) -> str:
    return "name a file" if target.name.startswith(".") else "name a file of the book"


class Process:
    """Something that runs until it ends, is killed, or the power fails."""

    def __init__(self, name: str, work: Callable[[Process], None]) -> None:
        self.name = name
        self.is_over = False
        self.failure: BaseException | None = None
        self.sleeps_until = 0
        """The step of the scheduler at which it may go on."""
        self.call = ""
        """What it is about to do."""
        self._hub = greenlet.getcurrent()
        self._is_killed = False
        self._work = work
        self._greenlet = greenlet.greenlet(self._run)

    def _run(self) -> None:
        try:
            self._work(self)
        except Killed:
            pass
        except BaseException as error:
            self.failure = error
        self.is_over = True

    def pause(self, call: str = "") -> None:
        """Stop here until the scheduler says go on; raises Killed from then on, if killed."""
        if self._is_killed:
            raise Killed
        self.call = call
        self._hub.switch()
        if self._is_killed:
            raise Killed

    def go_on(self) -> None:
        """Run to the next call to the disk."""
        self._greenlet.switch()

    def kill(self) -> None:
        """End it where it stands."""
        self._is_killed = True
        if self._greenlet:
            self._greenlet.switch()
        self.is_over = True


class Clock:
    """Stands for the module `time` in what is simulated: to sleep is to let others go on."""

    def __init__(self, process: Callable[[], Process]) -> None:
        self._process = process

    def sleep(self, seconds: float) -> None:
        self._process().pause("sleep")

    def __getattr__(self, name: str) -> Any:
        raise AttributeError(f"time.{name} is not simulated")
