"""Killed in the middle: the backup that stood before still stands, and no book has half a name."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from random import Random

import pytest

from ledger.book import Book
from tests.backup.kept_book import NONE, back_up, bring_back, photograph, problems, ride, told

Ask = Callable[[str], str]


@contextmanager
def dying(book: Path, place: Path, target: Path) -> Iterator[Ask]:
    """Give what has a backup or a restore done, and killed before a call to the disk."""
    command = [sys.executable, "-m", "tests.backup.dying", str(book), str(place), str(target)]
    with subprocess.Popen(
        command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as process:
        assert process.stdin is not None and process.stdout is not None
        stdin, stdout = process.stdin, process.stdout

        def ask(line: str) -> str:
            stdin.write(f"{line}\n")
            stdin.flush()
            return stdout.readline().strip()

        yield ask
        stdin.close()


@pytest.mark.parametrize("seed", range(2))
def test_a_killed_backup_leaves_a_whole_one(book, tmp_path, seed):
    """At random calls to the disk, over commits, photos and merged files: always the book as it
    was at the last backup that ended, or at this one; and the next one ends well."""
    chance = Random(seed)
    place = tmp_path / "kept"
    back_up(book, place)
    stood = told(book)
    killed = 0
    with dying(book.path, place, tmp_path / "unused") as ask:
        for turn in range(5):
            ride(book, chance.randrange(1, 7))
            if chance.random() < 0.4:
                photograph(book, f"rgb({40 * turn}, 10, 10)")
            if chance.random() < 0.6:
                book.compact(grace=NONE)
            now = told(book)
            said = ask(f"backup {chance.randrange(1, 60)}")
            killed += said == "killed"
            back = bring_back(place, tmp_path / f"again-{turn}")
            assert (back.damages, back.quarantine) == ([], None)
            assert back.book is not None
            was = told(Book.open(back.book))
            assert was in (stood, now) and (said == "killed" or was == now)
            stood = was
        assert killed >= 2
        assert ask("backup 0").isdigit()
    back = bring_back(place, tmp_path / "last")
    assert back.book is not None and told(Book.open(back.book)) == told(book)
    assert problems(back.book) == []


def test_a_first_backup_that_is_killed_is_not_taken_for_one(book, tmp_path):
    """What is there by then is told as never ended; the next backup ends it."""
    ride(book, 4)
    with dying(book.path, tmp_path / "kept", tmp_path / "unused") as ask:
        assert ask("backup 30") == "killed"
        back = bring_back(tmp_path / "kept", tmp_path / "again")
        assert back.book is None and "never ended" in back.damages[0].detail
        assert ask("backup 0").isdigit()
    again = bring_back(tmp_path / "kept", tmp_path / "third")
    assert again.damages == [] and again.root == book.head.root


def test_a_killed_restore_gives_no_name_and_leaves_nothing_for_long(book, tmp_path):
    """Before every call to the disk: no book, or the whole book; what is left goes next time."""
    ride(book, 3)
    photograph(book)
    back_up(book, tmp_path / "kept")
    target = tmp_path / "again"
    with dying(book.path, tmp_path / "kept", target) as ask:
        total = int(ask("restore 0"))
        assert problems(target) == []
        target.rename(tmp_path / "whole")
        for number in sorted(Random(1).sample(range(1, total + 1), 7)):
            assert ask(f"restore {number}") == "killed"
            if target.exists():
                assert told(Book.open(target)) == told(book)
                target.rename(tmp_path / f"whole-{number}")
    left = [path.name for path in tmp_path.iterdir() if path.name.startswith(".again")]
    assert left
    assert bring_back(tmp_path / "kept", target).damages == []
    assert [path.name for path in tmp_path.iterdir() if path.name.startswith(".again")] == []
