from __future__ import annotations

import pytest
from workbench import TAG, Run


def record(shop: Run, kind: str, at: str, *more: str) -> None:
    done = shop("record", kind, "--bike", TAG, "--at", at, *more)
    assert done.code == 0, done.err


@pytest.fixture
def overlong(shop: Run) -> Run:
    """A bike of 11 sprockets whose chain from new is at twice its limit after 4,000 km."""
    record(shop, "rider_changed", "2026-01-05 09:10", "--set", "rider=r7")
    record(shop, "distance_read", "2026-01-05 09:30", "--value", "0 km")
    fit = ("--position", "chain", "--set", "part=c1", "--set", "origin=shop")
    record(shop, "part_fitted", "2026-01-05 10:00", *fit)
    record(shop, "distance_read", "2026-06-01 10:00", "--value", "4000 km")
    chain = ("--position", "chain", "--quantity", "elongation", "--value", "1.0 %")
    record(shop, "measured", "2026-06-01 10:01", *chain)
    return shop


def test_chains_gives_programs_every_figure(overlong: Run) -> None:
    """--json has riders, the shop, curves, gears, what each rests on and what is missing."""
    found = overlong("chains", "--json").json
    assert set(found) == {
        "riders", "shop", "curves", "gears", "conditions", "missing", "currency",
    }  # fmt: skip
    (rider,) = found["riders"]
    assert (rider["rider"], rider["seen"], rider["past"]) == ("r7", 1, 1)
    assert rider["over"] == pytest.approx(0.5)
    assert rider["beyond_km"] == pytest.approx(2000, rel=0.02)
    assert rider["difference_minor"] is None
    assert found["shop"]["count_riders"] == 1


def test_chains_tells_people_what_the_figures_rest_on(overlong: Run) -> None:
    """The table names the rider, what cannot be known, and that a cost is no limit."""
    done = overlong("chains")
    assert done.code == 0
    for said in (
        "r7",
        "of looks at a chain",
        "of 1 look at a chain, 1 found it past its limit",
        "Not worked out:",
        "a qualified mechanic decide",
    ):
        assert said in done.out
    assert "safe" not in done.out


def test_chains_of_one_rider_or_bike(overlong: Run) -> None:
    """--rider takes a rider's id, or the tag of a bike, however written; nobody else's."""
    assert len(overlong("chains", "--rider", "r7", "--json").json["riders"]) == 1
    assert len(overlong("chains", "--rider", TAG, "--json").json["riders"]) == 1
    assert len(overlong("chains", "--rider", TAG.lower(), "--json").json["riders"]) == 1
    for nobody in ("r9", "", "3ME6F3R5"):
        done = overlong("chains", "--rider", nobody)
        assert done.code != 0
        assert "--rider: nobody in the register, and on no bike, is" in done.err
        assert done.out == ""
    assert overlong("chains", "--rider", "r7", "--json").json["bench"][0]["why"]
    assert f"{TAG}: no choice priced" in overlong("chains", "--rider", "r7").out


def test_chains_as_at_a_day_before_the_reading(overlong: Run) -> None:
    """Before anything was measured nothing is claimed."""
    done = overlong("chains", "--as-at", "2026-03-01")
    assert done.code == 0
    assert "No chain was measured against a limit." in done.out
    assert overlong("chains", "--as-at", "2026-03-01", "--json").json["shop"] is None


def test_chains_takes_a_number_of_riders(overlong: Run) -> None:
    """A limit below one is wrong use."""
    assert overlong("chains", "--limit", "0").code == 2
