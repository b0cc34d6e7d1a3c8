"""Any one bit of any file that is turned is found, and named by its event where it falls in one."""

import io
import random
import re

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from storage_events import UNITS, reading, readings

from ledger.storage import bulk, segment
from ledger.storage.footer import add_self_hash, check_self_hash, footer_size
from ledger.storage.listing import commit_name, segment_name, settled_listing
from ledger.storage.local import LocalStore
from ledger.storage.log import Log
from ledger.storage.verify import Apart, verify_covered, verify_log

SEED = 20261129
NAMED = re.compile(r", events? ([\d, ]+)(?: to (\d+))?(?: and \d+ more)?$")
MORE = re.compile(r" and (\d+) more$")
MARK = b"lockring.sha256\x18\x40"


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    """A log of two segments in small row groups, and a last commit: 60, 60 and 6 events."""
    made = tmp_path_factory.mktemp("flips")
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(bulk, "ROWS_IN_SEGMENT", 60)
        patch.setattr(segment, "ROWS_IN_GROUP", 25)
        log = Log(LocalStore(made), UNITS)
        log.write_segment(readings(1 + 6 * n, 6) for n in range(21))
    assert [len(path.name) for path in log.paths()] == [35, 35, 22]
    return made


@pytest.fixture(scope="module")
def apart():
    """The process that damaged files are read in, shared by all flips."""
    made = Apart()
    yield made
    made.close()


def verified(folder, apart=None):
    store = LocalStore(folder)
    return verify_log(store, settled_listing(store.names), UNITS, apart=apart)


def with_content(path, content, check):
    """Give what a check finds while a file holds other bytes."""
    whole = path.read_bytes()
    path.chmod(0o644)
    path.write_bytes(content)
    try:
        return check()
    finally:
        path.write_bytes(whole)


def flipped(content, bit):
    turned = bytearray(content)
    turned[bit // 8] ^= 1 << bit % 8
    return bytes(turned)


def pages_end(content):
    """Give where the last page ends: from there on nothing belongs to one event."""
    metadata = pq.read_metadata(pa.BufferReader(content))
    group = metadata.row_group(metadata.num_row_groups - 1)
    columns = [group.column(place) for place in range(group.num_columns)]
    return max(
        (one.dictionary_page_offset or one.data_page_offset) + one.total_compressed_size
        for one in columns
    )


def changed_events(content, turned):
    """Give the seqs whose rows decode to something else; None where they decode no more."""
    before = pq.read_table(pa.BufferReader(content))
    try:
        after = pq.read_table(pa.BufferReader(turned))
    except (pa.ArrowException, OSError, ValueError):
        return None
    found = set()
    for name in before.column_names:
        for row, seq in enumerate(before["seq"].to_pylist()):
            if not before[name][row].equals(after[name][row]):
                found.add(seq)
    return found


def named_events(problems):
    """Give the seqs that problems name."""
    found = set()
    for problem in problems:
        if (named := NAMED.search(problem.event)) is None:
            continue
        numbers = [int(number) for number in named[1].replace(" ", "").split(",") if number]
        found |= set(range(numbers[0], int(named[2]) + 1)) if named[2] else set(numbers)
    return found


def names_all(problems, changed):
    """Tell whether problems name these seqs: one by one, or so many that some are only counted."""
    for problem in problems:
        if (counted := MORE.search(problem.event)) and named_events([problem]) <= changed:
            return len(named_events([problem])) + int(counted[1]) == len(changed)
    return changed <= named_events(problems)


def names_events_or_rows(problems):
    return any(", event" in one.event or "row group" in one.event for one in problems)


def test_the_log_is_whole(folder):
    """Without a turned bit nothing is found."""
    assert verified(folder) == []


@pytest.mark.parametrize(
    "name", [segment_name(1, 10), segment_name(11, 20), commit_name(21)], ids=["s", "s2", "c"]
)
def test_a_bit_turned_in_a_page_names_its_event(folder, apart, name):
    """Rows that decode to something else are named; of a page that does not, who is in it."""
    rng = random.Random(f"{SEED} {name}")
    path = folder / name
    content = path.read_bytes()
    told = {"changed": 0, "undecodable": 0}
    for attempt in range(120):
        if attempt >= 16 and all(told.values()):
            break
        turned = flipped(content, rng.randrange(32, 8 * pages_end(content)))
        problems = with_content(path, turned, lambda: verified(folder, apart))
        assert any(one.rule == "self_hash" for one in problems)
        changed = changed_events(content, turned)
        if changed is None:
            told["undecodable"] += 1
            assert names_events_or_rows(problems), problems
        elif changed:
            told["changed"] += 1
            assert names_all(problems, changed), (changed, problems)
    assert all(told.values()), f"seed {SEED} came to no case of one kind: {told}"


@pytest.mark.parametrize("name", [segment_name(1, 10), commit_name(21)], ids=["s", "c"])
def test_a_bit_turned_beside_the_pages_is_found(folder, apart, name):
    """Bloom filters, statistics, the footer, its length and the last sign of the file."""
    path = folder / name
    content = path.read_bytes()
    rng = random.Random(f"{SEED} beside {name}")
    start, footer = pages_end(content), len(content) - footer_size(content[-8:])
    bits = [8 * start, 8 * footer, 8 * len(content) - 1, 8 * len(content) - 40]
    for at, end in ((start, footer), (footer, len(content))):
        bits += [rng.randrange(8 * at, 8 * end) for _ in range(4) if end > at]
    for bit in bits:
        found = with_content(path, flipped(content, bit), lambda: verified(folder, apart))
        assert found, bit
        assert found[0].event.startswith(name), bit


def test_every_bit_of_a_tiny_file_is_covered_by_its_hash(tmp_path):
    """Turning any single bit of a file of one event changes what its own hash is held to."""
    log = Log(LocalStore(tmp_path), UNITS)
    log.commit(lambda head: [reading(1)])
    content = (tmp_path / commit_name(1)).read_bytes()
    assert check_self_hash(content)
    turned = bytearray(content)
    for place in range(len(content)):
        for bit in range(8):
            turned[place] ^= 1 << bit
            assert not check_self_hash(turned), (place, bit)
            turned[place] ^= 1 << bit


def rehashed(content):
    """Give a file with the hash it carries made right again, as a forger would."""
    at = content.rindex(MARK) + len(MARK)
    return add_self_hash(content[:at] + b"0" * 64 + content[at + 64 :])


def test_a_forged_bloom_filter_is_found(folder):
    """A filter that hides a bike from who looks for it is named, though the hash is right."""
    path = folder / segment_name(1, 10)
    content = path.read_bytes()
    header = content.index(b"\x1c\x1c\x00\x00" * 3, pages_end(content))
    start = header + 13
    end = content.index(b"\x1c\x1c\x00\x00" * 3, start) - 8
    hidden = content[:start] + bytes(end - start) + content[end:]
    problems = with_content(path, rehashed(hidden), lambda: verified(folder))
    assert {(one.event, one.field, one.rule) for one in problems} == {
        (path.name, "bike", "statistics")
    }
    assert "(row group 1)" in problems[0].wrong and "bloom filter" in problems[0].wrong


def test_a_decoy_does_not_hide_forged_bloom_filters(folder):
    """Filters are looked at where the footer has readers find them, however many there are."""
    path = folder / segment_name(1, 10)
    content = path.read_bytes()
    header = b"\x15\x40" + b"\x1c\x1c\x00\x00" * 3 + b"\x00"
    footer = len(content) - footer_size(content[-8:])
    forged, at = bytearray(content[:footer]), pages_end(content)
    while (found := forged.find(b"\x1c\x1c\x00\x00" * 3, at)) >= 0:
        end = forged.find(b"\x1c\x1c\x00\x00" * 3, found + 13) - 8
        end = end if end > 0 else footer
        forged[found + 13 : end] = bytes(end - found - 13)
        at = end
    forged += header + bytes(32) + content[footer:]
    problems = with_content(path, rehashed(bytes(forged)), lambda: verified(folder))
    assert {(one.field, one.rule) for one in problems} == {("bike", "statistics")}


def test_an_index_or_filter_that_nobody_of_ours_writes_is_found(folder):
    """Readers would believe an index of pages, or a filter on another column."""
    path = folder / segment_name(1, 10)
    with pq.ParquetFile(path) as file:
        table, metadata = file.read(), file.schema_arrow.metadata
    for more in ({"write_page_index": True}, {"bloom_filter_options": {"seq": True}}):
        made = io.BytesIO()
        pq.write_table(table.replace_schema_metadata(metadata), made, **more)
        problems = with_content(path, rehashed(made.getvalue()), lambda: verified(folder))
        assert "statistics" in {one.rule for one in problems}, more


@pytest.mark.parametrize("step", [1, -1], ids=["least", "greatest"])
def test_a_forged_statistic_is_found(folder, step):
    """Bounds that leave out a bike are named, though the file's hash is right."""
    path = folder / commit_name(21)
    content = path.read_bytes()
    footer = len(content) - footer_size(content[-8:])
    bikes = sorted(pq.read_table(pa.BufferReader(content))["bike"].to_pylist())
    told = (bikes[0] if step > 0 else bikes[-1]).encode()
    lie = told[:-1] + bytes([told[-1] + step])
    forged = content[:footer] + content[footer:].replace(told, lie)
    assert forged != content
    problems = with_content(path, rehashed(forged), lambda: verified(folder))
    assert ("bike", "statistics") in {(one.field, one.rule) for one in problems}
    assert {one.rule for one in problems} == {"statistics"}


def test_what_brings_a_reader_down_is_a_problem(folder, monkeypatch):
    """Where reading a damaged file ends the process that reads, that is said, and the rest read."""
    path = folder / segment_name(1, 10)
    turned = flipped(path.read_bytes(), 400)
    broken = Apart()
    monkeypatch.setattr("ledger.storage.verify.look_at", _down)
    file = settled_listing(LocalStore(folder).names).files[0]
    looked = broken.look_at(file, turned, None, 0, {})
    assert [one.rule for one in looked.problems] == ["self_hash", "unreadable"]
    assert "breaks off" in looked.problems[1].wrong
    broken.close()


def _down(*_):
    import os

    os.abort()


def test_a_covered_file_is_held_to_the_same(folder, tmp_path):
    """A commit's file that a segment has taken the place of must still say what it said."""
    store = LocalStore(folder)
    covered = Log(LocalStore(tmp_path), UNITS)
    covered.commit(lambda head: readings(1, 6))
    beside = folder / commit_name(1)
    try:
        beside.write_bytes((tmp_path / commit_name(1)).read_bytes())
        assert verify_covered(store, settled_listing(store.names)) == []
        beside.write_bytes(flipped(beside.read_bytes(), 3000))
        (found,) = verify_covered(store, settled_listing(store.names))
        assert (found.event, found.rule) == (commit_name(1), "self_hash")
        beside.write_bytes(b"a shopping list")
        assert len(verify_covered(store, settled_listing(store.names))) == 1
        (tmp_path / "other").mkdir()
        other = Log(LocalStore(tmp_path / "other"), UNITS)
        other.commit(lambda head: readings(1, 5))
        beside.write_bytes((tmp_path / "other" / commit_name(1)).read_bytes())
        (found,) = verify_covered(store, settled_listing(store.names))
        assert found.rule == "root"
    finally:
        beside.unlink()
