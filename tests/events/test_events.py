"""Every kind of event: strict, frozen, canonical, and readable whatever its age."""

import json
import random
from pathlib import Path

import jcs
import pyarrow.parquet as pq
import pytest
from pydantic import ValidationError

from ledger.events import (
    EVENTS,
    canonical_bytes,
    event_classes,
    parse_event,
    payload_class,
    plain,
    table,
)
from ledger.events.problems import problems_of
from ledger.events.text import change_text, text_fields
from ledger.events.upcast import upcast

ROOT = Path(__file__).parents[2]
ENVELOPE = {
    "id": "018f22e2-79b0-7cc3-98c4-dc0c0c07398f",
    "shop": "quay",
    "bike": "7K3M9QXA",
    "actor": "m1",
    "occurred_at": "2026-03-01T09:12:00Z",
}


def entry(kind, /, **data):
    return {**ENVELOPE, "kind": kind, "data": data}


def refusals(raw):
    with pytest.raises(ValidationError) as caught:
        parse_event(raw)
    return problems_of(caught.value, "event 1")


def test_design_kinds_are_all_there():
    """All thirty-one kinds of fact the ledger knows have a class with a payload."""
    assert len(event_classes()) == 31
    assert all(payload_class(kind).model_config["frozen"] for kind in event_classes())


def test_events_cannot_be_changed():
    """An event that was parsed cannot be altered afterwards."""
    event = parse_event(entry("noted", position="chain", text="waxed, no oil"))
    with pytest.raises(ValidationError):
        event.data.text = "oiled"


def test_canonical_bytes_are_rfc_8785():
    """The stored bytes are what an independent RFC 8785 library gives for the same event."""
    event = parse_event(entry("noted", position="chain", text='Öl \u20ac \U0001f6b2 " \\ \n'))
    assert canonical_bytes(event) == jcs.canonicalize(plain(event))


def test_an_event_reads_the_same_by_its_own_kind_and_by_all_kinds_together():
    """Every event of the oldest book is the same either way, and so is what is wrong with it."""
    files = sorted((ROOT / "tests/golden/book-0.1.0/events").glob("*.parquet"))
    stored = [raw for file in files for raw in pq.read_table(file)["canonical"].to_pylist()]
    assert len({json.loads(raw)["kind"] for raw in stored}) > 5
    for raw in map(upcast, map(json.loads, stored)):
        assert parse_event(raw) == EVENTS.validate_python(raw)
        with pytest.raises(ValidationError) as alone:
            parse_event(raw | {"actor": ""})
        with pytest.raises(ValidationError) as together:
            EVENTS.validate_python(raw | {"actor": ""})
        assert alone.value.errors() == together.value.errors()


def test_canonical_bytes_read_back_to_the_same_event():
    """Parsing the canonical bytes gives the event again, bytes and all."""
    event = parse_event(entry("rider_changed", riding="commute"))
    again = parse_event(json.loads(canonical_bytes(event)))
    assert again == event
    assert canonical_bytes(again) == canonical_bytes(event)


def test_no_float_gets_in():
    """A binary float in a figure is refused, and the refusal says to write text."""
    (problem,) = refusals(
        entry(
            "measured", position="chain", quantity="elongation", value={"value": 0.5, "unit": "%"}
        )
    )
    assert problem.field == "data.value.value"
    assert "as text" in problem.right


def test_old_distance_reading_is_upcast():
    """A distance recorded as version 1 reads as version 2, and its bytes stay what they were."""
    told = parse_event(
        entry("distance_read", odometer={"value": "120", "unit": "km"}, told=True)
        | {"schema_version": 1}
    )
    read = parse_event(
        entry("distance_read", odometer={"value": "120", "unit": "km"}) | {"schema_version": 1}
    )
    assert (told.schema_version, told.data.source) == (2, "told")
    assert read.data.source == "read"


@pytest.mark.parametrize(
    ("entered", "stored"), [("7k3m-9qxa", "7K3M9QXA"), ("ilo00000", "11000000")]
)
def test_tags_fold_look_alikes(entered, stored):
    """A tag typed in lower case, with a dash or with look-alike letters is the same tag."""
    assert (
        parse_event({**entry("noted", position="chain", text="x"), "bike": entered}).bike == stored
    )


@pytest.mark.parametrize(
    ("change", "field", "wrong", "right"),
    [
        ({"kind": "mesured"}, "event", "'mesured' is not a kind", "Did you mean 'measured'"),
        ({"occurred_at": "2026-03-01T09:12:00"}, "occurred_at", "no time zone", "Write one"),
        (
            {"id": "018f22e2-79b0-4cc3-98c4-dc0c0c07398f"},
            "id",
            "cannot stand here",
            "UUID of version 7",
        ),
        ({"data": {"position": "chain"}}, "data.text", "is missing", "Enter it"),
        (
            {"data": {"position": "chain", "txt": "x", "text": "y"}},
            "data.txt",
            "is not a field here",
            "Did you mean 'text'",
        ),
        ({"bike": "SPARE"}, "bike", "'SPARE'", "without I, L, O and U"),
    ],
)
def test_refusals_name_field_fault_and_remedy(change, field, wrong, right):
    """Each mistake in an entry is said with its field, what is wrong and what would be right."""
    problems = refusals({**entry("noted", position="chain", text="x"), **change})
    problem = next(p for p in problems if p.field == field)
    assert wrong in problem.wrong
    assert right.lower() in problem.right.lower()


def test_moments_are_stored_in_utc_with_microseconds():
    """An instant entered in any zone is stored in UTC with six digits."""
    event = parse_event(
        {**entry("noted", position="chain", text="x"), "occurred_at": "2026-03-01T10:12:00+01:00"}
    )
    assert plain(event)["occurred_at"] == "2026-03-01T09:12:00.000000Z"


def test_every_free_text_is_found_and_changed():
    """Every field that may hold words, however deep, is reached when text is sealed."""
    line = {"line": "1", "line_type": "part", "code": "chain", "net_minor": 1, "description": "c"}
    data = {"lines": [line, {**line, "line": "2"}], "note": "n", "currency": "EUR"}
    seen = []
    changed = change_text(
        payload_class("job_closed"), data, lambda at, text: seen.append(at) or "•"
    )
    assert seen == ["lines[0].description", "lines[1].description", "note"]
    assert changed["lines"][1]["description"] == "•"
    assert data["note"] == "n"


def test_text_fields_are_the_ones_people_write_in():
    """Kinds without words have none, kinds with words name them."""
    assert text_fields(payload_class("distance_read")) == ()
    assert ("reason", None) in text_fields(payload_class("event_struck"))


def test_the_table_of_payloads_is_up_to_date():
    """DEVELOPERS.md shows every field of every payload as the code has it."""
    page = (ROOT / "DEVELOPERS.md").read_text()
    assert table.written(page) == page, "run python -m ledger.events.table"
    assert all(f"| `{kind}` |" in page for kind in event_classes())


def test_random_garbage_is_refused_never_a_crash():
    """A thousand damaged entries give problems that name a field, never another exception."""
    choose = random.Random(11)
    junk = [None, 3, -1.5, True, [], {}, "", "x" * 5000, "\x00", {"value": []}, [[]], float("inf")]
    for _ in range(1000):
        raw = entry("measured", position="chain", quantity="elongation")
        raw["data"]["value"] = {"value": "0.5", "unit": "%"}
        target = raw if choose.random() < 0.5 else raw["data"]
        target[choose.choice([*target, "kindd", "extra"])] = choose.choice(junk)
        try:
            parse_event(raw)
        except ValidationError as error:
            assert all(p.field and p.wrong and p.right for p in problems_of(error, "event 1"))
