"""What is held of a file so that it need not be looked up again."""

from __future__ import annotations

from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq

from ledger.storage.indexed import Footers, IndexedFile


def file_of(folder: Path, number: int) -> Path:
    path = folder / f"{number}.parquet"
    pq.write_table(pa.table({"number": [number]}), path)
    return path


def test_only_the_footers_opened_last_are_held(tmp_path: Path) -> None:
    """However many files there are; every one is read as it is."""
    footers = Footers(most=2)
    files = [IndexedFile(file_of(tmp_path, number), 1, None, footers) for number in range(4)]
    for place in (0, 1, 2, 0, 3, 0):
        with files[place].opened() as parquet:
            assert parquet.read()["number"].to_pylist() == [place]
    held = [footers.get(file.path) is not None for file in files]
    assert held == [True, False, False, True]


def test_a_small_file_holds_no_footer(tmp_path: Path) -> None:
    """It is opened as quickly without."""
    with IndexedFile(file_of(tmp_path, 1), 1, None).opened() as parquet:
        assert parquet.metadata.num_rows == 1
