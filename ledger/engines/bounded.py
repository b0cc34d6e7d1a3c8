"""How much memory a DuckDB connection takes for itself, and where it lays what does not fit.

DuckDB alone would take most of a machine's memory, and lay what does not fit in whichever folder
the process was started in.
"""

from __future__ import annotations

import contextlib
import errno
import fcntl
import os
import shutil
import tempfile
import time
import weakref
from collections.abc import Callable, Iterator
from pathlib import Path

import duckdb

from ledger.errors import NoRoom

MOST_GIB = 3.0
"""Arrow tables and Python's own come on top of it: an aggregate stays under 4 GB."""
PREFIX = "lockring-"
"""What the names of such folders start with."""
_HELD = "held"
_YOUNG_S = 3600
_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)
_GIB_IN = {"GiB": 1.0, "TiB": 1024.0}


def bound(connection: duckdb.DuckDBPyConnection, owner: object) -> Callable[[], object]:
    """Bound a connection's memory; what does not fit goes to a private folder of its own.

    The folder lies in the system's temporary folder. It is removed when what is given back is
    called, when `owner` is collected, or when the process ends; that of a process that was killed,
    by the next that makes one. Where no folder can be made, what does not fit is refused by DuckDB.
    """
    said = connection.execute("select current_setting('memory_limit')").fetchone()
    if said and _gib(said[0]) > MOST_GIB:
        connection.execute(f"set global memory_limit = '{MOST_GIB}GiB'")
    # Else what a great answer took stays with the process (2.5 GB over ten million events).
    connection.execute("set global allocator_background_threads = true")
    _clear_left()
    try:
        folder, held = _made()
    except OSError:
        connection.execute("set global temp_directory = ''")
        return lambda: None
    quoted = str(folder / "spilled").replace("'", "''")
    connection.execute(f"set global temp_directory = '{quoted}'")
    return weakref.finalize(owner, _remove, folder, held)


@contextlib.contextmanager
def private_folder() -> Iterator[Path]:
    """Give a folder of one's own in the system's temporary one, and remove it afterwards.

    That of a process that was killed is removed by the next that makes one. Raises NoRoom where
    none can be made, or where what is laid in it does not fit.
    """
    try:
        _clear_left()
        folder, held = _made()
    except OSError as error:
        raise _no_room("cannot be written", error) from error
    try:
        yield folder
    except OSError as error:
        if error.errno not in _FULL:
            raise
        raise _no_room("is full", error) from error
    finally:
        _remove(folder, held)


def _no_room(what: str, error: OSError) -> NoRoom:
    try:
        where = f"folder {tempfile.gettempdir()}"
    except OSError:
        where = "folder of this system"
    return NoRoom(
        f"The temporary {where} {what} ({error.strerror or error}), and a book as great as this "
        "is laid there while it is looked through: up to 100 bytes an event. Make room, or name "
        "a folder that has it in TMPDIR."
    )


def _made() -> tuple[Path, int]:
    """Make a folder for its user alone (it holds what a book holds), with a file that is locked.

    The system lets go of the lock when the process ends, however it does.
    """
    folder = Path(tempfile.mkdtemp(prefix=PREFIX))
    try:
        held = os.open(folder / "new", os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600)
        fcntl.flock(held, fcntl.LOCK_EX)
        # whoever sees it under its name sees it locked
        (folder / "new").rename(folder / _HELD)
    except OSError:
        shutil.rmtree(folder, ignore_errors=True)
        raise
    return folder, held


def _remove(folder: Path, held: int) -> None:
    shutil.rmtree(folder, ignore_errors=True)
    os.close(held)


def _clear_left() -> None:
    """Remove the folders of processes that were killed."""
    for folder in Path(tempfile.gettempdir()).glob(f"{PREFIX}*"):
        with contextlib.suppress(OSError):
            if folder.stat().st_uid == os.getuid() and not folder.is_symlink() and _is_left(folder):
                shutil.rmtree(folder, ignore_errors=True)


def _is_left(folder: Path) -> bool:
    """Tell whether nobody holds a folder any more."""
    try:
        held = os.open(folder / _HELD, os.O_RDWR | os.O_NOFOLLOW)
    except FileNotFoundError:
        # being made, or its maker was killed just then; or another program's: left alone
        is_ours = (folder / "new").exists()
        return is_ours and folder.stat().st_mtime < time.time() - _YOUNG_S
    try:
        fcntl.flock(held, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    finally:
        os.close(held)
    return True


def _gib(said: str) -> float:
    """Give how much a setting says, as DuckDB words it (`12.4 GiB`)."""
    figure, _, unit = said.partition(" ")
    return float(figure) * _GIB_IN.get(unit, 0.0)
