"""Whatever words are in a book, no page, file or sheet takes them for anything but words."""

from __future__ import annotations

import csv
import io
import json
from html.parser import HTMLParser
from urllib.parse import urlsplit

import pikepdf
import pytest
from app_page import Opener, shown
from home_book import ON_THE_BENCH
from hostile_book import FORMULA, MORE, WORDS, hostile_book

from ledger.book import Book
from ledger.exchange.export import export_book
from ledger.reports import report_of, report_pdf
from ledger.reports.page import page_data

PAGES = ("", "bench", "due", "bikes", "wear", "chains", "faults", "time", "earnings", "quote")


class Elements(HTMLParser):
    """Every element's name, every attribute's name, and where links lead."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.names: set[str] = set()
        self.attributes: set[str] = set()
        self.links: set[str] = set()
        self.count_scripts = 0
        self.feed(page)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element."""
        self.names.add(tag)
        self.count_scripts += tag == "script"
        self.attributes.update(name for name, _ in attrs)
        self.links.update(str(value) for name, value in attrs if name in ("href", "src"))


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Book:
    """Give the book."""
    folder = tmp_path_factory.mktemp("hostile")
    return hostile_book(folder / "book", folder / "source")


def test_the_words_are_in_the_book(book: Book) -> None:
    """Else nothing is tested: every kind of place holds them, opened and in clear."""
    told = [book.reveal(event) for event in book.events()]
    begun = [one.split(" ")[0] for one in (WORDS, *MORE)]
    where = {one["kind"] for one in told if any(words in str(one) for words in begun)}
    assert where >= {"bike_registered", "part_fitted", "job_opened", "noted", "advised"}
    assert book.settings.name == WORDS


@pytest.mark.parametrize("asked", [{}, {"tag": ON_THE_BENCH}, {"find": '"><lkx onx=1>'}])
@pytest.mark.parametrize("page", [*PAGES, "bike"])
def test_no_page_takes_words_for_markup(
    opened: Opener, book: Book, page: str, asked: dict[str, str]
) -> None:
    """No element and no attribute comes of them, and no link leads where they say."""
    app = opened(book.path, page, **asked)
    found = Elements(shown(app))
    assert "lkx" not in found.names and "onx" not in found.attributes
    assert found.count_scripts == (page == "bench"), "the bench has one of its own"
    ways = {urlsplit(link).scheme for link in found.links}
    assert ways <= {"", "mailto", "sms", "tel"}
    assert not {urlsplit(link).netloc for link in found.links} - {""}
    for one in [*app.markdown, *app.caption]:
        assert "<lkx" not in one.value


def test_the_words_are_shown_as_they_are(opened: Opener, book: Book) -> None:
    """Nothing is left out of them either: what was written is read on the bike's page."""
    page = shown(opened(book.path, "bike", tag=ON_THE_BENCH))
    assert "&lt;lkx onx=1&gt;" in page


@pytest.mark.parametrize("clear", [True, False])
def test_no_cell_of_an_export_is_a_formula(book: Book, clear: bool) -> None:
    """What begins as a formula does is quoted, and can be told from what is one."""
    stream = io.BytesIO()
    export_book(book, stream, "csv", clear=clear)
    text = io.StringIO(stream.getvalue().decode("utf-8-sig"), newline="")
    cells = [cell for row in csv.reader(text) for cell in row]
    assert not [cell for cell in cells if cell[:1] in ("=", "+", "@", "\t", "\r")]
    if clear:
        assert any(FORMULA[:10] in cell for cell in cells)


def test_the_riders_page_prints_the_words_as_they_are(book: Book) -> None:
    """No word of the book is a word of the page's own language, and all are printed."""
    made = report_pdf(report_of(book, ON_THE_BENCH))
    with pikepdf.open(io.BytesIO(made)) as pdf:
        assert len(pdf.pages) >= 1
    data = json.dumps(page_data(report_of(book, ON_THE_BENCH)))
    assert "lkx" in data
