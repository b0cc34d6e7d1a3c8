"""Fitting the wear of very many parts, beside a plain least-squares line through each."""

from __future__ import annotations

import time
from pathlib import Path

import numpy as np

from tests.benchmarks.measure import Row, in_a_process

_FIT = """
import resource, sys, time
import numpy as np
import pyarrow as pa
from ledger.analysis.wear import fit_wear
from tests.benchmarks.wear import readings
table = readings(int(sys.argv[1]))
start = time.perf_counter()
(family,) = fit_wear(table).families
taken = time.perf_counter() - start
assert np.isfinite(family.state.log_rate).all()
peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
print(taken, table.num_rows, peak)
"""

_DUE = """
import sys, time
from pathlib import Path
from demo_events.generate import write
from demo_events.spool import Plan
from ledger.book import Book
from ledger.exchange.own import import_own
from ledger.figures.wear import wear_of
folder = Path(sys.argv[1])
write(Plan.of_events(int(sys.argv[2]), seed=7), folder / "demo")
book = Book.init(folder / "book", shop="saltmarrow", time_zone="Europe/Amsterdam")
import_own(book, folder / "demo" / "events.parquet")
start = time.perf_counter()
count = sum(part.due_on is not None for part in wear_of(book).parts)
print(time.perf_counter() - start, book.head.size, count)
"""


def readings(count_parts: int) -> object:
    """Give an Arrow table of one to three readings of each of many simulated chains."""
    import pyarrow as pa

    rng = np.random.default_rng(5)
    count = rng.integers(1, 4, count_parts)
    of = np.repeat(np.arange(count_parts), count)
    riding, model = rng.integers(0, 4, count_parts), rng.integers(0, 20, count_parts)
    bike = rng.integers(0, max(1, count_parts // 4), count_parts)
    rate = np.array([0.26, 0.21, 0.17, 0.19])[riding] * np.exp(rng.normal(0, 0.25, count_parts))
    km = rng.uniform(200, 4000, len(of))
    gauge = rng.integers(0, 4, len(of))
    shown = 0.02 + rate[of] * km / 1000 + rng.normal(0, 1, len(of)) * 0.03
    is_look = gauge == 3
    low = np.where(is_look & (shown >= 0.75), 0.75, np.where(is_look & (shown >= 0.5), 0.5, np.nan))
    high = np.where(is_look & (shown < 0.5), 0.5, np.where(is_look & (shown < 0.75), 0.75, np.nan))

    def named(start: str, codes: np.ndarray) -> pa.Array:
        return pa.array([f"{start}{code}" for code in codes])

    return pa.table(
        {
            "series": named("part-", of),
            "distance_km": km,
            "value": pa.array(np.where(is_look, np.nan, shown), from_pandas=True),
            "low": pa.array(low, from_pandas=True),
            "high": pa.array(high, from_pandas=True),
            "gauge": named("gauge-", gauge),
            "riding": named("riding-", riding[of]),
            "model": named("model-", model[of]),
            "bike": named("bike-", bike[of]),
            "limit": np.full(len(of), 0.75),
            "start": np.zeros(len(of)),
        }
    )


def _lines(count_parts: int) -> float:
    """Give the time numpy takes for a least-squares line from new through each part's readings."""
    table = readings(count_parts)
    codes = table["series"].combine_chunks().dictionary_encode().indices.to_numpy()  # type: ignore[attr-defined]  # an Arrow table
    x, y = (table[name].to_numpy() for name in ("distance_km", "value"))  # type: ignore[index]  # an Arrow table
    start = time.perf_counter()
    valued = ~np.isnan(y)
    top = np.bincount(codes[valued], (x * y)[valued], minlength=count_parts)
    _ = top / np.maximum(np.bincount(codes[valued], (x * x)[valued], minlength=count_parts), 1.0)
    return time.perf_counter() - start


def measure(folder: Path, count_parts: int, count_events: int) -> list[Row]:
    """Give the fit's time and peak memory, and the time of a demo's due dates from its book."""
    folder.mkdir(parents=True)
    taken, count, peak = (float(each) for each in in_a_process(_FIT, str(count_parts)).split())
    bare = _lines(count_parts)
    due, size, parts = in_a_process(_DUE, str(folder), str(count_events)).split()
    return [
        Row(
            f"wear of {count_parts:,} parts, {count:,.0f} readings, peak {peak:.0f} MB",
            f"{taken:.1f} s, {count_parts / taken:,.0f} parts a second",
            f"numpy, a line from new through each part's readings: {bare * 1e3:.0f} ms",
            f"{taken / bare:.0f}×",
        ),
        Row(
            f"what is due in a book of {int(size):,} events ({int(parts):,} parts)",
            f"{float(due):.1f} s",
            "every rate, gauge and due date, from the events",
        ),
    ]
