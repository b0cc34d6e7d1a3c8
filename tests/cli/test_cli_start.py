from __future__ import annotations

from pathlib import Path

import pytest
from workbench import Run


def test_init_makes_a_book_that_opens(lockring: Run) -> None:
    """init makes ./book; recording in it works at once with the mechanic it registered."""
    done = lockring("init", "--shop", "quay", "--name", "Quay Bikes", "--mechanic", "m1")
    assert (done.code, done.err) == (0, "")
    assert "Made a new book in book" in done.out
    assert lockring("record", "bike_registered", "--bike", "7K3M9QXA").code == 0


def test_init_says_what_comes_next(lockring: Run) -> None:
    """Without a mechanic, init says how to register one, and the line it shows works."""
    out = lockring("init", "quay").out
    line = next(line for line in out.splitlines() if line.strip().startswith("lockring "))
    assert lockring(*line.split()[1:]).code == 0


def test_init_never_touches_what_is_there(lockring: Run) -> None:
    """init refuses a folder that holds anything."""
    Path("book").mkdir()
    Path("book/notes.txt").write_text("mine")
    done = lockring("init")
    assert done.code == 1
    assert [path.name for path in Path("book").iterdir()] == ["notes.txt"]


@pytest.mark.parametrize(
    "wrong",
    [("--currency", "XXZ"), ("--time-zone", "Nowhere/At all"), ("--shop", "Ä"), ("--locale", "??")],
)
def test_init_refuses_settings_that_cannot_be(lockring: Run, wrong: tuple[str, str]) -> None:
    """A currency, zone, shop code or locale that cannot be ends with 1, and makes nothing."""
    done = lockring("init", *wrong)
    assert done.code == 1
    assert not Path("book").exists()


def test_init_with_a_bad_mechanic_makes_nothing(lockring: Run) -> None:
    """An id that cannot be one is wrong use, and leaves no half-made book."""
    assert lockring("init", "--mechanic", "Inge Marsh").code == 2
    assert not Path("book").exists()


def test_riders_are_entered_and_found(shop: Run) -> None:
    """A rider is entered with an id that says nothing, and found by a part of the name."""
    done = shop("riders", "add", "--name", "Inge Marsh", "--phone", "555-0107", "--consent")
    assert done.code == 0
    row = shop("riders", "list", "MARSH", "--json").json[0]
    assert (row["name"], row["phone"], row["may_contact"]) == ("Inge Marsh", "555-0107", True)
    assert "marsh" not in row["rider"].lower()
    assert row["consent_at"]


def test_riders_are_not_entered_twice(shop: Run) -> None:
    """The same id again is refused, and without consent nobody may be contacted."""
    assert shop("riders", "add", "--name", "Ada Reed", "--id", "r-1").code == 0
    assert shop("riders", "add", "--name", "Bo Reed", "--id", "r-1").code == 1
    row = shop("riders", "list", "--json").json[0]
    assert (row["name"], row["may_contact"], row["consent_at"]) == ("Ada Reed", False, None)


def test_riders_stay_out_of_the_events(shop: Run) -> None:
    """What riders are called and where they are reached stands in no event file."""
    shop("riders", "add", "--name", "Inge Marsh", "--email", "inge@harbour.example")
    for path in Path("book/events").iterdir():
        assert b"Marsh" not in path.read_bytes()
        assert b"harbour.example" not in path.read_bytes()


def test_a_region_is_told_by_whoever_may_record(lockring: Run) -> None:
    """It is a term of the shop from today on; without anybody to record it, it is wrong use."""
    done = lockring("init", "--mechanic", "m1", "--region", "north")
    assert (done.code, done.err) == (0, "")
    assert [row["region"] for row in lockring("shops", "--json").json] == ["north"]
    for wrong in (["--region", "north"], ["--mechanic", "m1", "--region", "North Shore"]):
        done = lockring("init", "other", *wrong)
        assert (done.code, "--region" in done.err) == (2, True)
        assert not Path("other").exists()
