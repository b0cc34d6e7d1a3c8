"""A register on an object store with something in it that cannot be read, or has no name."""

from __future__ import annotations

import json
from datetime import UTC, datetime

import boto3
import pytest
from typer.testing import CliRunner

from ledger.book import Book
from ledger.cli.app import app
from ledger.forgetting import forget, what_is_held
from ledger.home import register
from ledger.riders import Rider
from ledger.storage.objects import objects_at
from tests.storage.s3_server import s3_server

NOW = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
TAG = "7K3M9QXA"


@pytest.fixture(scope="module")
def server():
    """Give the environment of a server, and the address of a bucket on it."""
    with s3_server() as told:
        yield told


@pytest.fixture
def address(server, monkeypatch, tmp_path):
    """Give the address of a book with two riders, ra and rb."""
    monkeypatch.setattr(register, "FOLLOWED_S", 0.0)
    monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / "one"))
    for name, value in server[0].items():
        monkeypatch.setenv(name, value)
    address = f"{server[1]}/{tmp_path.name}"
    book = Book.init(address, shop="quay", clock=lambda: NOW)
    book.riders.add([Rider("ra", "Ada Reed"), Rider("rb", "Bo Wren")])
    data = [("bike_registered", {}), ("rider_changed", {"rider": "ra", "note": "rides in rain"})]
    book.append([{"kind": k, "bike": TAG, "actor": "m1", "data": d} for k, d in data])
    return address


def run(address: str, *arguments: str):
    return CliRunner().invoke(app, [*arguments, "--book", address], prog_name="lockring")


@pytest.mark.parametrize("mirror", ["one", "new"])
@pytest.mark.parametrize("content", [b'{"trunc', b"[]", b'{"rider": "rb"}'])
def test_a_damaged_row_closes_no_book(address, monkeypatch, tmp_path, mirror, content):
    """That rider reads as not in the register, with a warning; verify lists it, forget ends it."""
    monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / mirror))
    objects_at(address).put("riders/ra", content)
    listed = run(address, "riders", "list")
    assert listed.exit_code == 0, listed.stderr
    assert "Bo Wren" in listed.stdout and "Ada" not in listed.stdout
    assert listed.stderr.count("riders/ra") == 1 and len(listed.stderr.splitlines()) == 1
    assert run(address, "history", TAG).exit_code == 0
    found = run(address, "verify", "--json")
    assert found.exit_code == 1
    told = [(one["event"], one["rule"]) for one in json.loads(found.stdout)["problems"]]
    assert told == [("riders/ra", "register")]
    assert run(address, "forget", "ra", "--yes").exit_code == 0
    assert "riders/ra" not in [one.name for one in objects_at(address).all()]
    after = run(address, "verify")
    assert (after.exit_code, after.stderr) == (0, "")


def test_a_damaged_row_of_nobody_the_events_name_can_be_forgotten_too(address):
    """It is not said that there is no such rider."""
    objects_at(address).put("riders/rz", b'{"trunc')
    book = Book.open(address, clock=lambda: NOW)
    assert book.home.damaged()[0].event == "riders/rz"
    forget(book, what_is_held(book, "rz"))
    assert Book.open(address, clock=lambda: NOW).home.damaged() == []


def test_a_damaged_key_takes_nothing_from_a_machine_that_has_it(address, monkeypatch, tmp_path):
    """A key is never made anew, so its copy opens the words; a new machine cannot open them."""
    (key,) = [one for one in objects_at(address).all("keys") if one.name == "keys/ra"]
    objects_at(address).put(key.name, b"\xff\xfe")

    def note(book: Book) -> str | None:
        return book.reveal(list(book.events())[1])["data"]["note"]

    book = Book.open(address, clock=lambda: NOW)
    assert note(book) == "rides in rain"
    assert [one.event for one in book.home.damaged()] == ["keys/ra"]
    monkeypatch.setenv("LOCKRING_MIRRORS", str(tmp_path / "new"))
    assert note(Book.open(address, clock=lambda: NOW)) is None


@pytest.mark.parametrize("odd", ["riders/../../x", "riders//x", "events/../y", "keys/ra/../z"])
def test_a_name_that_no_file_has_is_passed_over_and_told(address, server, monkeypatch, odd):
    """The store is not said to be silent; recording goes on, and verify names it."""
    bucket, _, prefix = address.removeprefix("s3://").partition("/")
    monkeypatch.setenv("AWS_DEFAULT_REGION", server[0]["AWS_REGION"])
    client = boto3.client("s3", endpoint_url=server[0]["AWS_ENDPOINT_URL"])
    client.put_object(Bucket=bucket, Key=f"{prefix}/{odd}", Body=b"x")
    book = Book.open(address, clock=lambda: NOW)
    assert [one.rider for one in book.riders.all()] == ["ra", "rb"]
    assert book.home.silence is None
    assert book.append([{"kind": "bike_registered", "bike": "2B4D6F8H", "actor": "m1", "data": {}}])
    assert book.home.silence is None
    found = run(address, "verify", "--json")
    assert "does not answer" not in found.stderr
    assert [one["event"] for one in json.loads(found.stdout)["problems"]] == [odd]
