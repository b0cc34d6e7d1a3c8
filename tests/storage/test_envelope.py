"""Payloads apart from their envelopes: whatever was hashed comes back, byte for byte."""

from __future__ import annotations

import json
import uuid
import zlib
from pathlib import Path
from typing import Any

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from storage_events import UNITS, event_id, reading, readings

from ledger.events import Event, canonical_bytes, parse_event
from ledger.storage.envelope import apart, whole
from ledger.storage.footer import Footer, read_footer
from ledger.storage.head import Head, next_footer
from ledger.storage.merkle import Frontier, leaf_hash
from ledger.storage.segment import Entry, encode, encode_segment, read_all, read_events, tabulate
from tests.hashed import hashed

ROOT = Path(__file__).parents[2]
LATER = "2024-03-01T12:00:00.000001Z"


def table_of(events: list[Event]) -> pa.Table:
    entries = [Entry(1, event, canonical_bytes(event)) for event in events]
    return pa.Table.from_batches([tabulate(entries, UNITS)])


def segment_of(commits: list[list[Event]]) -> tuple[bytes, Footer]:
    """A segment of these commits, and its footer."""
    head, marks, tables, footer = Head(), [], [], None
    for events in commits:
        canonical = [canonical_bytes(event) for event in events]
        footer = next_footer(head, events, canonical)
        entries = [Entry(footer.first, *pair) for pair in zip(events, canonical, strict=True)]
        tables.append(tabulate(entries, UNITS))
        marks.extend(footer.marks)
        head = Head.after(footer)
    assert footer is not None
    whole_footer = Footer(tuple(marks), footer.frontier, footer.writer)
    return encode_segment(pa.Table.from_batches(tables), whole_footer), whole_footer


def event(seq: int, **more: Any) -> Event:
    raw = {
        **{"id": event_id(seq), "seq": seq, "shop": "quayside", "bike": "BKE00001"},
        **{"actor": "mia", "kind": "noted", "schema_version": 1},
        **{"occurred_at": "2024-03-01T08:00:00Z", "recorded_at": LATER},
        "data": {"position": "chain", "text": {"key": "book", "sealed": "abcdefghijklmnopqrstuv"}},
    }
    return parse_event({name: value for name, value in (raw | more).items() if value is not None})


BY_HAND = {
    "a reading": event(1),
    "in a job": event(2, job="j-0001"),
    "of no bike": event(
        3, bike=None, kind="mechanic_registered",
        data={"mechanic": "m3", "role": "mechanic", "is_active": True},
    ),
    "recorded again": event(4, restores=event_id(1)),
    "of the first year": event(5, occurred_at="1900-01-01T00:00:00.000001Z"),
    "of the last year": event(6, occurred_at="2199-12-31T23:59:59.999999Z"),
}  # fmt: skip


@pytest.mark.parametrize("name", BY_HAND)
def test_an_envelope_is_said_once(name: str) -> None:
    """Of every shape of envelope the payload alone stays, and the bytes come back."""
    one = BY_HAND[name]
    parted = apart(table_of([one]))
    (left,) = parted["canonical"].to_pylist()
    assert (
        left
        == b'{"data":'
        + json.dumps(
            json.loads(canonical_bytes(one))["data"], separators=(",", ":"), sort_keys=True
        ).encode()
        + b"}"
    )
    assert whole(parted)["canonical"].to_pylist() == [canonical_bytes(one)]
    assert hashed(parted.to_pylist()[0])["canonical"] == canonical_bytes(one)


def test_what_no_column_says_stays_whole() -> None:
    """A clock that was held back has no column: such an event stands as it was hashed."""
    held = event(1, clock_at="2024-03-01T11:00:00Z")
    plain = event(2)
    parted = apart(table_of([held, plain]))
    assert parted["canonical"][0].as_py() == canonical_bytes(held)
    assert parted["canonical"][1].as_py().startswith(b'{"data":')
    assert whole(parted)["canonical"].to_pylist() == [*map(canonical_bytes, (held, plain))]


WORDS = st.text(alphabet=st.characters(exclude_categories=["Cs"]), max_size=12)
IDS = st.binary(min_size=16, max_size=16).map(
    lambda raw: str(
        uuid.UUID(bytes=raw[:6] + bytes([0x70 | raw[6] & 15, raw[7], 0x80 | raw[8] & 63]) + raw[9:])
    )
)
INSTANTS = st.datetimes().map(lambda one: one.replace(year=1900 + one.year % 300).isoformat() + "Z")


@st.composite
def texts(draw: st.DrawFn) -> tuple[Event, bytes]:
    """An event's row, and bytes it may stand beside: its own, or nearly its own, or any."""
    seq = draw(st.integers(1, 2**40))
    one = event(
        seq,
        id=draw(IDS) if draw(st.booleans()) else event_id(1 + seq % 1000),
        job=draw(st.none() | st.just("j-1")),
        restores=draw(st.none() | st.just(event_id(7))),
        occurred_at=draw(INSTANTS),
    )
    raw = json.loads(canonical_bytes(one))
    raw["data"] = draw(
        st.dictionaries(st.sampled_from(["id", "data", "seq", "shop", "actor", ""]) | WORDS, WORDS)
    )
    for name in draw(st.sets(st.sampled_from(sorted(raw)))) if draw(st.booleans()) else ():
        raw[name] = draw(WORDS)
    raw["actor"] = raw["actor"] or "mia"
    text = json.dumps(raw, ensure_ascii=False, separators=(",", ":"), sort_keys=True).encode()
    return one, draw(st.just(text) | st.binary(max_size=40).map(lambda more: b"{" + more))


@given(st.lists(texts(), min_size=1, max_size=6))
@settings(deadline=None)
def test_any_bytes_come_back(rows: list[tuple[Event, bytes]]) -> None:
    """Beside columns that say the same, or nearly, or nothing of it: the very bytes come back."""
    written = [text for _, text in rows if not text.startswith(b'{"data":')]
    table = table_of([one for one, text in rows if not text.startswith(b'{"data":')])
    place = table.schema.get_field_index("canonical")
    table = table.set_column(place, table.schema.field(place), pa.array(written, pa.binary()))
    parted = apart(table)
    assert whole(parted)["canonical"].to_pylist() == written
    assert parted.drop_columns(["canonical", "canonical_sum"]).equals(
        table.drop_columns(["canonical", "canonical_sum"])
    )


def test_a_segment_gives_its_roots_with_duckdb_alone(tmp_path: Path) -> None:
    """As DEVELOPERS.md says: one expression of SQL makes the bytes, their hashes make the root."""
    commits = [[BY_HAND[name]] for name in list(BY_HAND)[:4]]
    content, footer = segment_of(commits)
    (tmp_path / "s.parquet").write_bytes(content)
    stated = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    query = stated.split("-- the bytes that were hashed\n", 1)[1].split("```", 1)[0]
    query = query.replace("events/*.parquet", str(tmp_path / "*.parquet"))
    read = [text for (text,) in duckdb.sql(query).fetchall()]
    assert read == [canonical_bytes(one) for (one,) in commits]
    assert Frontier().extend(map(leaf_hash, read)).root().hex() == footer.last.root


def test_a_segment_says_of_each_event_what_its_bytes_sum_to() -> None:
    """The first two bytes of the CRC-32 stand beside each event of a segment, of a commit none."""
    content, footer = segment_of([readings(1, 5), readings(6, 5)])
    table = pq.read_table(pa.BufferReader(content)).sort_by("seq")
    sums = [
        zlib.crc32(canonical_bytes(reading(seq))).to_bytes(4, "big")[:2] for seq in range(1, 11)
    ]
    assert table["canonical_sum"].to_pylist() == sums
    assert [row.canonical for row in read_events(content)] == [
        canonical_bytes(reading(seq)) for seq in range(1, 11)
    ]
    assert read_footer(content).marks == footer.marks
    with pq.ParquetFile(pa.BufferReader(content)) as file:
        assert [hashed(row)["canonical"] for row in table.to_pylist()] == (
            read_all(file).sort_by("seq")["canonical"].to_pylist()
        )
    events = readings(1, 5)
    canonical = [canonical_bytes(one) for one in events]
    entries = [Entry(1, *pair) for pair in zip(events, canonical, strict=True)]
    alone = encode(entries, next_footer(Head(), events, canonical), UNITS)
    assert pq.read_table(pa.BufferReader(alone))["canonical_sum"].null_count == 5
