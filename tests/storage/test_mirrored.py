"""A log on a real S3-speaking server, read through mirrors, with faults on the way."""

from __future__ import annotations

import time
from datetime import UTC, datetime, timedelta

import pytest
from object_store_places import kept_in, log_of, store_at, way_to
from storage_events import after, readings

from ledger.errors import BookDamaged, BookExists, NotDurable, Unreachable, WriteRefused
from ledger.storage import bulk, compaction, mirrored
from ledger.storage.compaction import compact
from ledger.storage.listing import commit_name, segment_name
from ledger.storage.segment import read_events
from tests.storage.s3_server import s3_server


@pytest.fixture(scope="module")
def server():
    """Give the endpoint of a server, and the address of a bucket on it."""
    with s3_server() as (told, address):
        yield told["AWS_ENDPOINT_URL"], address


@pytest.fixture
def way(server, monkeypatch):
    """Give the way to the server, which tests break."""
    with way_to(server[0], monkeypatch) as way:
        yield way


@pytest.fixture
def address(server, way, tmp_path):
    """Give an empty prefix."""
    return f"{server[1]}/{tmp_path.name}"


@pytest.fixture
def store(address, tmp_path):
    """Give the store, with a mirror of this machine."""
    return store_at(address, tmp_path / "here")


def puts(name):
    """Tell a PUT of this file from every other request."""
    return lambda method, path: method == "PUT" and path.endswith(name)


def seqs(log):
    """Give the seq of every event that a log's mirror holds, in order."""
    return [row.seq for path in log.paths() for row in read_events(path.read_bytes())]


def test_a_file_that_was_created_reads_back(store, tmp_path):
    """What went in comes out, whole or from the end, from the store and from another mirror."""
    store.create("one", b"0123456789")
    other = store_at(store._line.address, tmp_path / "there")
    for one in (store, other):
        assert one.read("one") == b"0123456789"
        assert (one.read_end("one", 3), one.read_end("one", 300)) == (b"789", b"0123456789")
        assert one.names() == ["one"]
        assert abs(one.made_at("one") - datetime.now(UTC)) < timedelta(minutes=5)


def test_a_name_that_is_taken_stays_as_it_is(store):
    """A second create of a name raises FileExistsError and leaves the first file."""
    store.create("one", b"first")
    with pytest.raises(FileExistsError):
        store.create("one", b"second")
    assert store.read("one") == b"first"


def test_a_removed_name_is_free_again(store):
    """A name can be created anew once removed, and removing it twice is no error."""
    store.create("one", b"first")
    store.remove("one")
    store.remove("one")
    for ask in (store.read, store.made_at, lambda name: store.read_end(name, 8)):
        with pytest.raises(FileNotFoundError):
            ask("one")
    store.create("one", b"second")
    assert store.read("one") == b"second"


def test_many_files_stand_together_or_not_at_all(store):
    """If the last word is no, or a name is taken, none of many files stays."""
    files = [("a", b"1"), ("b", b"2"), ("c", b"3")]
    with pytest.raises(FileExistsError):
        store.create_all(files, lambda: False)
    assert store.names() == []
    seen = []
    store.create_all(files, lambda: not seen.extend(n for n in store.names() if n[0] != "."))
    assert (sorted(seen), sorted(store.names())) == (["b", "c"], ["a", "b", "c"])
    store.remove_all(["a", "c"])
    with pytest.raises(FileExistsError):
        store.create_all([(name, b"other") for name, _ in files], lambda: True)
    assert store.names() == ["b"] and store.read("b") == b"2"


def test_a_server_that_does_not_heed_the_condition_is_not_written_to(store, way):
    """Where a second create of a name goes through, recording is refused, and reading is not."""
    log_of(store).commit(after)
    way.ignored = frozenset({"if-none-match"})
    with pytest.raises(WriteRefused, match="If-None-Match"):
        log_of(store).commit(after)
    assert store.names() == [commit_name(1)]
    assert log_of(store).head().commit == 1


@pytest.mark.parametrize("times", [1, 100], ids=["one reply", "every reply"])
def test_a_commit_whose_reply_was_lost_is_found_and_kept_once(store, way, tmp_path, times):
    """The number is read back: our own token there means that it is ours."""
    log = log_of(store)
    log.commit(after)
    lost = iter(range(times))
    is_second = puts(commit_name(2))
    way.drop_reply = lambda method, path: is_second(method, path) and next(lost, None) is not None
    assert log.commit(after).commit == 2
    assert next(lost, None) != 0
    assert log.commit(after).commit == 3
    other = log_of(store_at(store._line.address, tmp_path / "there"))
    assert seqs(other) == [1, 2, 3] and other.verify_roots() == []


def test_a_commit_that_never_arrived_is_not_recorded(store, way):
    """Where the store can be read and holds nothing of it, that is said, and it can be repeated."""
    log = log_of(store)
    log.commit(after)
    way.lose = puts(commit_name(2))
    with pytest.raises(WriteRefused, match="Nothing was recorded"):
        log.commit(after)
    way.lose = lambda method, path: False
    assert log.head().commit == 1
    assert log.commit(after).commit == 2


def test_a_store_that_goes_away_in_the_middle_leaves_it_open_and_the_log_goes_on(store, way):
    """It is said that this is not known; what stands there then is what the next one follows."""
    log = log_of(store)
    log.commit(after)
    is_second = puts(commit_name(2))

    def drop_and_go(method, path):
        way.is_down = way.is_down or is_second(method, path)
        return way.is_down

    way.drop_reply = drop_and_go
    with pytest.raises(NotDurable, match="not known"):
        log.commit(after)
    way.is_down, way.drop_reply = False, lambda method, path: False
    assert log.commit(after).commit == 3
    assert seqs(log) == [1, 2, 3]


def test_the_listing_is_looked_at_again_after_a_commit(store, way):
    """A commit that cannot be looked at again is not acknowledged, though it stands there."""
    log = log_of(store)
    log.commit(after)
    is_second = puts(commit_name(2))
    made = []

    def lose(method, path):
        made.extend([1] if is_second(method, path) else [])
        return bool(made) and method == "GET"

    way.lose = lose
    with pytest.raises(NotDurable, match="not known"):
        log.commit(after)


def test_another_mirror_follows_and_asks_little(store, address, way, tmp_path):
    """A new commit is seen, only what is missing is fetched, and one listing serves a while."""
    log = log_of(store)
    log.commit(after)
    other = log_of(store_at(address, tmp_path / "there", listed_s=0.3))
    assert other.head().commit == 1
    log.commit(after)
    time.sleep(0.3)
    way.passed.clear()
    for _ in range(20):
        head = other.head()
    assert head == log.head()
    assert kept_in(tmp_path / "there") == [commit_name(1), commit_name(2)]
    fetched = [path for _, path in way.passed if "list-type" not in path]
    assert [path.rpartition("/")[2] for path in fetched] == [commit_name(2)]
    assert len(way.passed) - len(fetched) < 10


def test_a_commit_is_three_requests(store, way):
    """List, put, list: what this machine wrote is in its mirror and fetched by nobody here."""
    log = log_of(store)
    log.commit(after)
    way.passed.clear()
    log.commit(after)
    assert seqs(log) == [1, 2]
    assert [method for method, _ in way.passed[:3]] == ["GET", "PUT", "GET"]
    assert [method for method, _ in way.passed].count("PUT") == 1
    assert all("list-type" in path for method, path in way.passed if method == "GET")


def test_a_commit_is_decided_on_what_the_store_holds_now(store, address, tmp_path):
    """However fresh a reader's listing is taken to be, a commit follows the newest one."""
    other = log_of(store_at(address, tmp_path / "there", listed_s=1000))
    assert other.head().commit == 0
    log_of(store).commit(after)
    assert other.head().commit == 0
    heads = []
    other.commit(lambda head: heads.append(head.commit) or after(head))
    assert heads == [1]


def test_without_the_store_the_mirror_is_read_and_nothing_recorded(store, address, way, tmp_path):
    """Reading goes on as of the last commit seen, which is said; writing is refused in words."""
    log_of(store).commit(after)
    there = store_at(address, tmp_path / "there")
    log = log_of(there)
    log_of(store).commit(after)
    way.is_down = True
    told = []
    there._line.tell = lambda: told.append(there.silence)
    assert (log.head().commit, seqs(log)) == (1, [1])
    assert [(one.address, one.commit) for one in told] == [(address, 1)]
    assert abs(told[0].seen_at - datetime.now(UTC)) < timedelta(minutes=5)
    with pytest.raises(WriteRefused, match=r"Nothing was recorded: s3://.* does not answer"):
        log.commit(after)
    anew = log_of(store_at(address, tmp_path / "there"))
    assert anew.head().commit == 1
    with pytest.raises(Unreachable):
        there.read(commit_name(2))


def test_when_the_store_comes_back_it_goes_on_by_itself(store, way):
    """The very same log reads and records on; nobody opens anything anew."""
    log = log_of(store)
    log.commit(after)
    way.is_down = True
    assert log.head().commit == 1 and store.silence is not None
    way.is_down = False
    until = time.monotonic() + 10
    while store.silence is not None and time.monotonic() < until:
        log.head()
        time.sleep(0.02)
    assert store.silence is None
    assert log.commit(after).commit == 2


def test_compaction_reads_the_same_from_every_mirror(store, address, tmp_path, monkeypatch):
    """Segments come, small files go from store and mirrors, and a reader never misses an event."""
    monkeypatch.setattr(compaction, "BLOCKS", (4, 16))
    log = log_of(store)
    for _ in range(10):
        log.commit(after)
    reader = log_of(store_at(address, tmp_path / "there", listed_s=1000))
    assert seqs(reader) == [*range(1, 11)]
    late = log_of(store_at(address, tmp_path / "late", listed_s=0))
    done = compact(log, datetime.now(UTC))
    assert done.segments == (segment_name(1, 4), segment_name(5, 8)) and done.removed == ()
    done = compact(log, datetime.now(UTC), grace=timedelta(0))
    assert len(done.removed) == 8
    names = [segment_name(1, 4), segment_name(5, 8), commit_name(9), commit_name(10)]
    assert sorted(store.names()) == kept_in(tmp_path / "here") == sorted(names)
    assert seqs(reader) == [*range(1, 11)]
    assert seqs(late) == seqs(log) == [*range(1, 11)]
    assert kept_in(tmp_path / "late") == sorted(names)
    assert late.verify_roots() == [] and late.head() == log.head()


def test_a_segment_is_compared_as_the_store_holds_it(store, way, tmp_path, monkeypatch):
    """Small files stay where the store's own copy of their segment is not what it should be."""
    monkeypatch.setattr(compaction, "BLOCKS", (4, 16))
    log = log_of(store)
    for _ in range(6):
        log.commit(after)
    compact(log, datetime.now(UTC))
    assert segment_name(1, 4) in kept_in(tmp_path / "here")
    flip = lambda body: body[:400] + bytes([body[400] ^ 1]) + body[401:]  # noqa: E731 - one byte
    way.damage = lambda path, body: flip(body) if "/s-" in path else body
    with pytest.raises(BookDamaged, match="s-000000000001"):
        compact(log, datetime.now(UTC), grace=timedelta(0))
    assert {commit_name(n) for n in range(1, 7)} <= set(store.names())


@pytest.mark.parametrize("times", [1, 100], ids=["once", "always"])
def test_a_damaged_download_never_reaches_the_mirror(store, address, way, tmp_path, times):
    """It is fetched once more; if it stays so, the file is named, and nothing is kept of it."""
    log = log_of(store)
    log.commit(after)
    log.commit(after)
    damaged = iter(range(times))

    def damage(path, body):
        is_hit = path.endswith(commit_name(2)) and next(damaged, None) is not None
        return body[:300] + bytes([body[300] ^ 4]) + body[301:] if is_hit else body

    way.damage = damage
    if times == 1:
        assert seqs(log_of(store_at(address, tmp_path / "there"))) == [1, 2]
        return
    with pytest.raises(BookDamaged, match=commit_name(2)):
        log_of(store_at(address, tmp_path / "there"))
    assert kept_in(tmp_path / "there") == [commit_name(1)]
    way.damage = lambda path, body: body
    assert seqs(log_of(store_at(address, tmp_path / "there"))) == [1, 2]


def test_a_file_in_anothers_place_is_no_file_of_the_book(store, address, tmp_path):
    """A whole file under the name of another commit is told, not read."""
    log_of(store).commit(after)
    store.create(commit_name(2), store.read(commit_name(1)))
    with pytest.raises(BookDamaged, match=commit_name(2)):
        log_of(store_at(address, tmp_path / "there"))


def test_commits_the_store_has_lost_stay_in_the_mirror(store, address, tmp_path):
    """The mirror may be all that is left of them: it is told where they are, and nothing goes."""
    log = log_of(store)
    for _ in range(3):
        log.commit(after)
    content = store.read(commit_name(3))
    store._objects.remove(f"events/{commit_name(3)}")
    with pytest.raises(BookDamaged, match="has lost commits"):
        log_of(store_at(address, tmp_path / "here"))
    assert commit_name(3) in kept_in(tmp_path / "here")
    store._objects.create(f"events/{commit_name(3)}", content)
    assert seqs(log_of(store_at(address, tmp_path / "here"))) == [1, 2, 3]


def test_a_mirror_of_another_book_is_told(store, address, tmp_path):
    """A prefix that was emptied and begun anew is not mixed with what was there before."""
    log_of(store).commit(after)
    for one in store._objects.all():
        store._objects.remove(one.name)
    log_of(store_at(address, tmp_path / "there")).commit(lambda head: after(head, 5))
    with pytest.raises(BookDamaged, match="another file"):
        log_of(store_at(address, tmp_path / "here"))


def test_many_commits_at_once_come_as_a_whole(store, address, tmp_path, monkeypatch):
    """A bulk of segments is read by every mirror, and none goes into a log that holds events."""
    monkeypatch.setattr(bulk, "ROWS_IN_SEGMENT", 4)
    log = log_of(store)
    head = log.write_segment(readings(1 + 2 * n, 2) for n in range(9))
    assert (head.commit, head.size) == (9, 18)
    other = log_of(store_at(address, tmp_path / "there"))
    assert seqs(other) == [*range(1, 19)] and other.verify_roots() == []
    with pytest.raises(BookExists):
        other.write_segment(readings(1 + n, 1) for n in range(9))
    assert not [name for name in store.names() if name.startswith(".tmp")]


def test_a_bulk_that_was_broken_off_is_taken_back_later(store, address, way, tmp_path, monkeypatch):
    """Readers have an empty book; writers keep out for an hour, and then take it back."""
    monkeypatch.setattr(bulk, "ROWS_IN_SEGMENT", 4)
    way.lose = puts(segment_name(3, 4))
    with pytest.raises(WriteRefused, match="Nothing was recorded"):
        log_of(store).write_segment(readings(1 + 2 * n, 2) for n in range(9))
    way.lose = lambda method, path: False
    other = log_of(store_at(address, tmp_path / "there"))
    assert (other.head().commit, seqs(other)) == (0, [])
    with pytest.raises(WriteRefused, match="bringing a whole book in"):
        other.commit(after)
    monkeypatch.setattr(mirrored, "LONGEST_BRINGING_IN", timedelta(0))
    assert other.commit(after).commit == 1
    assert store.names() == [commit_name(1)]
