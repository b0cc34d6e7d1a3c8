"""Which books are meant, and what becomes of one that cannot be read."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.book import Book
from ledger.errors import NoBook, WrongUse
from ledger.shops import is_one_book, open_shops, places_of
from tests.shops.many_books import draft, shop_book


@pytest.fixture
def town(tmp_path: Path) -> Path:
    """A folder with two books, and with what is none."""
    for shop in ("pier", "quay"):
        shop_book(tmp_path, shop)
    (tmp_path / "notes").mkdir()
    (tmp_path / "read.me").write_text("no book")
    return tmp_path


def test_books_are_found_by_name_by_folder_and_by_pattern(town: Path) -> None:
    """In the order of their names, each once however often it is meant."""
    both = (town / "pier", town / "quay")
    assert places_of([town]) == both
    assert places_of([town / "*"]) == both
    assert places_of([town / "q*", town / "pier", town / "quay"]) == both
    assert places_of([town / "[!p]*"]) == (town / "quay",)
    assert places_of([town / ".." / town.name / "quay", town / "quay"]) != ()
    assert len(places_of([town / ".." / town.name / "quay", town / "quay"])) == 1


def test_a_book_is_told_from_what_holds_books(town: Path) -> None:
    """A place that is nothing is taken for a book's, so that opening it says so."""
    assert is_one_book(town / "quay")
    assert is_one_book(town / "nothing")
    assert not is_one_book(town)
    assert not is_one_book(town / "q*")


def test_a_folder_whose_name_has_the_signs_of_a_pattern_is_itself(tmp_path: Path) -> None:
    """What is there is meant as it is written."""
    book = Book.init(tmp_path / "quay [old]", shop="quay")
    assert is_one_book(book.path)
    assert places_of([book.path]) == (book.path,)


@pytest.mark.parametrize("name", ["nothing", "notes", "z*"])
def test_a_place_with_no_book_is_named(town: Path, name: str) -> None:
    """Nothing is answered for a place that was mistyped, whatever the others hold."""
    with pytest.raises(NoBook, match=name.replace("*", r"\*")):
        places_of([town / "quay", town / name])


def test_two_books_of_one_shop_are_refused(town: Path) -> None:
    """A bike is (shop, tag): both places are named."""
    Book.init(town / "second", shop="quay")
    with pytest.raises(WrongUse, match=r"quay and .*second are both books of the shop quay"):
        open_shops([town])


def test_a_damaged_book_is_named_and_the_others_answer(town: Path) -> None:
    """Damaged where it says what it is, where its newest file is, or in the middle."""
    for shop in ("hulk", "wreck"):
        shop_book(town, shop, [draft("2026-01-02", "bike_registered", "7K3M9QXA")])
    (town / "hulk" / "book.toml").write_text("format = ")
    newest = max((town / "wreck" / "events").iterdir())
    newest.write_bytes(newest.read_bytes()[:-40])
    shops = open_shops([town])
    assert list(shops.books) == ["pier", "quay"]
    assert [Path(one.place).name for one in shops.failures] == ["hulk", "wreck"]
    assert all(one.why for one in shops.failures)


def test_a_book_that_loses_its_files_later_is_left_out_and_named_once(town: Path) -> None:
    """What fails while it is asked is noted, and asked again it is still out."""
    shop_book(town, "wreck", [draft("2026-01-02", "bike_registered", "7K3M9QXA")])
    shops = open_shops([town])
    for file in (town / "wreck" / "events").iterdir():
        file.write_bytes(b"PAR1 and nothing")
    for _ in range(2):
        assert list(shops.each(lambda book: book.bikes())) == ["pier", "quay"]
    assert [one.shop for one in shops.failures] == ["wreck"]


def test_what_is_wrong_with_the_question_is_raised(town: Path) -> None:
    """Only what is wrong with a book is noted; a mistake in what was asked is the asker's."""
    shops = open_shops([town])

    def ask(book: Book) -> None:
        raise WrongUse("no such thing")

    with pytest.raises(WrongUse, match="no such thing"):
        shops.each(ask)
    assert not shops.failures


@settings(max_examples=10, deadline=None, derandomize=True)
@given(st.sets(st.sampled_from(["a", "b1", "b2", "c", "quay"]), min_size=1), st.data())
def test_however_the_books_are_named_the_same_are_opened(
    tmp_path_factory: pytest.TempPathFactory, names: set[str], data: st.DataObject
) -> None:
    """One by one in any order, as a folder and as a pattern: one book a shop, by name."""
    folder = tmp_path_factory.mktemp("town")
    for name in names:
        shop_book(folder, name)
    order = data.draw(st.permutations(sorted(names)))
    for places in ([folder / name for name in order], [folder], [folder / "*"]):
        assert list(open_shops(places).books) == sorted(names)
