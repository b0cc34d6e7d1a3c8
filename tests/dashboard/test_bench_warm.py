"""What the server loads when it starts: nothing is written, and first presses find it there."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path
from threading import Event

from bench_book import TAG, bench_book
from small_book import empty_book

from dashboard import bench_warm, views
from ledger.bench import finding, reading
from ledger.bench.drafts import new_id
from ledger.storage import reading as stored

VIEWS = Path(views.__file__).parent


def test_warming_writes_nothing_and_spares_the_first_search(tmp_path, monkeypatch):
    """After it the book is as it was, and a search reads nothing of the book again."""
    book = bench_book(tmp_path / "book")
    before, files = book.head, sorted(tmp_path.rglob("*"))
    bench_warm.warm(book)
    assert (book.head, sorted(tmp_path.rglob("*"))) == (before, files)

    def read_again(*given: object) -> None:
        raise AssertionError("the bikes were read a second time")

    monkeypatch.setattr(finding, "_read_all", read_again)
    assert TAG in {one.tag for one in finding.look_for(book, TAG[:5])}


def test_warming_reads_what_a_great_file_names_and_the_ids(tmp_path, monkeypatch):
    """The first job that is opened after it neither reads a great file through nor its ids."""
    monkeypatch.setattr(stored, "_SMALL", 1)
    book = bench_book(tmp_path / "book")
    bench_warm.warm(book)
    great = [file for file in book._reader._files.values() if file.names is None]
    assert great
    assert all(file.named is not None for file in great)
    read: list[object] = []
    monkeypatch.setattr(stored, "opened", read.append)
    assert book.find([new_id()]) == {}
    assert read == []


def test_a_book_without_bikes_is_not_asked_for_any(tmp_path, monkeypatch):
    """A new book has nothing to be made ready."""
    monkeypatch.setattr(reading, "scene_of", None)
    bench_warm.warm(empty_book(tmp_path / "book"))


def test_a_book_that_cannot_be_read_is_for_the_page_to_tell(tmp_path, monkeypatch, capfd):
    """Where there is no book the thread ends without a word."""
    monkeypatch.setattr(sys, "argv", ["serve", str(Path(tmp_path) / "nowhere")])
    monkeypatch.setattr(bench_warm, "FIRST_PAGE_SECONDS", 0.01)
    thread = bench_warm.begin()
    thread.join(60)
    assert not thread.is_alive()
    told = capfd.readouterr()
    assert "Traceback" not in told.out + told.err


def test_every_pages_code_is_there_before_the_server_answers():
    """Loading leaves no page to be loaded by whoever opens it first."""
    script = (
        "import sys; from dashboard import bench_warm; bench_warm.load();"
        "print(*sorted(name for name in sys.modules if name.startswith('dashboard.views.')))"
    )
    started = [sys.executable, "-c", script]
    told = subprocess.run(started, capture_output=True, text=True, check=True)
    pages = {f"dashboard.views.{one.stem}" for one in VIEWS.glob("*.py") if one.stem != "__init__"}
    assert pages <= set(told.stdout.split())


def test_warming_lets_a_first_page_go_before(tmp_path, monkeypatch):
    """Nothing is asked of the book until a page was drawn, or none was opened for a while."""
    book, asked, first = bench_book(tmp_path / "book"), Event(), Event()
    monkeypatch.setattr(bench_warm, "first_drawn", first)
    monkeypatch.setattr(bench_warm, "FIRST_PAGE_SECONDS", 60.0)
    monkeypatch.setattr(bench_warm, "warm", lambda _book: asked.set())
    monkeypatch.setattr(sys, "argv", ["serve", str(book.path)])
    thread = bench_warm.begin()
    assert not asked.wait(0.3)
    first.set()
    thread.join(60)
    assert asked.is_set()
