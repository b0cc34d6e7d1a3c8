import base64
import json
import zlib

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import pytest
from storage_events import UNITS, readings

from ledger.storage import bulk
from ledger.storage.footer import PackedMarks, add_self_hash, read_footer
from ledger.storage.listing import commit_name, segment_name
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from ledger.storage.segment import read_events


@pytest.fixture
def log(tmp_path, monkeypatch):
    """A log of two segments and a commit: s-1-2, s-3-4 and c-5, six events each."""
    monkeypatch.setattr(bulk, "ROWS_IN_SEGMENT", 10)
    log = Log(LocalStore(tmp_path), UNITS)
    log.write_segment(readings(1 + 6 * n, 6) for n in range(5))
    return log


def rewritten(path, change, **said):
    """Write a file again with its table changed, in the same footer and with a right self-hash."""
    content = path.read_bytes()
    footer = read_footer(content).to_metadata() | said
    table = change(pq.read_table(pa.BufferReader(content)))
    sink = pa.BufferOutputStream()
    with pq.ParquetWriter(sink, table.schema, store_schema=False) as writer:
        writer.write_table(table)
        writer.add_key_value_metadata(footer)
    path.write_bytes(add_self_hash(sink.getvalue().to_pybytes()))


def replaced(table, name, column):
    return table.set_column(table.schema.get_field_index(name), table.schema.field(name), column)


def found(log):
    return {(problem.event, problem.field) for problem in log.verify_roots()}


def test_a_whole_log_has_nothing_wrong(log):
    """Every hash, root and column that is recomputed is the one that stands there."""
    assert log.verify_roots() == []


def test_a_file_that_is_only_written_anew_has_nothing_wrong(log, tmp_path):
    """What is checked is what the file says, not how another writer packed it."""
    rewritten(tmp_path / segment_name(3, 4), lambda table: table)
    assert log.verify_roots() == []


def test_a_flipped_bit_in_an_old_segment_is_found(log, tmp_path):
    """The self-hash of every file is recomputed, not only of the newest."""
    path = tmp_path / segment_name(1, 2)
    content = bytearray(path.read_bytes())
    content[40] ^= 1
    path.write_bytes(content)
    assert (segment_name(1, 2), "lockring.sha256") in found(log)


@pytest.mark.parametrize(
    ("column", "value"),
    [("value", "9.000000"), ("unit", "mm"), ("minutes", "7"), ("position", "fork")],
)
def test_a_hot_column_that_lies_is_found(log, tmp_path, column, value):
    """A column changed beside untouched canonical bytes is named, with the events it lies of."""

    def lie(table):
        whole = table[column].to_pylist()
        text = pa.array([value] * len(whole)).cast(table.schema.field(column).type)
        return replaced(table, column, text)

    name = segment_name(3, 4)
    rewritten(tmp_path / name, lie)
    assert found(log) == {(f"{name}, events 13 to 24", column)}


@pytest.mark.parametrize(
    ("column", "value"),
    [("bike", "CCCCCCCC"), ("kind", "adjusted"), ("actor", "eve"), ("seq", 99), ("job", "j-1")],
)
def test_an_envelope_that_lies_is_found(log, tmp_path, column, value):
    """In a segment it is what was hashed: each event it lies of is named, and the first root."""

    def lie(table):
        kind = table.schema.field(column).type
        is_one = pc.equal(table["seq"], 20)
        return replaced(table, column, pc.if_else(is_one, pa.scalar(value, kind), table[column]))

    name = segment_name(3, 4)
    rewritten(tmp_path / name, lie)
    seq = 99 if column == "seq" else 20
    assert (f"{name}, event {seq}", "canonical") in found(log)
    assert any(field == "root" for _, field in found(log))


def test_an_event_changed_after_it_was_committed_is_found(log, tmp_path):
    """Canonical bytes that were rewritten, columns and self-hash to match, do not give the root."""

    def rewrite(table):
        texts = [text.as_py().replace(b'"0.42"', b'"0.24"') for text in table["canonical"]]
        return replaced(table, "canonical", pa.array(texts, pa.binary()))

    rewritten(tmp_path / segment_name(1, 2), rewrite)
    assert (f"{segment_name(1, 2)}, events 1 to 6", "root") in found(log)


def test_an_event_taken_out_is_found(log, tmp_path):
    """A missing event shows as a gap in seq and a root that does not follow."""
    rewritten(tmp_path / commit_name(5), lambda table: table.filter(pc.field("seq") != 27))
    assert found(log) == {
        (f"{commit_name(5)}, event 27", "seq"),
        (f"{commit_name(5)}, events 25 to 30", "root"),
    }


def test_an_event_put_in_is_found(log, tmp_path):
    """An event that belongs to no commit of the file is named as such."""

    def twice(table):
        return pa.concat_tables([table, table.slice(0, 1)])

    rewritten(tmp_path / commit_name(5), twice)
    assert (commit_name(5), "seq") in found(log)
    assert (f"{commit_name(5)}, events 25 to 30", "root") in found(log)


def test_a_file_under_another_name_is_found(log, tmp_path):
    """A segment that holds other commits than its name says is named."""
    (tmp_path / segment_name(3, 4)).write_bytes((tmp_path / segment_name(1, 2)).read_bytes())
    assert found(log) == {(segment_name(3, 4), "the file"), (commit_name(5), "root")}
    assert "holds commits 1 to 2" in log.verify_roots()[0].wrong


def test_a_file_that_is_no_parquet_is_found(log, tmp_path):
    """A file of something else is one problem, and that the next file's roots hang on it."""
    (tmp_path / segment_name(3, 4)).write_bytes(b"a shopping list")
    whose, after = log.verify_roots()
    assert (whose.event, whose.field) == (segment_name(3, 4), "the file")
    assert "events after 12" in whose.wrong
    assert (after.event, after.rule) == (commit_name(5), "root_not_checked")


def test_a_damaged_file_does_not_hide_another(log, tmp_path):
    """What comes after a file that cannot be read is looked at all the same."""
    (tmp_path / segment_name(1, 2)).write_bytes(b"a shopping list")
    rewritten(tmp_path / commit_name(5), lambda table: table.filter(pc.field("seq") != 27))
    assert {segment_name(1, 2), f"{commit_name(5)}, event 27"} <= {name for name, _ in found(log)}


def test_a_column_added_later_may_be_missing(log, tmp_path):
    """A commit's file written before columns were added is whole without them."""
    rewritten(tmp_path / commit_name(5), lambda table: table.select(table.column_names[:-7]))
    assert log.verify_roots() == []


def renamed(table, old, new):
    return table.rename_columns([new if name == old else name for name in table.column_names])


CHANGED = {
    "without one in between": (lambda table: table.drop_columns(["minutes"]), "minutes"),
    "without what it began with": (
        lambda table: table.select(table.column_names[:40]),
        "is_computer_replaced",
    ),
    "of another case": (lambda table: renamed(table, "distance_km", "Distance_KM"), "distance_km"),
    "twice, in another case": (
        lambda table: table.append_column("Distance_KM", table["distance_km"]),
        "Distance_KM",
    ),
    "of another type": (
        lambda table: table.set_column(2, "id", pc.cast(table["id"], pa.binary())),
        "id",
    ),
}


@pytest.mark.parametrize("name", [segment_name(3, 4), commit_name(5)], ids=["s", "c"])
@pytest.mark.parametrize("how", CHANGED)
def test_columns_that_are_not_the_books_are_found(log, tmp_path, how, name):
    """Some readers would take one for another, or nothing for a figure: the column is named."""
    change, column = CHANGED[how]
    rewritten(tmp_path / name, change)
    assert (name, column) in found(log)


def test_a_segment_needs_its_newest_columns(log, tmp_path):
    """No segment with payloads apart was ever written without sums."""
    name = segment_name(1, 2)
    rewritten(tmp_path / name, lambda table: table.drop_columns(["canonical_sum"]))
    assert (name, "canonical_sum") in found(log)


@pytest.mark.parametrize("column", ["canonical", "actor", "recorded_at", "canonical_sum"])
def test_an_event_that_lacks_what_it_must_have_is_found(log, tmp_path, column):
    """A null where no event has one is named by its event."""

    def without(table):
        kind = table.schema.field(column).type
        is_one = pc.equal(table["seq"], 20)
        nulls = pc.if_else(is_one, pa.scalar(None, kind), table[column])
        return table.set_column(table.column_names.index(column), pa.field(column, kind), nulls)

    rewritten(tmp_path / segment_name(3, 4), without)
    assert (f"{segment_name(3, 4)}, event 20", column) in found(log)


@pytest.mark.parametrize("places", [(0, 1), (1, 0)], ids=["sizes", "instants"])
def test_a_list_of_commits_out_of_order_is_damaged(log, tmp_path, places):
    """Steps beyond all time, and sizes that fall, are said to be none."""
    size, instant = places
    steps = np.array([[6, -6 if size == 0 else 6], [0, 0]], np.int64)
    steps[1] += 0 if instant else 2**62
    text = base64.b64encode(zlib.compress(steps.astype(">i8").tobytes())).decode()
    with pytest.raises(ValueError, match="of no order, or of no time"):
        PackedMarks(text, "0" * 80, 1, 2)


def test_a_segment_without_a_column_of_its_envelopes_is_found(log, tmp_path):
    """Nothing says what its events were hashed by: it cannot be read, and is named."""
    rewritten(tmp_path / segment_name(3, 4), lambda table: table.drop_columns(["actor"]))
    assert (segment_name(3, 4), "actor") in found(log)
    with pytest.raises(pa.ArrowInvalid, match="no column 'actor'"):
        list(read_events((tmp_path / segment_name(3, 4)).read_bytes()))


def test_problems_read_as_plain_data(log, tmp_path):
    """Each problem says where, what and what to do, and its rule has a stable name."""
    rewritten(tmp_path / commit_name(5), lambda table: table.filter(pc.field("seq") != 27))
    problem = log.verify_roots()[0]
    assert json.dumps([problem.event, problem.field, problem.rule])
    assert "backup" in str(problem)
