"""What the analysis of chains, riders and distances refuses: figures that cannot be."""

from __future__ import annotations

import datetime
import math

import numpy as np
import pyarrow as pa
import pytest

from ledger.analysis.bench_choice import WornDrivetrain, bench_choice
from ledger.analysis.beyond import how_far_beyond
from ledger.analysis.chains import overrun_shares
from ledger.analysis.rider_rates import rider_rates
from ledger.analysis.thresholds import seen_thresholds
from ledger.analysis.unfit import CannotFit
from ledger.analysis.usage import fit_usage

NAN, INFINITE = math.nan, math.inf
WORN = {
    "elongation": 0.7,
    "tooth_wear": 0.4,
    "tooth_limit": 1.0,
    "tooth_error": 0.1,
    "chain_limit": 0.75,
    "chain_rate": 0.3,
    "tooth_rate": 0.1,
    "chain_price": 3000.0,
    "sprocket_price": 6000.0,
}
MAY_BE_NOUGHT = ("elongation", "tooth_wear", "tooth_error", "visit_price", "run_out_at")


@pytest.mark.parametrize("figure", [NAN, INFINITE, -INFINITE])
@pytest.mark.parametrize("name", [*WORN, "visit_price", "run_out_at"])
def test_a_choice_of_no_figures_is_refused_by_name(name: str, figure: float) -> None:
    """Whichever figure of the bench is not a finite number, its name is told."""
    right = "at 0 or above" if name in ("tooth_error", "visit_price") else "Give a figure"
    with pytest.raises(CannotFit, match=f"^bench choice: {name}: is -?(nan|inf).*{right}"):
        bench_choice(WornDrivetrain(**(WORN | {name: figure})))


@pytest.mark.parametrize("name", ["tooth_error", "visit_price"])
def test_an_error_or_a_price_of_a_visit_below_nought_is_refused(name: str) -> None:
    """Both may be nought and no less."""
    assert bench_choice(WornDrivetrain(**(WORN | {name: 0.0}))).options
    with pytest.raises(CannotFit, match=f"{name}: is -0.1. Give a figure at 0 or above"):
        bench_choice(WornDrivetrain(**(WORN | {name: -0.1})))


@pytest.mark.parametrize("figure", [NAN, INFINITE])
@pytest.mark.parametrize("place", range(6))
def test_how_far_beyond_names_the_figure_that_is_none(place: int, figure: float) -> None:
    """Each of its columns is held to finite numbers, and the row is told."""
    names = ("value", "limit", "log_rate", "log_rate_sd", "direction", "error")
    columns = [[0.9, 0.8], [0.75, 0.75], [-1.0, -1.0], [0.2, 0.2], [1.0, 1.0], [0.1, 0.1]]
    columns[place][1] = figure
    given, more = columns[:4], dict(zip(names[4:], columns[4:], strict=True))
    with pytest.raises(CannotFit, match=f"^reading 1: {names[place]}: is {figure}"):
        how_far_beyond(*given, **more)


@pytest.mark.parametrize("name", ["distance_km", "wear", "error"])
@pytest.mark.parametrize("figure", [NAN, INFINITE])
def test_rates_of_riders_name_the_figure_that_is_none(name: str, figure: float) -> None:
    """A stretch without a distance, wear or error that is a number is told with its row."""
    columns = {"distance_km": [900.0, 800.0], "wear": [0.3, 0.2], "error": [0.1, 0.1]}
    columns[name][1] = figure
    with pytest.raises(CannotFit, match=f"^stretch 1: {name}: is {figure}"):
        rider_rates([1, 2], **columns)


def test_an_error_of_a_stretch_is_not_below_nought() -> None:
    """A standard deviation is none below nought."""
    with pytest.raises(CannotFit, match=r"^stretch 0: error: is -0\.1\. Give"):
        rider_rates([1, 2], [900, 800], [0.3, 0.2], [-0.1, 0.1])


@pytest.mark.parametrize("level", [1.5, 1.0, 0.0, -0.2, NAN])
def test_a_level_is_a_share(level: float) -> None:
    """An interval holds a share between 0 and 1."""
    for asked in (
        lambda: overrun_shares([1, 2], [3, 4], level=level),
        lambda: how_far_beyond([0.9], [0.75], [-1.0], [0.2], level=level),
    ):
        with pytest.raises(CannotFit, match=f"level: it is {level}. Give a share between 0 and 1"):
            asked()


@pytest.mark.parametrize(
    ("asked", "message"),
    [
        (([NAN],), "chain 0: changed_at: is nan. Give"),
        (([0.5, INFINITE],), "chain 1: changed_at: is inf. Give"),
        (([0.5, 0.9], NAN), "step: is nan. Give a figure above 0"),
        (([0.5, 0.9], 0.0), "step: is 0.0. Give a figure above 0"),
        (([0.5, 0.9], 0.05, 1.5), "share: it is 1.5. Give a share between 0 and 1"),
    ],
)
def test_thresholds_are_seen_in_figures_only(asked: tuple, message: str) -> None:
    """What chains were changed at, the step and the share are told by name where they cannot be."""
    with pytest.raises(CannotFit, match=message):
        seen_thresholds(*asked)


def read_at(*moments: object) -> dict[str, list[object]]:
    """Give one bike read at some instants."""
    count = len(moments)
    km = [100.0 * place for place in range(count)]
    return {"bike": ["a"] * count, "riding": ["city"] * count, "at": list(moments), "km": km}


def test_distances_are_read_at_instants_with_a_zone() -> None:
    """A date without a zone is refused by its row, in a list and in an Arrow column."""
    with_zone = datetime.datetime(2026, 3, 1, 9, tzinfo=datetime.UTC)
    without = datetime.datetime(2026, 3, 9, 9)
    naive = pa.array([1, 2], pa.timestamp("us"))
    for columns, row in (
        (read_at(with_zone, without), 1),
        (read_at(without, without), 0),
        (read_at(1, 2) | {"at": naive}, 0),
        (read_at(1, 2) | {"at": [with_zone.date(), with_zone.date()]}, 0),
    ):
        with pytest.raises(CannotFit, match=f"^row {row}: at: .*without a time zone. Give"):
            fit_usage(columns)
    later = with_zone + datetime.timedelta(days=9)
    assert np.isfinite(fit_usage(read_at(with_zone, later)).log_rates).all()
