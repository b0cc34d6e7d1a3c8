"""The contract every store keeps, run on a real folder by each exclusive way it has."""

import errno
import os

import pytest

from ledger.errors import NotDurable, WriteRefused
from ledger.storage.disk import Disk
from ledger.storage.local import LocalStore


class WithoutLinks(Disk):
    """A file system without hard links: renames are the exclusive way."""

    def link(self, source, target):
        raise OSError(errno.EPERM, "Operation not permitted")


class WithoutEither(WithoutLinks):
    """A file system with neither hard links nor exclusive renames."""

    def rename_exclusive(self, source, target):
        raise OSError(errno.EINVAL, "Invalid argument")


class Overwriting(WithoutLinks):
    """A network share whose rename says it is exclusive and overwrites all the same."""

    def rename_exclusive(self, source, target):
        source.rename(target)


@pytest.fixture(params=[Disk, WithoutLinks], ids=["hard links", "exclusive renames"])
def store(request, tmp_path):
    return LocalStore(tmp_path, request.param())


def test_a_file_that_was_created_reads_back(store, tmp_path):
    """What went in comes out, whole or from the end, under that name and no other."""
    store.create("one", b"0123456789")
    assert store.read("one") == b"0123456789"
    assert store.read_end("one", 3) == b"789"
    assert store.read_end("one", 300) == b"0123456789"
    assert store.path("one").read_bytes() == b"0123456789"
    assert [path.name for path in tmp_path.iterdir()] == ["one"]


def test_a_name_that_is_taken_stays_as_it_is(store):
    """A second create of a name raises FileExistsError and leaves the first file and no other."""
    store.create("one", b"first")
    with pytest.raises(FileExistsError):
        store.create("one", b"second")
    assert store.read("one") == b"first"
    assert store.names() == ["one"]


def test_a_file_that_is_not_there_says_so(store):
    """Reading a name nobody created raises FileNotFoundError."""
    with pytest.raises(FileNotFoundError):
        store.read("none")
    with pytest.raises(FileNotFoundError):
        store.read_end("none", 8)


def test_a_removed_name_is_free_again(store):
    """A name can be created anew once removed, and removing it twice is no error."""
    store.create("one", b"first")
    store.remove("one")
    store.remove("one")
    store.create("one", b"second")
    assert store.read("one") == b"second"


def test_many_files_stand_together_or_not_at_all(store):
    """If the last word is no, or a name is taken, none of many files stays."""
    files = [("a", b"1"), ("b", b"2"), ("c", b"3")]
    with pytest.raises(FileExistsError):
        store.create_all(files, lambda: False)
    assert store.names() == []
    store.create("b", b"another")
    with pytest.raises(FileExistsError):
        store.create_all(files, lambda: True)
    assert store.names() == ["b"]
    assert store.read("b") == b"another"


def test_the_first_of_many_files_comes_last(store):
    """When the last word is asked for, every file but the first has its name."""
    files = [("a", b"1"), ("b", b"2"), ("c", b"3")]
    seen = []
    store.create_all(files, lambda: not seen.extend(n for n in store.names() if n[0] != "."))
    assert sorted(seen) == ["b", "c"]
    assert sorted(store.names()) == ["a", "b", "c"]


def test_many_files_are_given_up_where_their_maker_fails(store):
    """An error while the files are being made leaves nothing behind."""

    def files():
        yield "a", b"1"
        raise RuntimeError("a bad row")

    with pytest.raises(RuntimeError):
        store.create_all(files(), lambda: True)
    assert store.names() == []


@pytest.mark.parametrize("disk", [WithoutEither, Overwriting])
def test_writing_is_refused_where_nothing_is_exclusive(disk, tmp_path):
    """A place that cannot keep two writers apart is refused in words, by the probe and a create."""
    store = LocalStore(tmp_path, disk())
    with pytest.raises(WriteRefused, match="neither hard links nor exclusive renames"):
        store.probe()
    with pytest.raises(WriteRefused, match="local disk"):
        store.create("one", b"1")
    assert store.names() == []


def test_probing_leaves_nothing_behind(store):
    """The probe removes its own files and only those."""
    store.create("one", b"1")
    (store.folder / ".tmp-of-a-writer-that-was-killed").write_bytes(b"half")
    store.probe()
    assert sorted(store.names()) == [".tmp-of-a-writer-that-was-killed", "one"]


class Failing(Disk):
    """A disk on which one call fails from the n-th time on."""

    def __init__(self, call, number, nth=1):
        self.count = 0
        real = getattr(self, call)

        def failing(*arguments):
            self.count += 1
            if self.count >= nth:
                raise OSError(number, os.strerror(number))
            return real(*arguments)

        setattr(self, call, failing)


def test_a_file_the_disk_did_not_confirm_is_not_made(tmp_path):
    """A failed fsync of the file is not tried again, and nothing has the name."""
    disk = Failing("fsync", errno.EIO)
    store = LocalStore(tmp_path, disk)
    with pytest.raises(NotDurable, match="Nothing was recorded"):
        store.create("one", b"1")
    assert disk.count == 1
    assert store.names() == []


def test_a_folder_the_disk_did_not_confirm_is_said_to_be_uncertain(tmp_path):
    """A failed fsync of the folder leaves the file and says that it may not last."""
    disk = Failing("fsync", errno.EIO, nth=2)
    store = LocalStore(tmp_path, disk)
    with pytest.raises(NotDurable, match="not certain"):
        store.create("one", b"1")
    assert disk.count == 2
    assert store.names() == ["one"]


@pytest.mark.parametrize(
    ("call", "number"),
    [("write", errno.ENOSPC), ("create", errno.EACCES), ("create", errno.EROFS)],
)
def test_a_full_or_closed_disk_is_a_clear_refusal(call, number, tmp_path):
    """No room, no right to write, a read-only disk: nothing is recorded, and why is said."""
    store = LocalStore(tmp_path, Failing(call, number))
    with pytest.raises(WriteRefused, match=os.strerror(number)):
        store.create("one", b"1")
    assert store.names() == []


def test_a_disk_that_writes_a_little_at_a_time_still_writes_all(tmp_path):
    """Short writes are gone on with until every byte is in."""

    class Slow(Disk):
        def write(self, descriptor, content):
            return super().write(descriptor, content[:7])

    store = LocalStore(tmp_path, Slow())
    store.create("one", bytes(range(100)))
    assert store.read("one") == bytes(range(100))
