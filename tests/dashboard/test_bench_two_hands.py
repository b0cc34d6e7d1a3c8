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


def test_unsafe_is_not_called_within_limit_in_passing(opened: Opener, path: Path) -> None:
    """Where it stands the press is of the rest; once it is put right the press is a new look."""
    book, hand = Book.open(path), drafts.Hand("ben", OPEN_TAG)
    found = drafts.found(hand, drafts.new_id(), "front_wheel", "unsafe", fault="loose")
    book.append([found])
    app = bench(opened, path, step="inspect", item="front_wheel")
    assert "Front wheel: the unsafe finding stands until" in shown(app)
    assert "Rest of front wheel within limit" in [one.label for one in app.button]
    cure = {"position": "front_wheel", "treatment": "tightened", "puts_right.fault": "loose"}
    book.append([drafts.draft(hand, "treated", drafts.new_id(), cure)])
    app = bench(opened, path, step="inspect", item="front_wheel")
    assert "the unsafe finding stands" not in shown(app)
    label = "Front wheel within limit again, looked at anew"
    assert label in [one.label for one in app.button]
