"""Books of several shops on an object store are found by the prefix that holds them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ledger.book import Book
from ledger.errors import NoBook, WrongUse
from ledger.shops import is_one_book, open_shops, places_of
from tests.shops.many_books import NOW, draft
from tests.storage.s3_proxy import Way, proxy_to
from tests.storage.s3_server import environment, s3_server


@pytest.fixture
def store() -> Iterator[tuple[Way, str]]:
    """The way to a store of its own, and the address of a bucket there."""
    with s3_server() as (told, address), proxy_to(told["AWS_ENDPOINT_URL"]) as way:
        yield way, address


@pytest.fixture
def town(store: tuple[Way, str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """The address of a prefix with two books; no mirrors of them are here yet."""
    way, address = store
    for name, value in environment(way.endpoint).items():
        monkeypatch.setenv(name, value)
    monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / "first"))
    for shop in ("pier", "quay"):
        book = Book.init(f"{address}/town/{shop}", shop=shop, clock=lambda: NOW)
        book.append([draft("2026-01-02", "bike_registered", "7K3M9QXA")], confirm_clock=True)
    monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / "second"))
    return f"{address}/town"


def test_a_prefix_is_a_book_or_holds_books(town: str) -> None:
    """By itself, by a pattern in its last part, and once it is mirrored here, the same."""
    both = (f"{town}/pier", f"{town}/quay")
    for _ in range(2):
        assert places_of([town]) == both
        assert places_of([Path(f"{town}/*")]) == both
        assert places_of([f"{town}/q*"]) == both[1:]
        assert places_of([both[0], f"{town}/"]) == both
        assert is_one_book(both[0])
        assert not is_one_book(town)
        shops = open_shops([town])
        assert shops.each(Book.bikes) == {"pier": ["7K3M9QXA"], "quay": ["7K3M9QXA"]}
    with pytest.raises(NoBook, match="nothing"):
        places_of([f"{town}/nothing"])
    with pytest.raises(WrongUse, match="last part"):
        places_of([f"{town}/*/quay"])


def test_a_store_that_is_down_leaves_the_books_that_are_mirrored(
    town: str, store: tuple[Way, str]
) -> None:
    """One that has a mirror is read there; one that has none is named, and the other answers."""
    assert list(open_shops([f"{town}/pier"]).books) == ["pier"]
    store[0].is_down = True
    shops = open_shops([f"{town}/pier", f"{town}/quay"])
    assert shops.each(Book.bikes) == {"pier": ["7K3M9QXA"]}
    assert [one.place for one in shops.failures] == [f"{town}/quay"]
    assert "does not answer" in shops.failures[0].why
