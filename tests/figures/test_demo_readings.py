"""The demo's readings against the truth behind them (demo_events/truth_*)."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow.parquet as pq
import pytest

import demo_events
from ledger.analysis.months import MONTH_SHARES
from ledger.analysis.usage import fit_usage
from ledger.book import Book
from ledger.figures.readings import BookReadings, book_readings
from tests.whole_demo import whole_demo

FOLDER = Path(demo_events.__file__).parent
pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("demo_readings")]


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> BookReadings:
    """The tables of the whole demo."""
    return book_readings(Book.open(whole_demo(tmp_path_factory)))


@pytest.fixture(scope="module")
def true() -> dict[str, Any]:
    """What is true of each reading, by its event."""
    rows = pq.read_table(FOLDER / "truth_readings.parquet").to_pylist()
    return {row["event"]: row for row in rows}


def test_every_reading_is_of_the_part_it_truly_is_of(
    found: BookReadings, true: dict[str, Any]
) -> None:
    """All live readings and no other, each with its true part."""
    rows = found.readings.to_pylist()
    assert len(rows) > 8000
    assert {row["event"] for row in rows} <= true.keys()
    assert [row["part"] for row in rows] == [true[row["event"]]["part"] for row in rows]


def test_distances_from_new_are_true_within_their_error(
    found: BookReadings, true: dict[str, Any]
) -> None:
    """What was read off computers is within a kilometre (they show whole ones); the rest lies
    within 1.28 of its stated error about four times in five or more."""
    rows = [row for row in found.readings.to_pylist() if row["is_from_new"]]
    off = np.array([row["distance_km"] - true[row["event"]]["part_km"] for row in rows])
    error = np.array([row["distance_error_km"] for row in rows])
    is_exact = np.array([row["distance_source"] == "read" for row in rows]) & (error == 0)
    assert is_exact.sum() > 400 and np.max(np.abs(off[is_exact])) <= 2.0
    unsure = error > 1.0
    assert unsure.sum() > 400
    assert 0.78 < np.mean(np.abs(off[unsure]) <= 1.281552 * error[unsure]) < 0.97


def test_weekly_distances_of_the_demo_are_recovered(found: BookReadings) -> None:
    """Each kind of riding's typical week, within the spread of its few riders' luck."""
    truth = json.loads((FOLDER / "truth.json").read_text("utf-8"))
    usage = fit_usage(found.distances)
    ridings = truth["ridings"]
    weekly, _ = usage.of(["nobody"] * len(ridings), ridings)
    for riding, km in zip(ridings, 7 * weekly, strict=True):
        season = np.array(truth["season"][riding])
        season[[month - 1 for month in truth["lay_up_months"]]] *= 1 - truth["lay_up_share"][riding]
        expected = truth["weekly_km"][riding] * (season @ MONTH_SHARES)
        assert km == pytest.approx(expected, rel=0.15), riding
        shape = season / (season @ MONTH_SHARES)
        assert np.corrcoef(usage.season(riding), shape)[0, 1] > 0.6, riding
