import re
from datetime import UTC, datetime
from decimal import Decimal
from pathlib import Path

import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st
from storage_events import UNITS, event_id, reading

from ledger.errors import Refused
from ledger.events import event_classes, parse_event
from ledger.storage.hot import COLUMNS, hot_row, id_bytes, units_after
from ledger.storage.schema import EVENT_SCHEMA

DEVELOPERS = Path(__file__).parents[2] / "DEVELOPERS.md"
SEALED = {"key": "k1", "sealed": "A" * 30}
AT = {"value": "6.0", "unit": "mm", "canonical": "6.000"}
WORK = {"fault": "squeal", "cause": "glazed", "position": "rear_brake.rotor"}
WORK_COLUMNS = {"fault": "squeal", "cause": "glazed", "fault_position": "rear_brake.rotor"}
LINE = {
    "line": "l1",
    "line_type": "part",
    "code": "chain 11",
    "description": SEALED,
    "position": "chain",
    "quantity": "1.5",
    "minutes": 20,
    "net_minor": 2990,
    "tax_rate": "0.21",
    "tax_minor": 628,
    "cost_minor": 1500,
    "payer": "r2",
    "quote_line": "q1l1",
    "is_goodwill": True,
}
LINE_COLUMNS = {
    "line_id": "l1",
    "code": "chain 11",
    "quantity": Decimal("1.5"),
    "net": 2990,
    "tax": 628,
    "cost": 1500,
    "payer": "r2",
    "line_type": "part",
    "minutes": 20,
    "position": "chain",
    "is_goodwill": True,
    "quote_line": "q1l1",
}

# kind -> (a payload with everything that has a column, the columns DEVELOPERS.md says it gives)
ROWS = {
    "bike_registered": (
        {
            "make": "Brigg",
            "model": "Skerry",
            "speeds": 11,
            "riding": "commuting",
            "bike_kind": "cargo",
            "first_used_on": "2024-05-01",
        },
        {
            "make": "Brigg",
            "model": "Skerry",
            "speeds": 11,
            "riding": "commuting",
            "bike_kind": "cargo",
            "first_used_on": "2024-05-01",
        },
    ),
    "rider_changed": (
        {"rider": "r1", "keeper": "r2", "payer": "r3", "riding": "touring"},
        {"rider": "r1", "keeper": "r2", "payer": "r3", "riding": "touring"},
    ),
    "distance_read": (
        {
            "odometer": {"value": "100", "unit": "mi", "canonical": "160.934"},
            "source": "told",
            "computer_replaced": True,
        },
        {"distance_km": Decimal("160.934"), "outcome": "told", "is_computer_replaced": True},
    ),
    "photo_attached": (
        {"photo": "ab" * 32, "key": "k1", "media_type": "image/png", "position": "fork"},
        {"position": "fork"},
    ),
    "bike_linked": ({"first": {"bike": "AAAAAAAA"}, "second": {"bike": "BBBBBBBB"}}, {}),
    "job_opened": (
        {
            "tier": "full",
            "riding": "racing",
            "promised_at": "2026-03-05T16:00:00Z",
            "ceiling_minor": 20000,
            "currency": "EUR",
            "come_back_of": "j0",
        },
        {
            "tier": "full",
            "riding": "racing",
            "promised_at": datetime(2026, 3, 5, 16, tzinfo=UTC),
            "money_minor": 20000,
            "currency": "EUR",
            "come_back_of": "j0",
        },
    ),
    "job_held": ({"waiting_for": "part"}, {"outcome": "part"}),
    "job_resumed": ({}, {}),
    "quote_given": (
        {
            "quote": "q1",
            "form": "up to",
            "currency": "EUR",
            "lines": [LINE],
            "is_found_later": True,
            "replaces": "q0",
        },
        {
            "quote": "q1",
            "outcome": "up to",
            "currency": "EUR",
            "lines": [LINE_COLUMNS],
            "is_found_later": True,
            "replaces_quote": "q0",
        },
    ),
    "quote_answered": (
        {"quote": "q1", "answers": [{"line": "l1", "answer": "no reply"}], "how": "phone"},
        {"quote": "q1", "lines": [{"line_id": "l1", "answer": "no reply"}]},
    ),
    "labour_started": (
        {"task": "true_wheel", "minutes_kind": "come-back"},
        {"task": "true_wheel", "minutes_kind": "come-back"},
    ),
    "labour_stopped": (
        {"minutes": 12, "is_paused": True},
        {"minutes": 12, "is_paused": True},
    ),
    "labour_logged": (
        {"task": "true_wheel", "minutes": 30, "minutes_kind": "found later"},
        {"task": "true_wheel", "minutes": 30, "minutes_kind": "found later"},
    ),
    "goodwill_given": (
        {
            "task": "bed_in",
            "position": "front_brake",
            "minutes": 5,
            "value_minor": 400,
            "currency": "EUR",
        },
        {
            "task": "bed_in",
            "position": "front_brake",
            "minutes": 5,
            "minutes_kind": "goodwill",
            "money_minor": 400,
            "currency": "EUR",
        },
    ),
    "advised": (
        {
            "position": "chain",
            "verdict": "due",
            "urgency": "soon",
            "price_minor": 4500,
            "currency": "EUR",
        },
        {
            "position": "chain",
            "verdict": "due",
            "outcome": "soon",
            "money_minor": 4500,
            "currency": "EUR",
        },
    ),
    "advice_answered": (
        {"advice": event_id(9), "answer": "later", "how": "phone"},
        {"target_id": id_bytes(event_id(9)), "outcome": "later"},
    ),
    "released": ({"is_test_ridden": True}, {}),
    "job_closed": (
        {"currency": "EUR", "lines": [LINE]},
        {"currency": "EUR", "lines": [LINE_COLUMNS]},
    ),
    "come_back_judged": (
        {"is_come_back": True, "answers": "j0"},
        {"is_come_back": True, "come_back_of": "j0"},
    ),
    "inspected": (
        {"position": "headset", "verdict": "watch", "fault": "play", "cause": "worn"},
        {
            "position": "headset",
            "verdict": "watch",
            "fault": "play",
            "cause": "worn",
            "fault_position": "headset",
        },
    ),
    "diagnosed": (
        {
            "position": "rear_brake",
            "symptom": "squeal",
            "cause": "glazed",
            "why_stopped": "cause found",
        },
        {
            "position": "rear_brake",
            "fault": "squeal",
            "cause": "glazed",
            "outcome": "cause found",
            "fault_position": "rear_brake",
        },
    ),
    "measured": (
        {
            "position": "chain",
            "quantity": "elongation",
            "point": "big ring",
            "part": "p1",
            "low": {"value": "0.5", "unit": "%", "canonical": "0.500"},
            "high": {"value": "0.75", "unit": "%", "canonical": "0.750"},
            "over_pitches": 8,
            "gauge": "g1",
            "limit": {"value": "0.5", "unit": "%", "canonical": "0.500"},
            "verdict": "due",
        },
        {
            "position": "chain",
            "quantity": "elongation",
            "unit": "%",
            "point": "big ring",
            "part": "p1",
            "value_low": Decimal("0.5"),
            "value_high": Decimal("0.75"),
            "gauge_mark_pitches": 8,
            "gauge": "g1",
            "limit_value": Decimal("0.5"),
            "verdict": "due",
        },
    ),
    "part_fitted": (
        {
            "position": "rear_brake.pads",
            "part": "p2",
            "make": "Halyard",
            "model": "Grip",
            "origin": "warranty",
            "is_found": False,
            "replaces": "p1",
            "puts_right": WORK,
        },
        {
            "position": "rear_brake.pads",
            "part": "p2",
            "make": "Halyard",
            "model": "Grip",
            "outcome": "warranty",
            "is_found": False,
            "replaces": "p1",
            **WORK_COLUMNS,
        },
    ),
    "part_removed": (
        {"position": "rear_brake.pads", "part": "p1", "reason": "worn", "puts_right": WORK},
        {"position": "rear_brake.pads", "part": "p1", "outcome": "worn", **WORK_COLUMNS},
    ),
    "adjusted": (
        {
            "position": "stem",
            "quantity": "torque",
            "point": "upper bolt",
            "after": {"value": "5", "unit": "N·m", "canonical": "5.000"},
            "tool": "t1",
            "puts_right": {"fault": "loose"},
        },
        {
            "position": "stem",
            "quantity": "torque",
            "unit": "N·m",
            "point": "upper bolt",
            "value": Decimal(5),
            "gauge": "t1",
            "fault": "loose",
            "fault_position": "stem",
        },
    ),
    "treated": (
        {
            "position": "rear_brake",
            "treatment": "sanded",
            "is_preventive": True,
            "puts_right": WORK,
        },
        {"position": "rear_brake", "outcome": "sanded", "is_preventive": True, **WORK_COLUMNS},
    ),
    "noted": ({"position": "fork", "text": SEALED}, {"position": "fork"}),
    "terms_set": ({"from_on": "2026-01-01", "currency": "EUR"}, {}),
    "mechanic_registered": ({"mechanic": "m2", "name": SEALED}, {}),
    "gauge_registered": ({"gauge": "g2", "label": "Gauge", "quantities": ["elongation"]}, {}),
    "event_struck": (
        {"target": event_id(4), "reason": SEALED},
        {"target_id": id_bytes(event_id(4))},
    ),
}
ENVELOPE = {
    "seq": 12,
    "commit": 3,
    "id": id_bytes(event_id(12)),
    "shop": "quay",
    "bike": "7K3M9QXA",
    "job": "j1",
    "actor": "m1",
    "occurred_at": datetime(2026, 3, 2, 9, tzinfo=UTC),
    "recorded_at": datetime(2026, 3, 2, 9, 5, tzinfo=UTC),
    "restores_id": id_bytes(event_id(7)),
}


def an_event(kind, data):
    version = event_classes()[kind].model_fields["schema_version"].default
    return parse_event(
        {
            "id": event_id(12),
            "seq": 12,
            "kind": kind,
            "schema_version": version,
            "shop": "quay",
            "bike": "7K3M9QXA",
            "job": "j1",
            "actor": "m1",
            "occurred_at": "2026-03-02T10:00:00+01:00",
            "recorded_at": "2026-03-02T09:05:00Z",
            "restores": event_id(7),
            "data": data,
        }
    )


@pytest.mark.parametrize("kind", sorted(event_classes()))
def test_each_kind_gives_the_columns_of_the_table(kind):
    """A payload with everything in it gives exactly the columns the table lists, no others."""
    data, columns = ROWS[kind]
    event = an_event(kind, data)
    envelope = {**ENVELOPE, "kind": kind, "schema_version": event.schema_version}
    assert hot_row(event, 3, UNITS) == envelope | columns


def test_a_reading_with_a_value_fills_value():
    """An exact reading stands in `value`, not in the interval."""
    value = {"value": "72", "unit": "psi", "canonical": "4.964"}
    data = {"position": "front_tyre", "quantity": "pressure", "value": value}
    row = hot_row(an_event("measured", data), 3, UNITS)
    assert row["value"] == Decimal("4.964")
    assert row["unit"] == "bar"
    assert "value_low" not in row


def columns_in_developers():
    text = DEVELOPERS.read_text().split("## Hot columns")[1].split("\n## ")[0]
    rows = re.findall(r"^\| ([a-z_, ]+) \| (.+?) \| .+ \|$", text, re.MULTILINE)
    return [(name, kind) for names, kind in rows if names != "column" for name in names.split(", ")]


def test_the_schema_is_the_documented_table():
    """DEVELOPERS.md names every column of the schema, in order, with its type."""
    types = {
        "int64": pa.int64(),
        "int32": pa.int32(),
        "int16": pa.int16(),
        "text": pa.string(),
        "binary": pa.binary(),
        "bool": pa.bool_(),
        "fixed binary 2": pa.binary(2),
        "fixed binary 16": pa.binary(16),
        "timestamp µs UTC": pa.timestamp("us", tz="UTC"),
        "decimal(18,6)": pa.decimal128(18, 6),
    }
    documented = columns_in_developers()
    assert [name for name, _ in documented] == EVENT_SCHEMA.names
    for name, kind in documented:
        if name == "lines":
            inner = EVENT_SCHEMA.field("lines").type.value_type
            listed = re.findall(r"(\w+) (?:text|int\w+|bool|decimal\(12,3\))", kind)
            assert [field.name for field in inner] == listed
        else:
            assert EVENT_SCHEMA.field(name).type == types[kind], name


def leaves(kind):
    if pa.types.is_list(kind):
        return leaves(kind.value_type)
    if pa.types.is_struct(kind):
        return [leaf for field in kind for leaf in leaves(field.type)]
    return [kind]


def test_no_column_is_a_float_or_unsigned():
    """Figures are decimals and whole numbers signed: nothing is rounded, and Spark reads it."""
    for field in EVENT_SCHEMA:
        for leaf in leaves(field.type):
            assert not pa.types.is_floating(leaf), field.name
            assert not pa.types.is_unsigned_integer(leaf), field.name


@given(st.sampled_from(sorted(ROWS)))
def test_no_cell_is_a_float(kind):
    """No value that any kind lays out was ever a binary float."""

    def values(cell):
        if isinstance(cell, dict):
            return [value for inner in cell.values() for value in values(inner)]
        if isinstance(cell, list):
            return [value for inner in cell for value in values(inner)]
        return [cell]

    row = hot_row(an_event(kind, ROWS[kind][0]), 3, UNITS)
    assert not any(isinstance(value, float) for value in values(row))


@given(st.decimals(-999999, 999999, places=6))
def test_a_figure_comes_out_exactly_as_it_went_in(figure):
    """A canonical figure of up to six digits after the point is laid out to the last digit."""
    value = {"value": "1", "unit": "%", "canonical": f"{figure:f}"}
    data = {"position": "chain", "quantity": "elongation", "value": value}
    assert hot_row(reading(1, data=data), 1, UNITS)["value"] == figure


@pytest.mark.parametrize(
    ("kind", "data", "field"),
    [
        ("bike_registered", {"speeds": 40000}, "speeds"),
        (
            "job_closed",
            {"currency": "EUR", "lines": [{**LINE, "quantity": "1000000000"}]},
            "lines.quantity",
        ),
        (
            "measured",
            {
                "position": "chain",
                "quantity": "gap",
                "value": {"value": "1", "unit": "mm", "canonical": "999999999999.9999999"},
            },
            "value",
        ),
    ],
)
def test_a_figure_too_large_for_its_column_is_refused(kind, data, field):
    """What has no place is refused by name, never cut or wrapped."""
    with pytest.raises(Refused) as refused:
        hot_row(an_event(kind, data), 1, UNITS)
    assert [problem.field for problem in refused.value.problems] == [field]


def test_a_quantity_the_shop_adds_has_its_unit():
    """The unit column knows quantities from the terms that add them."""
    added = {
        "code": "grip_force", "label": "grip", "unit": "N", "digits": 1,
        "lowest": "0", "highest": "900",
    }  # fmt: skip
    terms = an_event("terms_set", {"from_on": "2026-01-01", "quantities": [added]})
    assert units_after(UNITS, [terms])["grip_force"] == "N"
    assert units_after(UNITS, [reading(1)]) == UNITS


def test_every_kind_has_its_columns_declared():
    """No kind is left out of the table in the code, and none in it is unknown."""
    assert set(COLUMNS) == set(event_classes()) == set(ROWS)
