"""Every call to the operating system that a book's files need, in one place.

A simulated disk with the same functions can stand in for this one.
"""

from __future__ import annotations

import ctypes
import errno
import os
import stat
import time
from pathlib import Path
from typing import BinaryIO

_AT_FDCWD = -100
_RENAME_NOREPLACE = 1


def _may_be_read(entry: os.DirEntry[str]) -> bool:
    """Say whether what stands there ends: a pipe or a device may not, nor a link to one."""
    try:
        if entry.is_file(follow_symlinks=False):
            return True
        mode = entry.stat().st_mode
    except OSError:
        return True  # whoever reads it is told what is wrong with it
    return stat.S_ISREG(mode) or stat.S_ISDIR(mode)


def _opened(path: Path) -> BinaryIO:
    """Open a file to read; a pipe or a device, which may never end, is none."""
    descriptor = os.open(path, os.O_RDONLY | os.O_NONBLOCK)
    if not stat.S_ISREG(os.fstat(descriptor).st_mode):
        os.close(descriptor)
        raise OSError(errno.EINVAL, "this is no file", str(path))
    return os.fdopen(descriptor, "rb")


class Disk:
    """The real disk. Each function is one call; OSError is passed on as it comes."""

    def names(self, folder: Path) -> list[str]:
        """Give the names of everything in a folder but pipes, devices and the like."""
        with os.scandir(folder) as entries:
            return [entry.name for entry in entries if _may_be_read(entry)]

    def changed_at(self, folder: Path) -> tuple[int, int]:
        """Give when names in a folder last came or went, and now; in ns of one clock.

        It is the time of its last change of any kind, which nobody can set.
        """
        return folder.stat().st_ctime_ns, time.time_ns()

    def read(self, path: Path) -> bytes:
        """Give a whole file."""
        with _opened(path) as file:
            return file.read()

    def read_end(self, path: Path, size: int) -> bytes:
        """Give the last bytes of a file: `size` of them, or all there are."""
        with _opened(path) as file:
            file.seek(max(0, os.fstat(file.fileno()).st_size - size))
            return file.read()

    def modified_at(self, path: Path) -> float:
        """Give when a file was last written, by the clock of its disk: seconds since 1970."""
        return path.stat().st_mtime

    def create(self, path: Path) -> int:
        """Give a descriptor of a new file, open for writing; FileExistsError if it is there."""
        return os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, 0o644)

    def write(self, descriptor: int, content: memoryview) -> int:
        """Write to a file; give how many bytes went in, which may be fewer."""
        return os.write(descriptor, content)

    def fsync(self, descriptor: int) -> None:
        """Return once the file, or folder, is on the disk itself."""
        os.fsync(descriptor)

    def close(self, descriptor: int) -> None:
        """Close a descriptor."""
        os.close(descriptor)

    def open_folder(self, folder: Path) -> int:
        """Give a descriptor of a folder, to fsync it."""
        return os.open(folder, os.O_RDONLY)

    def link(self, source: Path, target: Path) -> None:
        """Give a file a second name; FileExistsError if that name is taken."""
        os.link(source, target)

    def rename_exclusive(self, source: Path, target: Path) -> None:
        """Rename a file; FileExistsError if the new name is taken.

        Linux's renameat2 with RENAME_NOREPLACE: where there is none, OSError with ENOSYS.
        """
        function = getattr(ctypes.CDLL(None, use_errno=True), "renameat2", None)
        if function is None:
            raise OSError(errno.ENOSYS, "no exclusive rename here", str(target))
        names = (_AT_FDCWD, os.fsencode(source), _AT_FDCWD, os.fsencode(target))
        if function(*names, _RENAME_NOREPLACE) != 0:
            number = ctypes.get_errno()
            raise OSError(number, os.strerror(number), str(target))

    def rename(self, source: Path, target: Path) -> None:
        """Rename a file, in place of one that has the new name."""
        source.replace(target)

    def unlink(self, path: Path) -> None:
        """Remove a name."""
        path.unlink()
