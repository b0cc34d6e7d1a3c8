"""The pages that say whom to call name nobody who did not agree, or was forgotten."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest
import worn_book
from app_page import Opener, shown
from worn_book import AS_AT

from ledger.book import Book
from ledger.consent import note_consent
from ledger.forgetting import forget, what_is_held

NAME, EMAIL = "Tilde Moen", "tilde"


@pytest.fixture
def ten(tmp_path: Path) -> Path:
    """A book of ten bikes, one rider of which agreed to be called."""
    worn_book.ten_bikes_book(tmp_path / "book")
    return tmp_path / "book"


def pages(book: Path, opened: Opener) -> str:
    """Give every page that says whom to call, and the first page."""
    asked = (("due", {"as_at": AS_AT}), ("chains", {"as_at": AS_AT}), ("", {}))
    return "\n".join(shown(opened(book, page=page, **more)) for page, more in asked)


@pytest.mark.parametrize("ending", ["withdrawn", "forgotten"])
def test_who_took_it_back_or_was_forgotten_is_on_no_page(
    ten: Path, opened: Opener, ending: str
) -> None:
    """Neither name nor contact nor message, from the next look on."""
    before = pages(ten, opened)
    assert NAME in before and EMAIL in before and "<textarea" in before
    book = Book.open(ten)
    if ending == "withdrawn":
        note_consent(book, "r-1", may_contact=False, since=datetime.now(UTC))
    else:
        forget(book, what_is_held(book, "r-1"))
    after = pages(ten, opened)
    assert "<textarea" not in after and EMAIL not in after and NAME not in after


def test_a_running_server_shows_a_forgotten_riders_words_no_longer(
    ten: Path, opened: Opener
) -> None:
    """The bike's page goes on, with its text said to be forgotten."""
    book = Book.open(ten)
    (tag,) = what_is_held(book, "r-1").bikes
    note = {"position": "fork", "text": "Knocks on cobbles"}
    noted = {"kind": "noted", "bike": tag, "actor": "m1", "data": note}
    book.append([noted], confirm_clock=True)
    app = opened(ten, page="bike", tag=tag)
    assert "Knocks on cobbles" in shown(app)
    forget(book, what_is_held(book, "r-1"))
    page = shown(app.run())
    assert "Knocks on cobbles" not in page and NAME not in page and tag in page
