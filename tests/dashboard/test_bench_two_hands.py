"""Two mechanics at one bike, each with the bench page before them."""

from __future__ import annotations

from pathlib import Path

import bench_book
import pytest
from app_page import Opener, shown
from bench_book import OPEN_JOB, OPEN_TAG
from test_bench_page import bench, choice, last, press

from ledger.bench import drafts
from ledger.book import Book

BEN = drafts.Hand("ben", OPEN_TAG, OPEN_JOB)
RIM = "front_wheel.rim"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A fresh book for the bench."""
    bench_book.bench_book(tmp_path / "book")
    return tmp_path / "book"


def test_a_stale_press_says_what_the_other_found(opened: Opener, path: Path) -> None:
    """The page still lists the rim: its press records nothing, says who found what, and lists the
    rim no more; the next press leaves it out."""
    app = bench(opened, path, step="inspect", item="front_wheel")
    assert "front rim" in shown(app)
    Book.open(path).append([drafts.found(BEN, drafts.new_id(), RIM, "unsafe", fault="cracked")])
    app = press(app, "rest-front_wheel")
    assert (last(path).actor, last(path).data.verdict) == ("ben", "unsafe")
    page = shown(app)
    assert "ben found the front rim unsafe at " in page and "; look again" in page
    assert "front rim: looked at already" in page
    app = press(app, "rest-front_wheel")
    assert last(path).actor == "ada" and RIM not in last(path).data.covers


def test_the_same_finding_is_not_recorded_by_both(opened: Opener, path: Path) -> None:
    """The form stays as it is typed; pressed again after the sentence was read, it is recorded."""
    app = bench(opened, path, step="inspect", item="front_wheel", form="due")
    choice(app, "position").set_value(RIM).run()
    Book.open(path).append([drafts.found(BEN, drafts.new_id(), RIM, "due", fault="worn")])
    app = press(app, "record-found-due")
    assert last(path).actor == "ben"
    assert "ben found the front rim due at " in shown(app)
    assert choice(app, "position").value == RIM
    press(app, "record-found-due")
    assert last(path).actor == "ada"
