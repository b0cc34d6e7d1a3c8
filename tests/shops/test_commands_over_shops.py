"""The commands over several books: found, asked, and what they say of one that is damaged."""

from __future__ import annotations

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from ledger.book import Book
from tests.shops.many_books import draft, shop_book

GULL, TERN, KNOT = "7K3M9QXA", "2B4D6F8H", "8N4P2RYB"
Run = Callable[..., tuple[int, str, str]]
KEEL = {"make": "Keel", "model": "Keel 9"}


@pytest.fixture
def town(tmp_path: Path, lockring: Run) -> Path:
    """Two shops in `books`: GULL of quay is TERN of pier; both have a KNOT of their own."""
    km = {"value": "100", "unit": "km"}
    quay = shop_book(tmp_path / "books", "quay", [
        draft("2026-01-02", "bike_registered", GULL, make="Tidemark", model="Gull"),
        draft("2026-01-02", "rider_changed", GULL, rider="r1"),
        draft("2026-01-02", "distance_read", GULL, odometer=km),
        draft("2026-01-02", "part_fitted", GULL, position="chain", part="c1", batch="B1", **KEEL),
        draft("2026-01-03", "bike_registered", KNOT),
        draft("2026-01-03", "part_fitted", KNOT, position="chain", part="c2", batch="B1", **KEEL),
    ])  # fmt: skip
    pier = shop_book(tmp_path / "books", "pier", [
        draft("2026-02-02", "bike_registered", TERN),
        draft("2026-02-02", "distance_read", TERN, odometer={"value": "700", "unit": "km"}),
        draft("2026-02-03", "part_fitted", TERN, position="cassette", part="k1", model="Sprat"),
        draft("2026-02-04", "bike_registered", KNOT),
        draft("2026-02-04", "part_fitted", KNOT, position="chain", part="c1", batch="b1"),
        draft("2026-02-05", "part_removed", KNOT, position="chain", part="c1", reason="recall"),
    ])  # fmt: skip
    ends = [{"shop": "quay", "bike": GULL}, {"bike": TERN}]
    pier.append([draft("2026-02-06", "bike_linked", first=ends[0], second=ends[1])])
    assert quay.head.size == 6
    return tmp_path / "books"


WAYS = (
    ["--book", "books"],
    ["--book", "books/*"],
    ["--book", "books/pier", "--book", "books/quay"],
)


@pytest.mark.parametrize("ways", WAYS)
def test_a_bike_of_two_shops_has_one_state(town: Path, lockring: Run, ways: list[str]) -> None:
    """Whichever way the books are named and whichever tag is asked for."""
    code, out, err = lockring("state", TERN, "--json", *ways)
    assert (code, err) == (0, "")
    found: dict[str, Any] = json.loads(out)
    assert found["bikes"] == [{"shop": "pier", "bike": TERN}, {"shop": "quay", "bike": GULL}]
    assert found["as_known"] == {"pier": 7, "quay": 6}
    assert [(one["part"], one["distance_since_fitted_km"]) for one in found["fitted"]] == [
        ("pier/k1", 0), ("quay/c1", 600),
    ]  # fmt: skip
    code, out, _ = lockring("state", f"quay/{GULL}", *ways)
    assert code == 0
    assert f"One bike: pier/{TERN}, quay/{GULL}" in out
    assert "Rider: r1 of quay" in out


def test_one_history_says_of_each_entry_whose_it_is(town: Path, lockring: Run) -> None:
    """In order of time, with the shop; as known before, of the one shop alone."""
    code, out, err = lockring("history", GULL, "--book", "books", "--json")
    assert (code, err) == (0, "")
    assert [(one["shop"], one["seq"]) for one in json.loads(out)] == [
        ("quay", 1), ("quay", 2), ("quay", 3), ("quay", 4), ("pier", 1), ("pier", 2), ("pier", 3),
    ]  # fmt: skip
    code, out, _ = lockring("history", GULL, "--book", "books", "--system", "drivetrain")
    assert code == 0
    assert [line.split()[0] for line in out.splitlines()[3:5]] == ["quay", "pier"]
    code, _, err = lockring("history", GULL, "--book", "books", "--system", "wings")
    assert code == 2
    assert "--system is one of" in err


def test_bikes_of_all_shops_are_listed_with_what_else_they_are(town: Path, lockring: Run) -> None:
    """Each as its own shop knows it."""
    code, out, err = lockring("bikes", "--book", "books/*", "--json")
    assert (code, err) == (0, "")
    rows = {(row["shop"], row["bike"]): row for row in json.loads(out)}
    assert set(rows) == {("quay", GULL), ("quay", KNOT), ("pier", TERN), ("pier", KNOT)}
    assert len(rows["quay", GULL]["bikes"]) == 2
    assert len(rows["quay", KNOT]["bikes"]) == 1
    code, out, _ = lockring("bikes", "tidemark", "--book", "books")
    assert code == 0
    assert f"pier/{TERN}" in out


def test_a_tag_of_two_bikes_is_asked_for_with_its_shop(town: Path, lockring: Run) -> None:
    """Nothing is guessed."""
    code, _, err = lockring("state", KNOT, "--book", "books")
    assert code == 2
    assert f"pier/{KNOT} or quay/{KNOT}" in err
    assert lockring("state", f"pier/{KNOT}", "--book", "books")[0] == 0


def test_as_known_over_books_is_a_date(town: Path, lockring: Run) -> None:
    """A seq is refused; of one book it is taken as ever."""
    code, _, err = lockring("state", GULL, "--book", "books", "--as-known", "3")
    assert (code, "one book's own" in err) == (2, True)
    assert lockring("state", GULL, "--book", "books/quay", "--as-known", "3")[0] == 0


def test_who_carries_a_batch_and_who_did(town: Path, lockring: Run) -> None:
    """Over shops; of one book; at a date; and as a file."""
    code, out, err = lockring("fitted-where", "--batch", "B1", "--book", "books", "--json")
    assert (code, err) == (0, "")
    found = json.loads(out)
    assert [(row["shop"], row["bike"], row["part"], row["rider"]) for row in found["carried"]] == [
        ("pier", TERN, "quay/c1", "quay/r1"), ("quay", KNOT, "c2", None),
    ]  # fmt: skip
    assert found["carried"][0]["distance_since_fitted_km"] == 600
    assert found["carried"][0]["last_seen_at"] == "2026-02-03T12:00:00.000000Z"
    assert (found["count_bikes"], found["count_bikes_ever"]) == (2, 3)
    assert found["count_bikes_no_longer"] == 1
    assert [(row["shop"], row["end_reason"]) for row in found["no_longer"]] == [("pier", "recall")]
    code, out, _ = lockring("fitted-where", "--batch", "B1", "--book", "books")
    assert "2 parts on 2 bikes; 1 bike carried one and no longer does." in out
    code, out, _ = lockring("fitted-where", "keel", "--book", "books/quay", "--json")
    assert [row["bike"] for row in json.loads(out)["carried"]] == [GULL, KNOT]
    told = ("fitted-where", "--model", "keel 9", "--book", "books", "--as-at", "2026-01-02")
    assert json.loads(lockring(*told, "--json")[1])["count_bikes"] == 1
    assert lockring("fitted-where", "keel", "--book", "books", "--csv", "where.csv")[0] == 0
    with Path("where.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [(row["shop"], row["fitted"]) for row in rows] == [
        ("pier", "2026-01-02"), ("quay", "2026-01-03"),
    ]  # fmt: skip
    assert lockring("fitted-where", "keel", "--book", "books", "--xlsx", "where.xlsx")[0] == 0


def test_what_is_looked_for_has_to_be_said(town: Path, lockring: Run) -> None:
    """Nothing, and a position nobody knows, are wrong use; what nobody carries is no error."""
    assert lockring("fitted-where", "--book", "books")[0] == 2
    code, _, err = lockring("fitted-where", "keel", "--position", "chian", "--book", "books")
    assert (code, "chain" in err) == (2, True)
    code, out, _ = lockring("fitted-where", "--batch", "B9", "--book", "books")
    assert (code, "No bike carries or carried such a part" in out) == (0, True)


def test_nothing_of_a_book_that_fails_while_it_is_asked_is_in_the_answer(
    town: Path, lockring: Run
) -> None:
    """A file in its middle cannot be read: what was seen of it before is not told either."""
    quay = Book.open(town / "quay")
    part = quay.files()[-1]
    for number in range(6):
        noted = draft("2026-03-01", "noted", KNOT, position="chain", text=f"waxed {number}")
        quay.append([noted], confirm_clock=True)
    part.write_bytes(part.read_bytes()[:40])
    code, out, err = lockring("fitted-where", "--batch", "B1", "--book", "books", "--json")
    found = json.loads(out)
    assert code == 1
    assert [(one["book"], one["shop"]) for one in found["not_read"]] == [("books/quay", "quay")]
    assert list(found["shops"]) == ["pier"]
    assert {row["shop"] for row in (*found["carried"], *found["no_longer"])} == {"pier"}
    assert "Not in this answer: books/quay." in err


def test_a_tag_with_its_shop_is_a_tag_of_one_book_too(town: Path, lockring: Run) -> None:
    """As it is written where several books are asked."""
    told = ("--as-at", "2026-03-01", "--book", "books/pier", "--json")
    code, out, _ = lockring("state", f"pier/{TERN}", *told)
    assert (code, out) == (0, lockring("state", TERN, *told)[1])
    assert lockring("history", f"quay/{TERN}", "--book", "books/pier")[0] == 1
    code, _, err = lockring("state", f"/{TERN}", "--book", "books")
    assert code == 1
    assert f"/{TERN} names no shop before the '/'. There are: pier, quay." in err


def test_a_damaged_book_is_named_and_the_others_answer(town: Path, lockring: Run) -> None:
    """Exit code 1, with everything the other books say."""
    newest = max((town / "quay" / "events").iterdir())
    newest.write_bytes(newest.read_bytes()[:-40])
    for command in (["state", TERN], ["history", TERN], ["bikes"], ["fitted-where", "sprat"]):
        code, out, err = lockring(*command, "--book", "books", "--json")
        assert code == 1
        found = json.loads(out)
        assert found
        if isinstance(found, dict):
            assert [one["book"] for one in found["not_read"]] == ["books/quay"]
        assert "Not in this answer: books/quay." in err
    code, _, err = lockring("state", GULL, "--book", "books")
    assert (code, "Not in this answer: books/quay." in err) == (1, True)


def test_a_place_without_a_book_and_two_books_of_one_shop(town: Path, lockring: Run) -> None:
    """Both are said before anything is answered."""
    code, _, err = lockring("bikes", "--book", "books", "--book", "nowhere")
    assert (code, "There is no book at nowhere" in err) == (1, True)
    shop_book(Path("more"), "quay")
    code, _, err = lockring("bikes", "--book", "books", "--book", "more/quay")
    assert code == 2
    assert "more/quay" in err
    assert "books/quay" in err


ONE = ("wear", "due", "chains", "faults", "labour", "margin", "verify", "dashboard", "export")


@pytest.mark.parametrize("command", ONE)
def test_what_takes_one_book_says_so(town: Path, lockring: Run, command: str) -> None:
    """Given two, a folder of them or a pattern: never the last of them in silence."""
    for ways in WAYS:
        code, out, err = lockring(command, *ways)
        assert (code, out) == (2, "")
        assert "one book" in err
        assert "fitted-where" in err


def test_the_books_may_be_told_by_the_environment(
    town: Path, lockring: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """LOCKRING_BOOK is one place: a book, a folder of books, or a pattern."""
    monkeypatch.setenv("LOCKRING_BOOK", "books/*")
    assert len(json.loads(lockring("bikes", "--json")[1])) == 4
    monkeypatch.setenv("LOCKRING_BOOK", "books/quay")
    assert len(json.loads(lockring("bikes", "--json")[1])) == 2
