"""What does not fit in an engine's memory goes to a private folder, which is gone afterwards."""

from __future__ import annotations

import errno
import gc
import os
import stat
import subprocess
import sys
import tempfile
from pathlib import Path

import duckdb
import pytest

from ledger.book import Book
from ledger.engines import bounded
from ledger.engines.bounded import private_folder
from ledger.engines.many import ManyEngine
from ledger.errors import NoRoom
from ledger.queries import engine_of, shop_summary
from tests.stored import SHOP


class Owner:
    """Something that holds a connection."""


@pytest.fixture
def temporary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Give the system's temporary folder, made anew."""
    folder = tmp_path / "temporary's"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    return folder


def setting(connection: duckdb.DuckDBPyConnection, name: str) -> str:
    row = connection.execute("select current_setting($name)", {"name": name}).fetchone()
    assert row is not None
    return str(row[0])


def test_what_does_not_fit_is_laid_in_a_private_folder(
    temporary: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A question that needs more memory than there is answers the same."""
    monkeypatch.setattr(bounded, "MOST_GIB", 0.05)
    connection, owner = duckdb.connect(":memory:"), Owner()
    unbound = bounded.bound(connection, owner)
    assert setting(connection, "memory_limit") == "51.1 MiB"
    (folder,) = temporary.iterdir()
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    connection.execute("set threads = 1")
    connection.execute("create table many as select range as place, hash(range) as told "
                       "from range(12_000_000)")  # fmt: skip
    assert any((folder / "spilled").iterdir())
    assert connection.execute("select count(*), max(place) from many").fetchone() == (
        12_000_000, 11_999_999,
    )  # fmt: skip
    connection.close()
    unbound()
    assert not list(temporary.iterdir())


def test_the_folder_goes_with_its_owner(temporary: Path) -> None:
    """An engine that nobody closes leaves nothing behind."""
    connection, owner = duckdb.connect(":memory:"), Owner()
    bounded.bound(connection, owner)
    assert len(list(temporary.iterdir())) == 1
    connection.close()
    del owner
    gc.collect()
    assert not list(temporary.iterdir())


def test_the_folder_of_a_killed_process_goes_with_the_next(temporary: Path) -> None:
    """One that is held stays, and so does what is not ours."""
    killed = """
import duckdb, os, sys, tempfile
tempfile.tempdir = sys.argv[1]
from ledger.engines.bounded import bound
class Owner: pass
owner = Owner()
bound(duckdb.connect(), owner)
os.kill(os.getpid(), 9)
"""
    done = subprocess.run([sys.executable, "-c", killed, str(temporary)], check=False)
    assert done.returncode == -9
    (left,) = temporary.iterdir()
    (temporary / f"{bounded.PREFIX}of-another-program").mkdir()
    connection, owner = duckdb.connect(":memory:"), Owner()
    bounded.bound(connection, owner)
    now = set(temporary.iterdir())
    assert left not in now and len(now) == 2
    unbound = bounded.bound(duckdb.connect(":memory:"), other := Owner())
    assert now < set(temporary.iterdir())
    unbound()
    assert set(temporary.iterdir()) == now
    assert owner and other


def test_less_memory_than_the_bound_stays_as_it_is(temporary: Path) -> None:
    """What a small machine allows is not raised."""
    connection = duckdb.connect(":memory:", config={"memory_limit": "1GiB"})
    bounded.bound(connection, owner := Owner())
    assert setting(connection, "memory_limit") == "1.0 GiB"
    assert owner


def test_without_a_temporary_folder_questions_are_still_answered(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Nothing is laid where the process was started, as DuckDB would by itself."""

    def refused(prefix: str) -> str:
        raise OSError("no room")

    monkeypatch.setattr(tempfile, "mkdtemp", refused)
    connection = duckdb.connect(":memory:")
    unbound = bounded.bound(connection, Owner())
    assert setting(connection, "temp_directory") == ""
    assert connection.execute("select 1").fetchone() == (1,)
    unbound()


def test_engines_bound_themselves(tmp_path: Path, temporary: Path) -> None:
    """A book's engine does at its first question of the whole book; one of several at once."""
    book = Book.init(tmp_path / "book", shop=SHOP)
    engine = engine_of(book)
    assert not list(temporary.iterdir())
    shop_summary(book)
    many = ManyEngine({SHOP: book.files})
    assert len(list(temporary.iterdir())) == 2
    many.close()
    engine.close()
    assert not list(temporary.iterdir())


def test_no_room_to_lay_anything_names_the_temporary_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Neither the output nor the book's own disk is what is full; nothing is left behind."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    with pytest.raises(NoRoom, match=f"{tmp_path} is full .*TMPDIR"), private_folder():
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
    with pytest.raises(OSError, match="else"), private_folder():
        raise OSError(errno.EIO, "something else")
    assert not list(tmp_path.iterdir())
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path / "none"))
    with pytest.raises(NoRoom, match="cannot be written"), private_folder():
        pytest.fail("there is no folder")
