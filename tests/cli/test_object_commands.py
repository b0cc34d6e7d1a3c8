"""The commands over a book on an object store: the same words, and what they say without it."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from workbench import TAG, Run

from tests.storage.s3_proxy import Way, proxy_to
from tests.storage.s3_server import environment, s3_server


@pytest.fixture(scope="module")
def server() -> Iterator[tuple[str, str]]:
    """Give the endpoint of a server, and the address of a bucket on it."""
    with s3_server() as (told, address):
        yield told["AWS_ENDPOINT_URL"], address


@pytest.fixture
def way(
    server: tuple[str, str], lockring: Run, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> Iterator[Way]:
    """Give the way to the server; mirrors lie in a folder of this test."""
    with proxy_to(server[0]) as way:
        for name, value in environment(way.endpoint).items():
            monkeypatch.setenv(name, value)
        monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / "mirrors"))
        yield way


@pytest.fixture
def address(server: tuple[str, str], way: Way, lockring: Run, tmp_path: Path) -> str:
    """Give the address of a book with one bike."""
    address = f"{server[1]}/{tmp_path.name}"
    done = lockring("init", address, "--time-zone", "Europe/Lisbon", "--mechanic", "m1")
    assert (done.code, done.err) == (0, "")
    assert f"Made a new book in {address}, with times in Europe/Lisbon." in done.out
    return address


def registered(lockring: Run, address: str) -> None:
    """Register a bike and a rider."""
    more = ("--bike", TAG, "--at", "2026-01-05 09:00", "--set", "make=Ordwick")
    assert lockring("record", "bike_registered", *more, "--book", address).code == 0
    done = lockring("riders", "add", "--id", "r-1", "--name", "Ines", "--book", address)
    assert done.code == 0, done.err


def test_the_book_is_recorded_in_and_read_by_its_address(
    lockring: Run, address: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By --book and by $LOCKRING_BOOK, from any machine; nothing is made in this folder."""
    registered(lockring, address)
    asked = ("state", TAG, "--json", "--as-at", "2026-02-01")
    state = json.loads(lockring(*asked, "--book", address).out)
    assert state["bike"] == TAG
    monkeypatch.setenv("LOCKRING_BOOK", address)
    monkeypatch.setenv("LOCKRING_MIRRORS", "other-machine")
    assert json.loads(lockring(*asked).out) == state
    assert "Ines" in lockring("riders", "list").out
    done = lockring("verify")
    assert (done.code, done.err) == (0, "") and "Every rule holds." in done.out
    assert not Path("s3:").exists() and not Path("book").exists()


def test_without_the_store_it_is_said_once_and_json_stays_clean(
    lockring: Run, address: str, way: Way
) -> None:
    """One line on stderr tells what does not answer, and as of which commit and when is read."""
    registered(lockring, address)
    asked = ("state", TAG, "--json", "--as-at", "2026-02-01", "--book", address)
    before = lockring(*asked)
    assert before.err == ""
    way.is_down = True
    done = lockring(*asked)
    assert (done.code, done.out) == (0, before.out)
    (line,) = done.err.splitlines()
    assert line.startswith(f"{address} does not answer: ")
    assert "Read from this machine's copy up to commit 2, as it was at 20" in line
    done = lockring("verify", "--quick", "--book", address)
    assert done.code == 0 and "this machine's copy up to commit 2" in done.err
    way.is_down = False
    assert lockring(*asked).err == ""


def test_without_the_store_recording_is_refused_and_nothing_is_left(
    lockring: Run, address: str, way: Way
) -> None:
    """One clear refusal, exit code 1; the same command works once the store answers."""
    registered(lockring, address)
    more = ("measured", "--bike", TAG, "--at", "2026-01-06 09:00")
    asked = ("record", *more, "--set", "position=chain", "--set", "quantity=elongation",
             "--set", "value=0.4 %", "--book", address)  # fmt: skip
    way.is_down = True
    done = lockring(*asked)
    assert done.code == 1 and done.out == ""
    assert f"Nothing was recorded: {address} does not answer" in done.err
    way.is_down = False
    done = lockring(*asked)
    assert done.code == 0, done.err
    found = json.loads(lockring("history", TAG, "--json", "--book", address).out)
    assert [one["kind"] for one in found if one["kind"] == "measured"] == ["measured"]


def test_a_demo_is_built_under_an_address(
    server: tuple[str, str], way: Way, lockring: Run, tmp_path: Path
) -> None:
    """Riders and all, with every rule held; and not where something is already."""
    from demo_events.generate import write
    from demo_events.spool import Plan

    write(Plan.of_events(600, 5, None), tmp_path / "harbour")
    address = f"{server[1]}/{tmp_path.name}-demo"
    asked = ("demo", "--from", str(tmp_path / "harbour"), "--book")
    for place in (address, "here"):
        done = lockring(*asked, place)
        assert done.code == 0, done.err
        assert f"lockring bikes --book {place}" in done.out
    listed = ("riders", "list", "--json", "--book")
    there, here = (json.loads(lockring(*listed, place).out) for place in (address, "here"))
    assert there == here != []
    found = json.loads(lockring("verify", "--json", "--book", address).out)
    assert found["is_held_to_rules"] is True and found["problems"] == []
    again = lockring(*asked, address)
    assert again.code == 1 and "already holds something" in again.err
