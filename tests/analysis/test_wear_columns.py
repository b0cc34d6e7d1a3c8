"""What may hold a table of readings, and what is said of one that cannot be used."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest

from ledger.analysis.backtest import backtest
from ledger.analysis.wear import fit_wear
from ledger.analysis.wear_columns import ReadingsWrong, moments
from ledger.analysis.wear_forecast import due_after
from tests.analysis.wear_shop import Plan, simulated

READINGS: dict[str, list[Any]] = {
    "part": ["a", "a", "b", "b", "c"],
    "distance_km": [800, 2100, 900, 2000, 1200],
    "value": [0.18, 0.43, 0.25, 0.52, 0.21],
    "start": [0.0] * 5,
    "limit": [0.75] * 5,
}


def rates(table: Any) -> np.ndarray[Any, Any]:
    """Give the log rates of the only family."""
    (fitted,) = fit_wear(table).families
    assert fitted.state is not None
    return fitted.state.log_rate


@pytest.mark.parametrize(
    "table",
    [
        pa.table(READINGS),
        pa.RecordBatch.from_pydict(READINGS),
        pd.DataFrame(READINGS),
        pd.DataFrame(READINGS).convert_dtypes(),
        pd.DataFrame(READINGS, index=[9, 7, 5, 3, 1]),
        {name: np.array(values) for name, values in READINGS.items()},
        READINGS | {"value": [str(each) for each in READINGS["value"]]},
        READINGS | {"value": [None] * 5, "low": READINGS["value"], "high": READINGS["value"]},
        READINGS | {"position": [None] * 5, "quantity": [None] * 5, "family": [None] * 5},
        READINGS | {"part": [1, 1, 2, 2, 3]},
        pa.table(READINGS | {"part": [1, 1, 2, 2, 3]}),
        READINGS | {"direction": [None] * 5, "gauge": [float("nan")] * 5},
    ],
)
def test_what_holds_the_columns_makes_no_difference(table: Any) -> None:
    """Arrow, data frames, arrays, digits as text and nulls give the rates that lists give."""
    assert rates(table) == pytest.approx(rates(READINGS), rel=1e-12)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"value": [0.1, "x", 0.2, 0.3, 0.4]}, "reading 1: value is 'x'; give a number"),
        ({"is_from_new": ["no"] * 5}, "reading 0: is_from_new is 'no'; give a number"),
        ({"limit": 0.75}, "column limit: it is one float; give a sequence"),
        ({"limit": [0.75]}, "column limit: it has 1 rows where part has 5"),
        ({"limit": [float("inf")] * 5}, "reading 0: limit is infinite"),
        ({"start": [float("inf")] * 5}, "reading 0: start is infinite"),
        ({"distance_km": [1, 2, float("inf"), 3, 4]}, "reading 2: exposure is infinite"),
        ({"distance_error_km": [0, 0, 0, -5, 0]}, "reading 3: distance_error_km is no error"),
        ({"direction": [1, 1, 0, 1, 1]}, "reading 2: direction is neither 1 nor -1"),
        ({"direction": [1, -1, 1, 1, 1]}, "reading 1: direction is not that of its series"),
        ({"part": ["a", "a", float("nan"), "b", "c"]}, "reading 2: series is missing"),
    ],
)
def test_a_column_that_cannot_be_used_is_named(change: dict[str, Any], says: str) -> None:
    """The error says which column or row, what is wrong and what would be right."""
    with pytest.raises(ReadingsWrong, match=says):
        fit_wear(READINGS | change)


@pytest.mark.parametrize(
    ("table", "says"),
    [
        ({"chain": ["a"], "value": [1.0]}, "no column series or part, only chain, value"),
        ({"part": ["a"], "value": [1.0]}, "no column exposure or distance_km or days"),
        ({"part": ["a"], "days": [1.0], "wear": [1.0]}, "no column value or low or high"),
        ([{"part": "a", "days": 1.0, "value": 1.0}], "they are a list; give an Arrow table"),
        (None, "they are a NoneType; give an Arrow table"),
    ],
)
def test_a_table_without_what_is_needed_says_what_it_lacks(table: Any, says: str) -> None:
    """Wrong names of columns, and what is no table, are answered with what would be right."""
    with pytest.raises(ReadingsWrong, match=says):
        fit_wear(table)


def test_an_arrow_column_that_is_no_number_is_named() -> None:
    """Text in an Arrow column of figures is refused with its row."""
    table = pa.table(READINGS | {"value": ["0.1", "0.2", "worn", "0.3", "0.4"]})
    with pytest.raises(ReadingsWrong, match="reading 2: value is 'worn'"):
        fit_wear(table)


def test_parts_that_wear_both_ways_are_two_families() -> None:
    """Pads that shrink among chains that grow do not move the chains' rates."""
    pads: dict[str, list[Any]] = {
        "part": ["x", "x", "y", "y"],
        "distance_km": [500, 1500, 600, 1400],
        "value": [3.6, 2.8, 3.4, 2.9],
        "start": [4.0] * 4,
        "limit": [1.0] * 4,
    }
    both = {name: READINGS[name] + pads[name] for name in READINGS}
    grown, shrunk = fit_wear(both | {"direction": [1] * 5 + [-1] * 4}).families
    assert (grown.family.direction, shrunk.family.direction) == (1.0, -1.0)
    assert grown.state is not None and shrunk.state is not None
    assert grown.state.log_rate == pytest.approx(rates(READINGS), rel=1e-12)
    assert shrunk.state.log_rate == pytest.approx(rates(pads | {"direction": [-1] * 4}), rel=1e-12)


def test_a_part_without_a_limit_is_never_due() -> None:
    """Where a limit is missing the distance to it is infinite, not a number that is none."""
    (fitted,) = fit_wear(READINGS | {"limit": [None, None, 0.75, 0.75, None]}).families
    assert fitted.state is not None
    due = due_after(fitted.state, fitted.family.limit, fitted.state.x, np.zeros(3), 0.5)
    assert np.isinf(due).tolist() == [True, False, True]


@pytest.mark.parametrize("unit", [1e-9, 1e-3, 1e3, 1e9])
def test_what_is_left_to_go_does_not_depend_on_the_unit_of_exposure(unit: float) -> None:
    """Kilometres counted in other units are due after as many of them."""
    due = []
    for factor in (1.0, unit):
        counted = [each * factor for each in READINGS["distance_km"]]
        (fitted,) = fit_wear(READINGS | {"distance_km": counted}).families
        assert fitted.state is not None
        now = np.zeros(3)
        due.append(due_after(fitted.state, fitted.family.limit, fitted.state.x, now, 0.5) / factor)
    assert due[1] == pytest.approx(due[0], rel=2e-3)


AT = datetime(2026, 3, 1, 12, tzinfo=UTC)
MICROSECONDS = AT.timestamp() * 1e6


@pytest.mark.parametrize(
    "held",
    [
        [AT],
        [AT.astimezone(timezone(timedelta(hours=5)))],
        [AT.replace(tzinfo=None)],
        ["2026-03-01T12:00:00"],
        ["2026-03-01T12:00:00Z"],
        np.array(["2026-03-01T12:00:00"], dtype="datetime64[ns]"),
        pd.Series([pd.Timestamp(AT)]),
        [MICROSECONDS],
    ],
)
def test_instants_are_read_from_whatever_holds_them(held: Any) -> None:
    """Zoned instants, naive ones as UTC, text and numbers all give the same microseconds."""
    assert moments({"at": held}, "at") == pytest.approx([MICROSECONDS], abs=0.5)


@pytest.mark.parametrize(
    ("held", "says"),
    [
        ([AT, None], "reading 1: at is missing"),
        (["yesterday"], "column at: .*give instants or numbers"),
        ([float("inf")], "reading 0: at is no instant"),
    ],
)
def test_what_is_no_instant_is_named(held: list[Any], says: str) -> None:
    """A missing or unreadable instant is refused with its row or column."""
    with pytest.raises(ReadingsWrong, match=says):
        moments({"at": held}, "at")


def test_a_backtest_without_times_says_so() -> None:
    """Readings without `measured_at` cannot be played again, and the error names the column."""
    columns = dict(simulated(2, Plan(count_parts=10)).columns)
    columns.pop("measured_at", None)
    with pytest.raises(ReadingsWrong, match="no column measured_at"):
        backtest(columns)
