"""Files of a folder and of an object store: the same promises, over a real server."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest

from ledger.errors import LedgerError, WrongUse
from ledger.storage.objects import BucketObjects, Objects, Unreachable, is_address, objects_at
from tests.storage.s3_server import environment, s3_server


@pytest.fixture(scope="module")
def bucket() -> Iterator[str]:
    """Give the address of an empty bucket, its server in the environment."""
    with s3_server() as (told, address), pytest.MonkeyPatch.context() as patch:
        for name, value in told.items():
            patch.setenv(name, value)
        yield address


@pytest.fixture(params=["folder", "object store"])
def objects(request: pytest.FixtureRequest, tmp_path: Path) -> Objects:
    """Give an empty place of both kinds."""
    if request.param == "folder":
        return objects_at(tmp_path / "kept")
    return objects_at(f"{request.getfixturevalue('bucket')}/{tmp_path.name}/kept")


def test_what_is_made_is_there_and_listed_by_name(objects):
    """A file comes back as it was made, with its size; a folder lists its own files only."""
    objects.create("events/c-2.parquet", b"two")
    objects.create("events/c-1.parquet", b"one!")
    objects.create("keys/k-1", b"")
    assert objects.get("events/c-1.parquet") == b"one!"
    assert objects.get("keys/k-1") == b""
    assert [(one.name, one.size) for one in objects.all("events")] == [
        ("events/c-1.parquet", 4),
        ("events/c-2.parquet", 3),
    ]
    assert [one.name for one in objects.all()][-1] == "keys/k-1"
    assert all(one.made_at.tzinfo is not None for one in objects.all())


def test_a_taken_name_is_never_given_twice(objects):
    """The second maker is told, and the first one's file stands."""
    objects.create("events/c-1.parquet", b"first")
    with pytest.raises(FileExistsError):
        objects.create("events/c-1.parquet", b"second")
    assert objects.get("events/c-1.parquet") == b"first"


def test_of_many_makers_at_once_one_wins(objects):
    """Eight hands, one name, twenty times: one file, and seven are told."""

    def made(hand: int, turn: int) -> bool:
        try:
            objects.create(f"events/c-{turn}", b"%d" % hand)
        except FileExistsError:
            return False
        return True

    with ThreadPoolExecutor(8) as hands:
        for turn in range(20):
            won = list(hands.map(made, range(8), [turn] * 8))
            assert won.count(True) == 1
            assert objects.get(f"events/c-{turn}") == b"%d" % won.index(True)


def test_a_file_can_be_replaced_and_removed(objects):
    """Putting takes the old one's place; removing what is gone is no error."""
    objects.put("riders/r-1", b"old")
    objects.put("riders/r-1", b"new")
    assert objects.get("riders/r-1") == b"new"
    objects.remove("riders/r-1")
    objects.remove("riders/r-1")
    objects.remove("nowhere/at-all")
    with pytest.raises(FileNotFoundError):
        objects.get("riders/r-1")
    assert objects.all() == []


def test_the_end_of_a_file_is_read_alone(objects):
    """As many last bytes as asked for, or all there are."""
    objects.create("events/c-1", b"0123456789")
    assert objects.get_end("events/c-1", 4) == b"6789"
    assert objects.get_end("events/c-1", 400) == b"0123456789"
    with pytest.raises(FileNotFoundError):
        objects.get_end("events/c-2", 4)


@pytest.mark.parametrize("name", ["../c-1", "events/../../c-1", "", "/c-1", "a//b", "a\\b", "a\n"])
def test_no_name_leads_outside(objects, name):
    """Names that are no names are refused before anything is asked of the place."""
    for use in (objects.get, objects.remove, lambda one: objects.put(one, b"")):
        with pytest.raises(WrongUse, match="not the name of a file"):
            use(name)


def test_a_place_that_is_not_there_yet_is_empty(objects):
    """Nothing was kept there, and that is no error."""
    assert objects.all() == [] and objects.all("events") == []


@pytest.mark.parametrize("address", ["s3://", "s3:/harbour", "s3://UPPER/x", "s3://harbour/../x"])
def test_a_bad_address_says_how_one_looks(address):
    """It is told in one line, before anything is asked for."""
    assert is_address(address)
    with pytest.raises(WrongUse):
        objects_at(address)


def test_a_store_that_does_not_answer_is_told_in_one_line(monkeypatch):
    """Neither the inside of the client nor a key is in what is said."""
    for name, value in environment("http://127.0.0.1:9").items():
        monkeypatch.setenv(name, value)
    with pytest.raises(Unreachable) as told:
        objects_at("s3://harbour/book").get("book.toml")
    assert "s3://harbour/book does not answer" in str(told.value)
    assert "\n" not in str(told.value) and "only for tests" not in str(told.value)
    assert isinstance(told.value, LedgerError) and os.environ["AWS_ENDPOINT_URL"]


def test_nothing_is_sent_in_clear_unless_that_is_said(monkeypatch):
    """An address without encryption is refused, saying what would be right."""
    for name, value in environment("http://127.0.0.1:9").items():
        monkeypatch.setenv(name, value)
    monkeypatch.delenv("AWS_ALLOW_HTTP")
    with pytest.raises(WrongUse, match="AWS_ALLOW_HTTP=true"):
        objects_at("s3://harbour/book")


def test_a_bucket_that_is_not_there_is_told(bucket):
    """Reading from nowhere finds no file; writing says what does not answer."""
    nowhere = BucketObjects(f"{bucket}-other/book")
    with pytest.raises(FileNotFoundError):
        nowhere.get("book.toml")
    with pytest.raises((Unreachable, FileNotFoundError)):
        nowhere.create("book.toml", b"")
