import json

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import pytest
from storage_events import UNITS, readings

from ledger.storage import bulk
from ledger.storage.footer import add_self_hash, read_footer
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
    """A file written before a column was added is whole without it."""
    rewritten(tmp_path / segment_name(1, 2), lambda table: table.drop_columns(["money_minor"]))
    assert log.verify_roots() == []


def test_a_segment_without_a_column_of_its_envelopes_is_found(log, tmp_path):
    """Nothing says what its events were hashed by: it cannot be read, and is named."""
    rewritten(tmp_path / segment_name(3, 4), lambda table: table.drop_columns(["actor"]))
    assert (segment_name(3, 4), "the file") in found(log)
    with pytest.raises(pa.ArrowInvalid, match="no column 'actor'"):
        list(read_events((tmp_path / segment_name(3, 4)).read_bytes()))


def test_problems_read_as_plain_data(log, tmp_path):
    """Each problem says where, what and what to do, and its rule has a stable name."""
    rewritten(tmp_path / commit_name(5), lambda table: table.filter(pc.field("seq") != 27))
    problem = log.verify_roots()[0]
    assert json.dumps([problem.event, problem.field, problem.rule])
    assert "backup" in str(problem)
