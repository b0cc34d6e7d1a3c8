"""Tags at the bench: printed ahead, washed off, joined; and addresses of jobs that are gone."""

from __future__ import annotations

from pathlib import Path

import bench_book
import pytest
from app_page import Opener, shown
from bench_book import OPEN_JOB, OPEN_TAG, TAG
from streamlit.testing.v1 import AppTest
from test_bench_page import bench, field, last, press

from ledger.book import Book
from ledger.errors import LedgerError

NEW = "4W3VQHRB"
PRINTED = "4W3V QHRB"


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """A fresh book for the bench."""
    bench_book.bench_book(tmp_path / "book")
    return tmp_path / "book"


def typed(app: AppTest, key: str, words: str) -> AppTest:
    """Type into the line of a key."""
    return app.text_input(key=key).set_value(words).run()


def labels(app: AppTest) -> list[str]:
    """Give what is written on every press."""
    return [one.label for one in app.button]


def expander(app: AppTest, name: str) -> bool:
    """Say whether a panel is open."""
    return next(one.proto.expanded for one in app.expander if one.label == name)


def test_a_printed_tag_takes_a_new_bike(opened: Opener, path: Path) -> None:
    """Its address says that no bike has it, and offers to enter one under it."""
    app = bench(opened, path, NEW)
    assert f"No bike has the tag {NEW}." in shown(app)
    assert "This is the new tag of another bike" in labels(app)
    app = press(app, "tag-new")
    assert f"A new bike: {PRINTED}" in shown(app)
    app = typed(app, "new-description", "red, one pannier")
    app = press(app, "enter-bike")
    assert last(path, NEW).kind == "bike_registered"
    assert app.query_params["tag"] == NEW
    assert f"Its tag is {PRINTED}." in shown(app)


def test_a_printed_tag_takes_the_place_of_another(opened: Opener, path: Path) -> None:
    """Old and new tag are said before anything is recorded, and after."""
    app = press(bench(opened, path, NEW), "tag-gone")
    app = typed(app, "gone-find", "wicker")
    app = press(app, f"gone-{TAG}")
    assert NEW not in Book.open(path).bikes()
    assert "7K3M 9QXA" in shown(app) and PRINTED in shown(app)
    assert f"7K3M 9QXA is {PRINTED} from now on" in labels(app)
    app = typed(app, "gone-description", "green, basket gone")
    app = press(app, "gone-join")
    book = Book.open(path)
    assert book.aliases()[NEW] == {NEW, TAG}
    assert book.reveal(book.bike_events(NEW)[-1])["data"]["description"] == "green, basket gone"
    assert f"The new tag is {PRINTED}; 7K3M 9QXA is the same bike." in shown(app)


def test_the_plain_bench_takes_a_printed_tag(opened: Opener, path: Path) -> None:
    """New bike: a tag typed as it is printed; what is none, or is taken, is refused in a line."""
    app = press(opened(path, page="bench", who="ada"), "find-new")
    app = typed(app, "new-description", "red")
    for words, said in (("red bike", "is no tag"), ("7K3M 9QXA", "in the book already")):
        app = press(typed(app, "new-tag", words), "enter-bike")
        assert said in shown(app)
    press(typed(app, "new-tag", PRINTED), "enter-bike")
    assert last(path, NEW).kind == "bike_registered"


def test_a_tag_is_found_as_it_is_printed(opened: Opener, path: Path) -> None:
    """With its space: the bike is on the stand; one that no bike has can be put to use."""
    app = opened(path, page="bench", who="ada")
    app = typed(app, "bench_find", PRINTED)
    assert f"No bike has the tag {PRINTED}." in shown(app)
    assert "Enter a bike under this tag" in labels(app)
    app = typed(app, "bench_find", "b3hm 8kxc")
    assert app.query_params["tag"] == OPEN_TAG


def test_tags_of_different_bikes_are_asked_about(opened: Opener, path: Path) -> None:
    """Another make or model is said and asked back; a refusal leaves the panel open."""
    panel, app = "It has another tag too", bench(opened, path, TAG, step="bike")
    assert not expander(app, panel)
    field(app, "tag").set_value(PRINTED).run()
    app = press(app, "join-tags")
    assert f"No bike has the tag {PRINTED}." in shown(app) and expander(app, panel)
    field(app, "tag").set_value("B3HM 8KXC").run()
    app = press(app, "join-tags")
    assert "7K3M 9QXA is Varde Tourer 28, B3HM 8KXC is Osk Runabout" in shown(app)
    assert expander(app, panel) and OPEN_TAG not in Book.open(path).aliases()
    app = press(app, "join-all-the-same")
    assert Book.open(path).aliases()[TAG] == {TAG, OPEN_TAG}
    app = bench(opened, path, TAG, step="bike", job=OPEN_JOB)
    field(app, "tag").set_value("B3HM 8KXC").run()
    app = press(app, "join-tags")
    assert "B3HM 8KXC and 7K3M 9QXA are one bike already." in shown(app)
    assert expander(app, panel)


@pytest.mark.parametrize("job", ["job-1", "NOJOB"])
def test_a_job_that_is_not_open_is_said(opened: Opener, path: Path, job: str) -> None:
    """One line, with the bike and its walk below it."""
    page = shown(bench(opened, path, job=job))
    assert f"Job {job} is not open on this bike any more." in page
    assert "Osk Runabout" in page and "<h1>Distance</h1>" in page


def test_whatever_a_press_meets_is_said_in_a_line(
    opened: Opener, path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A book that cannot be read while a press is done leaves the page and what was typed."""
    app = typed(press(opened(path, page="bench", who="ada"), "find-new"), "new-description", "red")

    def broken(_: Book) -> str:
        raise LedgerError("A file of the book is missing.")

    monkeypatch.setattr(Book, "new_tag", broken)
    app = press(app, "enter-bike")
    assert "A file of the book is missing." in shown(app)
    assert app.text_input(key="new-description").value == "red"
