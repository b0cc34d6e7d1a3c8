"""Lives of chains and sprockets cut into what the analysis counts with."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.analysis.rider_rates import RiderRates, rider_rates
from ledger.figures.chain_lives import Life, Mark, is_past
from ledger.figures.chain_stretches import changed_at, runs_of, sprocket_stretches

START = datetime(2025, 1, 1, tzinfo=UTC)
CODES = {"r1": 1}


def mark(day: float, wear: float, km: float | None) -> Mark:
    return Mark(START + timedelta(days=day), wear, km, 0.05)


def life(*marks: Mark, **more: Any) -> Life:
    """A chain of r1's bike with a limit of 0.5 %, from new, still on."""
    found = Life(
        part="c1", bike="B", who="r1", point=None, limit=0.5, marks=marks, count_read=1,
        last_read_at=marks[-1].at, is_past=None, is_from_new=True, ended_at=None,
        is_worn_out=False, end_km=None,
    )  # fmt: skip
    return replace(found, **more)


def rates(rate: float = 0.25) -> RiderRates:
    """Rider 1 wears chains at a rate known well."""
    return rider_rates([1], [10_000], [10 * rate], [0.001])


@pytest.mark.parametrize(
    ("value", "low", "high", "expected"),
    [
        (0.5, None, None, True),
        (0.49, None, None, False),
        (None, 0.5, None, True),
        (None, 0.5, 0.75, True),
        (None, None, 0.5, False),
        (None, 0.25, 0.75, None),
        (None, 0.25, None, None),
    ],
)
def test_a_reading_is_past_within_or_open(
    value: float | None, low: float | None, high: float | None, expected: bool | None
) -> None:
    """At the limit is past it; the mark that went in tells of past, the one that did not of not."""
    row = {"value": value, "low": low, "high": high, "limit": 0.5}
    assert is_past(row) is expected
    assert is_past({**row, "limit": None}) is None


def test_a_chain_still_on_would_be_changed_at_its_limit_or_is_past_it() -> None:
    """Nothing is known of when it will be changed: the limit, or what it shows already."""
    assert changed_at(life(mark(0, 0, 0), mark(9, 0.2, 800)), 0.25) == 0.5
    assert changed_at(life(mark(0, 0, 0), mark(9, 0.8, 3200)), 0.25) == 0.8


def test_what_a_chain_wore_after_its_last_reading_is_added() -> None:
    """Read at 0.4 % after 1,600 km, changed after 2,400: 0.6 % at 0.25 % per 1,000 km."""
    worn = life(mark(0, 0, 0), mark(9, 0.4, 1600), is_worn_out=True, end_km=2400)
    assert changed_at(worn, 0.25) == pytest.approx(0.6)


def test_a_run_goes_from_the_first_to_the_last_known_distance() -> None:
    """Marks without a distance, and runs too short to tell, are left out."""
    chain = life(mark(0, 0, 0), mark(5, 0.1, None), mark(9, 0.4, 1600))
    (run,) = runs_of([chain], rates(), CODES)
    assert (run.km, run.start, run.end, run.changed_at) == (1600, 0, 0.4, 0.5)
    assert runs_of([life(mark(0, 0, 0), mark(9, 0.02, 99))], rates(), CODES) == []


FIRST = life(
    mark(0, 0, 0), mark(100, 1.0, 4000),
    ended_at=START + timedelta(days=100), is_worn_out=True, end_km=4000,
)  # fmt: skip
SECOND = life(mark(100, 0, 0), mark(200, 0.5, 2000), part="c2")
CASSETTE = life(mark(0, 0, 0), mark(200, 0.45, 6000), part="k1", point="19T", limit=0.9)


def test_a_cassettes_stretch_knows_how_its_chains_ran() -> None:
    """100 days under a chain from new to twice its limit, 100 under one within it: 1/8 on average.

    From new to twice the limit the mean excess is 1/4.
    """
    (found,) = sprocket_stretches([CASSETTE], [FIRST, SECOND], rates(), CODES)
    assert (found.km, found.wear, found.point) == (6000, pytest.approx(0.45), "19T")
    assert found.excess == pytest.approx(0.125)


def test_a_stretch_of_which_the_chains_are_hardly_known_has_no_excess() -> None:
    """Where less than half of the time is covered nothing is made up."""
    early = life(mark(0, 0, 0), mark(90, 0.3, 1200))
    (found,) = sprocket_stretches([CASSETTE], [early], rates(), CODES)
    assert found.excess is None
    (found,) = sprocket_stretches([CASSETTE], [replace(FIRST, bike="OTHER")], rates(), CODES)
    assert found.excess is None


@given(cut=st.floats(1, 99))
def test_reading_a_chain_once_more_on_its_line_changes_nothing(cut: float) -> None:
    """A reading between two others that lies on the line between them tells nothing new."""
    between = mark(cut, cut / 100, 40 * cut)
    more = replace(FIRST, marks=(FIRST.marks[0], between, FIRST.marks[1]))
    (plain,) = sprocket_stretches([CASSETTE], [FIRST, SECOND], rates(), CODES)
    (cut_up,) = sprocket_stretches([CASSETTE], [more, SECOND], rates(), CODES)
    assert cut_up.excess == pytest.approx(plain.excess)
