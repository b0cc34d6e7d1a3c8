from __future__ import annotations

import json
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from makers import EVENT_ID, TAG, reading_line

from ledger.events import event_classes, parse_event, plain
from ledger.exchange.cloudevents import KNOWN, Line, read, write

LISBON = ZoneInfo("Europe/Lisbon")


def read_one(line: str | bytes | dict[str, Any], **options: Any) -> Line:
    raw = json.dumps(line) if isinstance(line, dict) else line
    (found,) = read([raw], LISBON, **options)
    return found


def said(line: str | bytes | dict[str, Any], **options: Any) -> str:
    found = read_one(line, **options)
    assert found.draft is None
    return "\n".join(map(str, found.problems))


def test_a_line_becomes_a_draft() -> None:
    """A line of CloudEvents 1.0 gives the fields of our envelope and its payload."""
    assert read_one(reading_line(job="j1")).draft == {
        "id": EVENT_ID,
        "kind": "measured",
        "schema_version": 1,
        "shop": "harbour",
        "bike": TAG,
        "job": "j1",
        "actor": "mia",
        "occurred_at": "2024-07-01T10:00:00+02:00",
        "data": reading_line()["data"],
    }


@pytest.mark.parametrize("name", ["specversion", "id", "source", "type"])
@pytest.mark.parametrize("value", [None, ""])
def test_required_attributes(name: str, value: str | None) -> None:
    """Each attribute the specification requires is refused where it is missing or empty.

    Source: CloudEvents 1.0 (github.com/cloudevents/spec, spec.md), "REQUIRED attributes".
    """
    line = reading_line()
    line[name] = value
    assert f"{name}: is missing" in said({k: v for k, v in line.items() if v is not None})


def test_names_of_extensions_are_as_the_specification_wants() -> None:
    """Every attribute name is 1 to 20 of a-z and 0-9 (CloudEvents 1.0, naming conventions)."""
    for name in KNOWN:
        assert name.isascii() and name.isalnum() and name == name.lower() and len(name) <= 20


def test_what_is_written_is_read_back_the_same() -> None:
    """An event written as a line and read as part of a whole book has every field it had."""
    event = parse_event(
        {
            **(read_one(reading_line(job="j1", restores=EVENT_ID)).draft or {}),
            "seq": 7,
            "recorded_at": "2024-07-01T08:00:01Z",
            "clock_at": "2024-07-01T07:59:00Z",
        }
    )
    line = write(event, commit=3)
    draft = read_one(line, own=True).draft
    assert draft is not None
    assert draft.pop("commit") == 3
    assert plain(parse_event(draft)) == plain(event)
    cloud = json.loads(line)
    assert (cloud["specversion"], cloud["datacontenttype"]) == ("1.0", "application/json")
    assert (cloud["seq"], cloud["recordedtime"]) == (7, "2024-07-01T08:00:01.000000Z")


def test_a_time_without_a_zone_is_the_books() -> None:
    """A time without a zone is taken in the book's time zone: Lisbon is an hour ahead in July."""
    draft = read_one(reading_line(time="2024-07-01T10:00:00")).draft
    assert draft is not None
    assert draft["occurred_at"] == "2024-07-01T10:00:00+01:00"


def test_a_line_without_a_time_is_left_to_the_book() -> None:
    """A line without a time gives a draft without one: the book takes it as now."""
    draft = read_one(reading_line(time=None)).draft
    assert draft is not None
    assert "occurred_at" not in draft


def test_what_was_given_at_commit_is_not_entered_again() -> None:
    """Recording lines that were exported drops seq and recorded times: the book gives its own."""
    draft = read_one(reading_line(seq=9, commit=2, recordedtime="2024-07-01T10:00:00Z")).draft
    assert draft is not None
    assert draft.keys().isdisjoint({"seq", "commit", "recorded_at"})


def test_blank_lines_and_a_mark_at_the_beginning_are_passed_over() -> None:
    """Blank lines count as lines and hold nothing; a byte-order mark is no part of the first."""
    raw = json.dumps(reading_line()).encode()
    found = list(read([b"\xef\xbb\xbf" + raw, b"\n", b"{"], LISBON))
    assert [(line.number, line.draft is None) for line in found] == [(1, False), (3, True)]


@pytest.mark.parametrize(
    ("line", "expected"),
    [
        (
            reading_line(type="lockring.mesured.v1"),
            "line 1: type: 'mesured' is not a kind of event. Did you mean 'measured'?",
        ),
        (
            reading_line(type="lockring.measured.v9"),
            "line 1: type: version 9 of measured is not known. "
            "This Lockring writes 'lockring.measured.v1'",
        ),
        (
            reading_line(subjct="x"),
            "line 1 (measured): subjct: is not an attribute here. Did you mean 'subject'?",
        ),
        (
            reading_line(subject="BIKE"),
            "line 1 (measured): subject: 'B1KE' cannot stand here. "
            "Write a bike tag: 8 of 0-9 and A-Z without I, L, O and U",
        ),
        (
            reading_line(time="last Monday"),
            "line 1 (measured): time: is 'last Monday'. "
            "Write a date and time such as 2026-03-01T09:12:00+01:00",
        ),
        (
            reading_line(data={"position": "chain", "quantity": "elongation", "ponit": "17T"}),
            "line 1 (measured): data.ponit: is not a field here. "
            "Did you mean 'point' or 'position'?",
        ),
    ],
)
def test_a_refusal_says_where_what_and_what_would_be_right(
    line: dict[str, Any], expected: str
) -> None:
    """A refusal names the line, the field, what is wrong and what would be right."""
    assert said(line) == expected


def test_a_binary_float_is_refused() -> None:
    """A figure written as a JSON number with a fraction is refused: it is not exact."""
    data = {"position": "chain", "quantity": "elongation", "value": {"value": 0.55, "unit": "%"}}
    text = said(reading_line(data=data))
    assert text.startswith("line 1 (measured): data.value.value: is a binary float")
    assert "Write it as text" in text


def test_events_of_another_shop_are_refused() -> None:
    """A line of another shop is refused, saying whose book this is."""
    assert "This is the book of shop 'quay'" in said(reading_line(), shop="quay")


def test_all_that_is_wrong_with_a_line_is_said_at_once() -> None:
    """Three mistakes around the payload give three problems."""
    found = read_one(reading_line(source="harbour", time="noon", specversion="0.3"))
    assert [problem.field for problem in found.problems] == ["specversion", "source", "time"]


@pytest.mark.parametrize(
    "raw",
    [
        b"\xff\xfe{}",
        b"[1, 2]",
        b'"text"',
        b'{"id": NaN}',
        b'{"id": 1, "id": 2}',
        b"[" * 100_000,
        b'{"seq": ' + b"9" * 10_000 + b"}",
        b'{"id": "\\ud800"}',
        b"{" * 3,
        b"x" * 3_000_000,
    ],
)
def test_what_is_not_one_json_object_is_refused(raw: bytes) -> None:
    """Bytes that are not one sound JSON object a line give a problem, never an exception."""
    assert said(raw)


@pytest.mark.parametrize("kind", sorted(event_classes()))
def test_every_kind_has_its_type(kind: str) -> None:
    """A line with an empty payload is either read or refused field by field, for every kind."""
    version = event_classes()[kind].model_fields["schema_version"].default
    found = read_one(reading_line(type=f"lockring.{kind}.v{version}", data={}))
    assert all(problem.field.startswith("data") for problem in found.problems)
    assert (found.draft or {"kind": kind})["kind"] == kind


def test_an_old_version_is_read() -> None:
    """A line of an older version of its kind is read, and brought up by the book."""
    data = {"odometer": {"value": "100", "unit": "km"}, "told": True}
    draft = read_one(reading_line(type="lockring.distance_read.v1", data=data)).draft
    assert draft is not None
    assert parse_event(draft).data.source == "told"
