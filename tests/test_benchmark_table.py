"""The table of the benchmarks: scales side by side, and what is left out is said."""

from __future__ import annotations

from collections import namedtuple
from pathlib import Path

import pytest

from tests.benchmarks import great
from tests.benchmarks.alone import percentile
from tests.benchmarks.growth import side_by_side
from tests.benchmarks.measure import Row
from tests.benchmarks.one_bike import _compared

Usage = namedtuple("Usage", "total used free")


def test_a_peers_figure_stays_under_its_own() -> None:
    """Two figures have a peer of one name; each keeps its own, and what a scale lacks is empty."""
    small = [Row("a", "1", "", ""), Row("– peer", "2", "x", "0.5×"), Row("b", "3", "", ""),
             Row("– peer", "4", "y", "0.8×")]  # fmt: skip
    great_one = [Row("a", "10", "", ""), Row("b", "30", "", ""), Row("– peer", "40", "z", "0.7×")]
    lines = side_by_side({"small": small, "10m": great_one}).splitlines()[2:]
    assert lines == [
        "| a | 1 |  |  | 10 |  |  |",
        "| – peer | 2 | x | 0.5× |  |  |  |",
        "| b | 3 |  |  | 30 |  |  |",
        "| – peer | 4 | y | 0.8× | 40 | z | 0.7× |",
    ]


def test_a_book_the_disk_has_no_room_for_is_left_out_in_a_sentence(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """13 GB of events and 8 GB to spare: 20 GB free are too few, and nothing is written."""
    monkeypatch.setattr(great.shutil, "disk_usage", lambda _: Usage(0, 0, 20 * 10**9))
    said = great.great_book(tmp_path / "great", 100_000_000, None)
    assert said == "100,000,000 events need 21 GB of disk, and 20 GB are free."
    assert list((tmp_path / "great").iterdir()) == []


@pytest.mark.parametrize(("share", "expected"), [(0.5, 2), (0.75, 3), (0.95, 4), (0.01, 1)])
def test_a_percentile_is_one_of_the_values(share: float, expected: int) -> None:
    """The least value that so many of the values are not above."""
    assert percentile([4, 1, 3, 2], share) == expected


def test_answers_that_differ_are_never_timed() -> None:
    """Of one bike, the second: who says what is told."""
    _compared({"lockring": [[1], [2]], "sqlite": [[1], [2]]})
    with pytest.raises(AssertionError, match=r"bike 1: lockring says \[2\], sqlite says \[3\]"):
        _compared({"lockring": [[1], [2]], "sqlite": [[1], [3]]})
