"""Half-typed forms: kept, private, and gone when they are confirmed."""

from __future__ import annotations

import signal
import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from ledger.book import Book
from ledger.errors import LedgerError
from ledger.unsent import FormKey, Unsent

KEY = FormKey("mia", "7K3M9QXA", "J1", "booking")
WORDS = {"complaint": "Creaks under load, says Inge", "id": "018f22e2-79b0-7cc3-98c4-1", "n": 3}


@pytest.fixture
def book(tmp_path: Path) -> Book:
    return Book.init(tmp_path / "book", shop="quay")


def unsent_of(book: Book) -> Unsent:
    return Unsent(book.path / "private.sqlite", book.keys)


def test_a_form_is_given_back_as_it_was_left(book: Book) -> None:
    """The last that was typed counts; another step, job or person has its own."""
    unsent = unsent_of(book)
    assert unsent.get(KEY) is None
    unsent.put(KEY, {"complaint": "Cre"})
    unsent.put(KEY, WORDS, rider="r-1")
    other = FormKey("tom", "7K3M9QXA", "J1", "booking")
    unsent.put(other, {"complaint": "mine"})
    kept = unsent_of(book).get(KEY)
    assert kept is not None and kept.values == WORDS and kept.key == KEY
    assert [one.key for one in unsent.of("mia")] == [KEY]
    unsent.drop(KEY)
    assert unsent.get(KEY) is None and unsent.get(other) is not None
    unsent.drop_job("7K3M9QXA", "J1")
    assert unsent.get(other) is None


def test_forms_are_listed_newest_first(book: Book) -> None:
    """What was typed last stands on top, whatever its bike."""
    unsent = unsent_of(book)
    for step in ("rider", "booking", "distance"):
        unsent.put(FormKey("mia", "", "", step), {"step": step})
    unsent.put(FormKey("mia", "", "", "rider"), {"step": "rider"})
    assert [one.key.step for one in unsent.of("mia")] == ["rider", "distance", "booking"]


def test_nobody_else_can_read_the_file(book: Book) -> None:
    """Its mode is 0600 from the start, and no word of it stands in the clear on disk."""
    unsent_of(book).put(KEY, WORDS, rider="r-1")
    path = book.path / "private.sqlite"
    assert stat.S_IMODE(path.stat().st_mode) == 0o600
    held = b"".join(one.read_bytes() for one in book.path.glob("private.sqlite*"))
    assert b"Creaks" not in held and b"Inge" not in held and b"complaint" not in held


def test_a_forgotten_riders_form_is_gone(book: Book) -> None:
    """Without the key what was typed about somebody is noise."""
    unsent_of(book).put(KEY, WORDS, rider="r-1")
    with sqlite3.connect(book.path / "riders.sqlite") as register:
        register.execute("delete from keys where rider = 'r-1'")
    anew = unsent_of(Book.open(book.path))
    assert anew.get(KEY) is None and anew.of("mia") == []


def test_a_row_put_elsewhere_opens_nothing(book: Book) -> None:
    """What is sealed for one form is not given out as another's."""
    unsent_of(book).put(KEY, WORDS)
    with sqlite3.connect(book.path / "private.sqlite") as private:
        private.execute("update unsent set who = 'tom'")
    assert unsent_of(book).get(FormKey("tom", *("7K3M9QXA", "J1", "booking"))) is None


def test_a_form_without_end_is_refused(book: Book) -> None:
    """A page that sends megabytes is told so, and what was kept before stays."""
    unsent = unsent_of(book)
    unsent.put(KEY, {"complaint": "short"})
    with pytest.raises(LedgerError, match="Shorten"):
        unsent.put(KEY, {"complaint": "x" * 300_000})
    kept = unsent.get(KEY)
    assert kept is not None and kept.values == {"complaint": "short"}


def test_other_tables_of_the_file_are_left_alone(book: Book) -> None:
    """Who may sign in is kept in the same file."""
    with sqlite3.connect(book.path / "private.sqlite") as private:
        private.execute("create table people (who text)")
        private.execute("insert into people values ('mia')")
    unsent_of(book).put(KEY, WORDS)
    with sqlite3.connect(book.path / "private.sqlite") as private:
        assert private.execute("select * from people").fetchall() == [("mia",)]


KILLED = """
import os, signal, sys
from ledger.book import Book
from ledger.unsent import FormKey, Unsent
book = Book.open(sys.argv[1])
unsent = Unsent(book.path / "private.sqlite", book.keys)
for number in range(1000):
    unsent.put(FormKey("mia", "7K3M9QXA", "J1", "booking"), {"number": number})
    print(number, flush=True)
    if number == 7:
        os.kill(os.getpid(), signal.SIGKILL)
"""


def test_what_was_put_survives_a_kill(book: Book) -> None:
    """The server is killed right after it said that a form is kept: it is kept."""
    ended = subprocess.run(
        [sys.executable, "-c", KILLED, str(book.path)], capture_output=True, text=True, check=False
    )
    assert ended.returncode == -signal.SIGKILL, ended.stderr
    said = int(ended.stdout.split()[-1])
    kept = unsent_of(Book.open(book.path)).get(KEY)
    assert kept is not None and kept.values == {"number": said}
