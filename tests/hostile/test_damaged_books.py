"""Damaged, cut, foreign and mixed-up files: every command says what is wrong, and none falls over.

The damages are made in a process of its own, so that a library that brings it down is found out.
"""

from __future__ import annotations

import base64
import os
import shutil
import subprocess
import sys
import tracemalloc
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from home_book import home_book
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.book import Book
from ledger.engines.duckdb import Asked, DuckEngine, Row
from ledger.errors import BookDamaged
from ledger.storage.footer import PackedMarks

PARTS = 12
ROUNDS = 70


@pytest.fixture(scope="module")
def source(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a book of a dozen commits, most of which nobody looks at when it is opened."""
    folder = tmp_path_factory.mktemp("whole")
    usual = home_book(folder / "usual")
    told = [usual.reveal(event) for event in usual.events()]
    fields = ("kind", "bike", "job", "actor", "occurred_at", "data")
    drafts = [{of: one[of] for of in fields if one.get(of) is not None} for one in told]
    book = Book.init(folder / "book", shop="quayside", name="Quayside", time_zone="UTC")
    at_once = -(-len(drafts) // PARTS)
    for start in range(0, len(drafts), at_once):
        book.append(drafts[start : start + at_once])
    return folder / "book"


@pytest.mark.parametrize("seed", [1, 2])
def test_no_damage_brings_a_command_down(source: Path, tmp_path: Path, seed: int) -> None:
    """Footers, pages, lengths, whole files, the settings and the register, from a seed."""
    command = [sys.executable, "-m", "tests.hostile.damaged_runs", str(source),
               str(tmp_path / "one"), str(seed), str(ROUNDS)]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, timeout=300)
    last = "\n".join(done.stdout.splitlines()[-3:])
    assert done.returncode == 0, (done.returncode, last, done.stderr[-800:])
    assert "NOT TOLD" not in done.stdout, done.stdout
    assert last.startswith("    exit") or "ended" in last


@settings(max_examples=25, deadline=None)
@given(st.data())
def test_files_in_each_others_place_are_found_by_the_first_question(
    source: Path, tmp_path_factory: pytest.TempPathFactory, data: st.DataObject
) -> None:
    """Whole files under each other's names give no figure over the book."""
    folder = tmp_path_factory.mktemp("mixed") / "book"
    shutil.copytree(source, folder)
    files = sorted((folder / "events").iterdir())[:-4]
    first, second = data.draw(
        st.lists(st.sampled_from(files), min_size=2, max_size=2, unique=True), label="files"
    )
    other = second.read_bytes()
    second.write_bytes(first.read_bytes())
    if data.draw(st.booleans(), label="swapped"):
        first.write_bytes(other)
    book = Book.open(folder)
    with pytest.raises(BookDamaged, match=rf"({first.name}|{second.name}) does not hold"):
        list(all_rows(book))


def all_rows(book: Book) -> Iterator[Row]:
    """Ask anything of the whole book."""
    engine = DuckEngine(book.files)
    return engine.all_bikes("live_events", Asked(datetime.now(UTC), 10**9), {})


def test_a_whole_book_is_asked_as_before(source: Path) -> None:
    """Every event of a bike is told once."""
    book = Book.open(source)
    found = [row["seq"] for row in all_rows(book)]
    assert sorted(found) == [event.seq for event in book.events() if event.bike]


@pytest.mark.parametrize("roots", [None, "0" * 120], ids=["format 1", "format 2"])
def test_a_footer_that_unpacks_without_end_is_damaged(roots: str | None) -> None:
    """No more is unpacked than the commits that the footer itself speaks of."""
    text = base64.b64encode(zlib.compress(bytes(50_000_000), 9)).decode()
    tracemalloc.start()
    with pytest.raises(ValueError, match="longer than it says"):
        PackedMarks(text, roots, 1, 3)
    with pytest.raises(ValueError, match="it says that it holds"):
        PackedMarks(text, roots, 1, 10**9)
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    assert most < 5_000_000


@pytest.mark.parametrize("is_pipe", [True, False])
def test_a_pipe_or_a_device_is_no_file(source: Path, tmp_path: Path, is_pipe: bool) -> None:
    """Neither is waited for, nor read without end."""
    shutil.copytree(source, tmp_path / "book", ignore=shutil.ignore_patterns("derived"))
    file = sorted((tmp_path / "book" / "events").iterdir())[3]
    file.unlink()
    if is_pipe:
        os.mkfifo(file)
    else:
        file.symlink_to("/dev/zero")
    code = "import sys; from ledger.cli import main; sys.argv[0] = 'lockring'; main()"
    for asked in (["bikes"], ["verify", "--quick"], ["faults"]):
        command = [sys.executable, "-c", code, *asked, "--book", str(tmp_path / "book")]
        done = subprocess.run(command, capture_output=True, text=True, timeout=60)
        assert done.returncode == 1, (asked, done.stdout)
        assert "Traceback" not in done.stderr and file.name in done.stdout + done.stderr
