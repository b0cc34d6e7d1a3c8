import itertools
import time

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.storage.disk import Disk
from ledger.storage.listing import (
    Gapped,
    Lister,
    commit_name,
    parse_name,
    reading_set,
    segment_name,
)
from ledger.storage.local import LocalStore


def names_of(*runs):
    return [commit_name(run) if isinstance(run, int) else segment_name(*run) for run in runs]


def test_names_are_padded_to_twelve_digits():
    """Names sort as their numbers do."""
    assert commit_name(7) == "c-000000000007.parquet"
    assert segment_name(1, 40) == "s-000000000001-000000000040.parquet"


@pytest.mark.parametrize(
    "name",
    ["c-7.parquet", ".tmp-c0ffee", "c-000000000000.parquet", "notes.txt", "C-000000000007.parquet",
     "s-000000000009-000000000003.parquet", "c-000000000007.parquet.bak", "c-00000000000٧.parquet"],
)  # fmt: skip
def test_other_files_are_not_the_books(name):
    """Temporary files, copies and names of another form are left out of the reading set."""
    assert parse_name(name) is None
    assert [file.name for file in reading_set([name, *names_of(1)]).files] == names_of(1)


def test_an_empty_folder_is_an_empty_book():
    """No files, no commits."""
    assert reading_set([]).last == 0
    assert reading_set([]).covering(1) is None


@pytest.mark.parametrize(
    ("runs", "chosen"),
    [
        ([1, 2, 3], [1, 2, 3]),
        ([1, 2, 3, (1, 2)], [(1, 2), 3]),
        ([(1, 2), (3, 4), (1, 4), 5], [(1, 4), 5]),
        ([(1, 3), 2, 4], [(1, 3), 4]),
        ([(1, 3), (1, 5), (4, 9)], [(1, 3), (4, 9)]),
        ([(1, 10), (1, 5), (6, 20), 21], [(1, 5), (6, 20), 21]),
        ([(1, 10), (5, 20), *range(11, 21)], [(1, 10), *range(11, 21)]),
    ],
)
def test_the_widest_files_that_fit_together_are_read(runs, chosen):
    """Every commit is held exactly once, by as few files as can be."""
    assert [file.name for file in reading_set(names_of(*runs)).files] == names_of(*chosen)


@pytest.mark.parametrize(
    ("runs", "missing"), [([2], 1), ([1, 3], 2), ([(1, 4), 6], 5), ([(3, 9)], 1), ([1, (3, 5)], 2)]
)
def test_a_gap_is_refused_and_named(runs, missing):
    """A listing that leaves a commit out says which."""
    with pytest.raises(Gapped, match=commit_name(missing)):
        reading_set(names_of(*runs))


@given(st.sets(st.integers(0, 30)), st.randoms(use_true_random=False))
def test_any_mix_of_commits_and_merged_runs_reads_every_commit_once(cuts, rng):
    """Whatever was merged, and whichever small files still stand, the reading set is exact."""
    edges = [0, *sorted(cuts), 31]
    runs = [(low + 1, high) for low, high in itertools.pairwise(edges) if low < high]
    names = [segment_name(*run) for run in runs]
    names += [commit_name(number) for number in range(1, 32) if rng.random() < 0.5]
    rng.shuffle(names)
    files = reading_set(names).files
    assert [n for file in files for n in range(file.first, file.last + 1)] == [*range(1, 32)]
    assert len(files) <= len(runs)


def test_a_listing_that_was_caught_in_between_is_made_again():
    """A gap that is gone the second time is no gap."""
    listings = [names_of(1, 3), names_of(1, 2, 3)]
    assert Lister(lambda: listings.pop(0)).now().last == 3


@given(st.lists(st.sets(st.integers(1, 5), min_size=1), max_size=6))
def test_a_lister_that_remembers_gives_what_one_that_does_not_gives(changes):
    """What was listed before never shows in what is listed now."""
    now: list[str] = []
    lister = Lister(lambda: now)
    for present in changes:
        # keep the listing whole: a run from 1 on, some of it merged
        top = max(present)
        now[:] = names_of(*range(1, top + 1), *([(1, top)] if len(present) > 2 else []))
        assert lister.now() == reading_set(now)


def test_a_store_that_did_not_change_is_not_listed_again():
    """As long as its mark is the same; without one, every look lists."""
    marks, looks = [7], []

    def names():
        looks.append(1)
        return names_of(1, 2)

    lister = Lister(names, lambda: marks[-1])
    assert lister.now() is lister.now()
    assert len(looks) == 1
    for mark in (8, None, None, 8):
        marks.append(mark)
        lister.now()
    assert len(looks) == 5


def test_a_folder_is_known_unchanged_once_it_has_settled(tmp_path):
    """Until then a second change within a tick of the clock would not be told."""
    store = LocalStore(tmp_path)
    (tmp_path / commit_name(1)).write_bytes(b"")
    assert store.changed_at() is None
    disk = Disk()
    later = disk.changed_at(tmp_path)[0] + 3_000_000_000
    disk.changed_at = lambda folder: (folder.stat().st_ctime_ns, later)
    settled = LocalStore(tmp_path, disk)
    before = settled.changed_at()
    assert before is not None and before == settled.changed_at()
    time.sleep(0.02)
    (tmp_path / commit_name(2)).write_bytes(b"")
    assert settled.changed_at() != before
    before = settled.changed_at()
    time.sleep(0.02)
    (tmp_path / commit_name(1)).unlink()
    assert settled.changed_at() != before


def test_an_import_that_was_cut_off_is_told_from_a_file_that_is_gone():
    """Segments without the first of them may be left of an import; commits alone never are."""
    left = [segment_name(101, 200), segment_name(201, 300)]
    with pytest.raises(Gapped, match="an import of it was cut off"):
        reading_set(left)
    for names in ([*left, commit_name(301)], [segment_name(1, 100), left[1]]):
        with pytest.raises(Gapped) as told:
            reading_set(names)
        assert "cut off" not in str(told.value)
