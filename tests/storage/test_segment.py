import json
import random
from datetime import UTC, datetime, timedelta

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from storage_events import START, UNITS, event_id, reading, readings

from ledger.errors import BookDamaged
from ledger.events import canonical_bytes, parse_event
from ledger.storage.footer import (
    CommitMark,
    Footer,
    add_self_hash,
    check_self_hash,
    footer_size,
    parse_footer,
    read_footer,
)
from ledger.storage.head import Head, next_footer
from ledger.storage.merkle import Frontier, leaf_hash
from ledger.storage.schema import EVENT_SCHEMA
from ledger.storage.segment import Entry, encode, encode_segment, read_events, tabulate


def encoded(events):
    canonical = [canonical_bytes(event) for event in events]
    footer = next_footer(Head(), events, canonical)
    entries = [Entry(1, event, text) for event, text in zip(events, canonical, strict=True)]
    return encode(entries, footer, UNITS), footer


A_FILE, ITS_FOOTER = encoded(readings(1, 5))


def test_the_exact_bytes_come_back_in_seq_order():
    """What is read is what was hashed, byte for byte."""
    events = readings(1, 5)
    stored = list(read_events(A_FILE))
    assert [row.canonical for row in stored] == [canonical_bytes(event) for event in events]
    assert [(row.seq, row.commit) for row in stored] == [(seq, 1) for seq in range(1, 6)]


def test_the_footer_says_what_the_file_holds():
    """Format, writer, commits, size, root and frontier stand there as text, for any tool."""
    said = pq.read_metadata(pa.BufferReader(A_FILE)).metadata
    root = Frontier().extend(leaf_hash(canonical_bytes(event)) for event in readings(1, 5)).root()
    assert said[b"lockring.format"] == b"1"
    assert said[b"lockring.first_commit"] == said[b"lockring.last_commit"] == b"1"
    assert said[b"lockring.size"] == b"5"
    assert said[b"lockring.root"] == root.hex().encode()
    assert len(said[b"lockring.sha256"]) == len(said[b"lockring.frontier"]) // 2 == 64
    assert len(said[b"lockring.writer"]) == 32
    assert b"ARROW:schema" not in said


def test_a_footer_is_read_from_the_end_of_the_file_alone():
    """The last bytes are enough, and no others are needed."""
    end = A_FILE[-footer_size(A_FILE) :]
    assert read_footer(end) == read_footer(A_FILE) == ITS_FOOTER


def test_two_files_of_the_same_events_have_different_writers():
    """The token is made anew for each attempt, so that a writer knows its own file."""
    assert encoded(readings(1, 2))[1].writer != encoded(readings(1, 2))[1].writer


MOMENTS = st.datetimes(datetime(1970, 1, 1), datetime(2200, 1, 1)).map(
    lambda moment: moment.replace(tzinfo=UTC)
)


@given(st.integers(1, 10**9), st.lists(st.tuples(st.integers(1, 50), MOMENTS), min_size=1))
def test_a_list_of_commits_comes_back_to_the_microsecond(first, steps):
    """Number, size, root and recording time of every commit survive the footer."""
    frontier, marks = Frontier(), []
    for number, (count, moment) in enumerate(steps, first):
        frontier = frontier.extend(leaf_hash(bytes([n])) for n in range(count))
        marks.append(CommitMark(number, frontier.size, frontier.root().hex(), moment))
    footer = Footer(tuple(marks), frontier, "0f" * 16)
    texts = {key.encode(): text.encode() for key, text in footer.to_metadata().items()}
    read = parse_footer(texts, "f")
    assert read == footer and footer == read
    assert [read.marks[place] for place in range(-len(marks), 0)] == [*read.marks] == marks
    assert read.marks[1:] == tuple(marks[1:]) and marks[-1] in read.marks
    with pytest.raises(IndexError):
        read.marks[len(marks)]


@pytest.mark.parametrize(
    ("key", "text"),
    [
        (b"lockring.format", b"2"),
        (b"lockring.size", b"4"),
        (b"lockring.size", b"many"),
        (b"lockring.root", b"00" * 32),
        (b"lockring.frontier", b"00" * 64),
        (b"lockring.commits", b"AAAA"),
        (b"lockring.commits", b"not base64"),
        (b"lockring.first_commit", b"2"),
    ],
)
def test_a_footer_that_does_not_agree_with_itself_is_damage(key, text):
    """Each part of the footer is held against the others."""
    said = {one.encode(): other.encode() for one, other in ITS_FOOTER.to_metadata().items()}
    with pytest.raises(BookDamaged, match=r"f\.parquet"):
        parse_footer(said | {key: text}, "f.parquet")


@given(st.integers(0, len(A_FILE) * 8 - 1))
@settings(max_examples=500)
def test_a_flipped_bit_anywhere_is_noticed(bit):
    """One bit wrong in data, footer, length, magic or in the hash itself: the file says no."""
    flipped = bytearray(A_FILE)
    flipped[bit // 8] ^= 1 << bit % 8
    assert check_self_hash(A_FILE)
    assert not check_self_hash(bytes(flipped))


@given(st.integers(0, len(A_FILE) - 1))
def test_a_file_cut_short_is_noticed(size):
    """A file that lost its end is not whole."""
    assert not check_self_hash(A_FILE[:size])


def test_text_that_looks_like_the_hash_field_does_not_mislead():
    """Somebody's words in the statistics of a column cannot pass for the file's own hash."""
    decoy = "lockring.sha256\x18\x40" + "0" * 64
    data = {**json.loads(canonical_bytes(reading(1)))["data"], "point": "\x0f" + decoy}
    content, _ = encoded([reading(1, data=data)])
    assert content.count(decoy[:17].encode()) > 1
    assert check_self_hash(content)
    assert pq.read_table(pa.BufferReader(content))["point"].to_pylist() == ["\x0f" + decoy]


def test_a_file_is_hashed_once():
    """A hash is never written over another."""
    with pytest.raises(ValueError, match="no zeroed field"):
        add_self_hash(A_FILE)


@pytest.fixture
def folder(tmp_path):
    (tmp_path / "c-000000000001.parquet").write_bytes(A_FILE)
    return tmp_path


def test_plain_pyarrow_reads_the_folder(folder):
    """pyarrow alone gives the declared columns, and figures as exact decimals."""
    table = pq.read_table(folder)
    assert table.schema.equals(EVENT_SCHEMA)
    assert [str(value) for value in table["value"].to_pylist()] == ["0.420000"] * 5
    assert table["unit"].to_pylist() == ["%"] * 5
    assert json.loads(table["canonical"][0].as_py())["data"]["value"]["value"] == "0.42"


def test_plain_duckdb_reads_the_folder(folder):
    """DuckDB alone sums, filters and opens the canonical bytes."""
    rows = duckdb.sql(
        f"select seq, bike, value, occurred_at, canonical::blob from '{folder}/*.parquet' "
        "where kind = 'measured' and position = 'chain' order by seq"
    ).fetchall()
    assert [row[0] for row in rows] == [1, 2, 3, 4, 5]
    assert str(rows[0][2]) == "0.420000"
    assert rows[0][3].astimezone(UTC) == START + timedelta(seconds=1)
    assert rows[0][4] == canonical_bytes(reading(1))


def test_types_are_ones_every_reader_has(folder):
    """Instants are µs adjusted to UTC, small decimals are integers, ids are fixed bytes."""
    schema = pq.ParquetFile(folder / "c-000000000001.parquet").schema
    columns = {schema.column(i).path: schema.column(i) for i in range(len(schema))}
    for column in columns.values():
        logical = json.loads(column.logical_type.to_json())
        assert column.physical_type in {"BOOLEAN", "INT32", "INT64", "BYTE_ARRAY"} or (
            column.physical_type == "FIXED_LEN_BYTE_ARRAY" and column.length in (2, 16)
        ), column.path
        assert logical.get("isSigned", True), column.path
        if logical["Type"] == "Timestamp":
            assert (logical["isAdjustedToUTC"], logical["timeUnit"]) == (True, "microseconds")
    assert columns["value"].physical_type == "INT64"
    assert columns["lines.list.element.net"].physical_type == "INT64"


def test_statistics_are_kept(folder):
    """A reader can pass over a file by its tags and times."""
    group = pq.read_metadata(folder / "c-000000000001.parquet").row_group(0)
    by_path = {group.column(i).path_in_schema: group.column(i) for i in range(group.num_columns)}
    assert by_path["bike"].statistics.min == "BKE00001"
    assert by_path["bike"].statistics.max == "BKE00005"
    assert by_path["seq"].statistics.max == 5


def test_a_segment_is_sorted_by_bike_then_time_then_seq():
    """Small row groups, each a run of bikes, each bike in the order things occurred."""
    rng = random.Random(4)
    at = {seq: (START + timedelta(hours=rng.randrange(40))).isoformat() for seq in range(1, 10_502)}
    events = [reading(seq, occurred_at=at[seq]) for seq in at]
    canonical = [canonical_bytes(event) for event in events]
    entries = [Entry(1, *pair) for pair in zip(events, canonical, strict=True)]
    table = pa.Table.from_batches([tabulate(entries, UNITS)])
    content = encode_segment(table, next_footer(Head(), events, canonical))
    read = pq.read_table(pa.BufferReader(content), columns=["bike", "occurred_at", "seq"])
    keys = list(zip(*read.to_pydict().values(), strict=True))
    assert keys == sorted(keys)
    metadata = pq.read_metadata(pa.BufferReader(content))
    rows = [metadata.row_group(i).num_rows for i in range(metadata.num_row_groups)]
    assert rows == [10_000, 501]
    assert [row.canonical for row in read_events(content)] == canonical
    assert check_self_hash(content)


def test_an_event_of_an_older_version_keeps_its_version():
    """The version column is what was stored; read, the event is of the newest version."""
    old = {
        "actor": "m1",
        "bike": "7K3M9QXA",
        "data": {"odometer": {"unit": "km", "value": "5"}, "told": True},
        "id": event_id(1),
        "kind": "distance_read",
        "occurred_at": "2026-03-02T09:00:00.000000Z",
        "recorded_at": "2026-03-02T09:00:00.000000Z",
        "schema_version": 1,
        "seq": 1,
        "shop": "quay",
    }
    canonical = json.dumps(old, separators=(",", ":")).encode()
    batch = tabulate([Entry(1, parse_event(old), canonical)], UNITS)
    assert batch["schema_version"].to_pylist() == [1]
    assert batch["outcome"].to_pylist() == ["told"]
    assert batch["canonical"].to_pylist() == [canonical]
