"""Fields added after the first release leave what was written before them as it was."""

import json

import pytest

from ledger.events import canonical_bytes, parse_event

ENVELOPE = {
    "id": "019c0000-0000-7000-8000-000000000001",
    "seq": 1,
    "schema_version": 1,
    "shop": "quayside",
    "actor": "m1",
    "occurred_at": "2026-02-02T08:00:00.000000Z",
    "recorded_at": "2026-02-02T08:00:00.000000Z",
}
LISTS = (
    *("tiers", "tasks", "wages", "limits", "windows", "positions", "quantities", "faults"),
    *("causes", "treatments", "ridings", "bike_kinds"),
)
TIER = {"code": "check", "label": "check", "minutes": 30}
EARLIER = {
    "photo_attached": {"photo": "0" * 64, "key": "book", "media_type": "image/jpeg"},
    "labour_stopped": {"minutes": 12},
    "terms_set": {"from_on": "2026-01-01", **{key: [] for key in LISTS}, "tiers": [TIER]},
    "quote_given": {
        "quote": "q1",
        "form": "fixed",
        "currency": "EUR",
        "is_found_later": False,
        "lines": [
            {
                **{"line": "1", "line_type": "labour", "code": "check", "quantity": "1"},
                **{"net_minor": 5, "tax_rate": "0", "is_goodwill": False},
            }
        ],
    },
}


@pytest.mark.parametrize("kind", sorted(EARLIER))
def test_what_lacks_the_later_fields_keeps_its_bytes(kind):
    """An event of the first release read and written again is the same to the byte."""
    written = {**ENVELOPE, "kind": kind, "data": EARLIER[kind]}
    content = json.dumps(written, sort_keys=True, separators=(",", ":")).encode()
    assert canonical_bytes(parse_event(written)) == content


@pytest.mark.parametrize(
    ("kind", "later"),
    [
        ("labour_stopped", {"is_paused": True}),
        ("terms_set", {"tiers": [{**TIER, "tasks": [{"task": "brakes", "minutes": 30}]}]}),
        ("terms_set", {"paid_hours": "76"}),
        ("terms_set", {"region": "north_shore"}),
        ("quote_given", {"replaces": "q0"}),
        ("photo_attached", {"is_before": False}),
    ],
)
def test_what_has_the_later_fields_keeps_them(kind, later):
    """What the later fields say is written down."""
    written = {**ENVELOPE, "kind": kind, "data": {**EARLIER[kind], **later}}
    content = json.dumps(written, sort_keys=True, separators=(",", ":")).encode()
    assert canonical_bytes(parse_event(written)) == content
