"""Books of earlier releases open in this one and give the answers they gave then.

Of 0.1.0 as it was recorded, merged as first done (format 1), and with payloads apart (format 2).
"""

import json
import shutil
from datetime import UTC, datetime
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from ledger import sql
from ledger.book import Book
from ledger.queries import bike_view, whole_table
from ledger.view import view_json
from tests.hashed import hashed

HERE = Path(__file__).parent
BOOKS = sorted(path.name for path in HERE.glob("book-*"))
LATEST = datetime(2026, 3, 1, tzinfo=UTC)


@pytest.fixture(params=BOOKS)
def golden(request, tmp_path):
    folder = tmp_path / request.param
    shutil.copytree(HERE / request.param, folder)
    return Book.open(folder), json.loads((folder / "answers.json").read_text())


def test_there_is_a_golden_book():
    """At least the first release has left a book."""
    assert BOOKS


def test_roots_and_columns_still_hold(golden):
    """Every hash, root and hot column of an old book verifies, and its root is what it was."""
    book, answers = golden
    assert book.verify_roots() == []
    assert (book.head.root, book.head.size) == (answers["root"], answers["size"])


def test_states_are_what_they_were(golden):
    """The bike is the same as known at every seq, in all that was told of it then."""
    book, answers = golden
    for answer in answers["states"]:
        view = bike_view(book, answers["bike"], LATEST, answer["known"])
        told = view_json(view)
        assert {name: told[name] for name in answer["state"]} == answer["state"]


def test_every_relation_reads_an_old_book(golden):
    """A column that no file has yet is null, also where the whole book is read."""
    book, answers = golden
    tables = {name: whole_table(book, name) for name in sql.relations()}
    assert answers["bike"] in tables["bike_summary"]["bike"].to_pylist()
    assert set(tables["live_events"]["come_back_of"].to_pylist()) == {None}
    assert set(tables["live_events"]["is_come_back"].to_pylist()) == {None}
    for later in ("is_found_later", "replaces_quote", "is_paused"):
        assert set(tables["live_events"][later].to_pylist()) == {None}


def test_old_text_still_opens(golden):
    """Sealed text of an old book opens with its keys."""
    book, answers = golden
    found = [
        text
        for event in book.events()
        if event.kind in ("noted", "event_struck")
        for text in book.reveal(event)["data"].values()
    ]
    assert set(answers["texts"]) <= set(found)


def test_old_versions_are_stored_as_they_were_and_read_as_new(golden):
    """Distance readings of version 1 keep their bytes and read as version 2."""
    book, _ = golden
    stored = [row for path in book.files() for row in pq.read_table(path).to_pylist()]
    old = [json.loads(hashed(row)["canonical"]) for row in stored if row["kind"] == "distance_read"]
    assert {event["schema_version"] for event in old} == {1}
    read = [event for event in book.events() if event.kind == "distance_read"]
    assert [(e.schema_version, e.data.source) for e in read] == [(2, "read"), (2, "told")]


def test_an_old_book_takes_new_events(golden):
    """A book of an earlier release goes on growing in this one."""
    book, answers = golden
    draft = {
        "kind": "distance_read",
        "bike": answers["bike"],
        "actor": "m1",
        "occurred_at": "2026-03-05T09:00",
        "data": {"odometer": {"value": "1500", "unit": "km"}},
    }
    book.append([draft], confirm_clock=True)
    assert bike_view(book, answers["bike"]).distance_km == 1500
    assert book.verify_roots() == []
