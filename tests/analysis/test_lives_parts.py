"""Lives of parts from their fittings, removals and readings."""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.lives import BadLives, count_left_out, lives_by, lives_of
from ledger.analysis.readings import PARTS, READINGS, conforming

DAY = datetime(2026, 3, 1, tzinfo=UTC)


def parts_of(*rows: dict) -> pa.Table:
    """PARTS of the rows: chains fitted new and still in use unless a row says otherwise."""
    usual = {
        "bike": "7K3M9QXA", "position": "chain", "model": "M1", "riding": "commuting",
        "is_found": False, "is_from_new": True, "is_fitted": True, "fitted_at": DAY,
        "distance_km": 5000.0, "distance_error_km": 0.0, "distance_source": "read", "days": 400.0,
    }  # fmt: skip
    return table_of(PARTS, usual, rows)


def readings_of(*rows: dict) -> pa.Table:
    """READINGS of the rows: chain elongation with a limit of 0.5 % unless a row says otherwise."""
    usual = {
        "series": "s", "bike": "7K3M9QXA", "position": "chain", "quantity": "elongation",
        "event": "e", "seq": 1, "recorded_at": DAY, "measured_at": DAY, "unit": "%",
        "limit": 0.5, "direction": 1, "distance_error_km": 0.0, "distance_source": "read",
        "days": 100.0, "is_from_new": True,
    }  # fmt: skip
    return table_of(READINGS, usual, rows)


def table_of(schema: pa.Schema, usual: dict, rows: tuple[dict, ...]) -> pa.Table:
    """A table of the rows, each over the usual values."""
    full = [{**usual, **row} for row in rows]
    return conforming({name: [row.get(name) for row in full] for name in schema.names}, schema)


def bounds_of(lives: pa.Table) -> list[tuple]:
    """Lower, upper and kind of each life."""
    return [(row["lower"], row["upper"], row["kind"]) for row in lives.to_pylist()]


def read(part: str, km: float | None, value: float, **more) -> dict:
    return {"part": part, "distance_km": km, "value": value, **more}


def test_a_part_past_its_limit_ended_between_two_looks():
    """Good at 2,000 and past at 3,000: the life is over between, whatever is read later."""
    looks = [read("a", 1000, 0.1), read("a", 2000, 0.4), read("a", 3000, 0.6)]
    lives = lives_of(parts_of({"part": "a"}), readings_of(*looks, read("a", 3500, 0.45)))
    assert bounds_of(lives) == [(2000, 3000, "worn between")]


def test_a_part_past_its_limit_at_the_first_look_ended_since_new():
    """With no look before, the life is over between new and the look."""
    lives = lives_of(parts_of({"part": "a"}), readings_of(read("a", 3000, 0.6)))
    assert bounds_of(lives) == [(0, 3000, "worn between")]


def test_a_figure_at_the_limit_is_past_it():
    """A chain at just 0.5 % is worn."""
    lives = lives_of(parts_of({"part": "a"}), readings_of(read("a", 3000, 0.5)))
    assert bounds_of(lives) == [(0, 3000, "worn between")]


def test_a_part_within_its_limit_is_known_to_last_until_its_last_look():
    """In use or taken off for another reason, it was good at the last look and no further."""
    parts = parts_of(
        {"part": "a"}, {"part": "b", "ended_at": DAY, "end_reason": "upgrade", "is_fitted": False}
    )
    looks = readings_of(read("a", 1000, 0.1), read("b", 2000, 0.2))
    assert bounds_of(lives_of(parts, looks)) == [(1000, None, "in use"), (2000, None, "taken off")]


def test_a_part_never_looked_at_is_known_to_last_until_the_last_contact():
    """Without a look that tells, the distance of the part itself is what it has lasted."""
    parts = parts_of({"part": "a", "distance_km": 700.0}, {"part": "b", "distance_km": 800.0})
    lives = lives_of(parts, readings_of(read("b", 500, 0.3, limit=None)))
    assert bounds_of(lives) == [(700, None, "in use"), (800, None, "in use")]


def test_a_part_taken_off_as_worn_ended_by_then():
    """Its life is over between the last look within the limit and the removal."""
    gone = {"ended_at": DAY, "end_reason": "worn", "is_fitted": False, "distance_km": 4000.0}
    parts = parts_of({"part": "a", **gone}, {"part": "b", **gone}, {"part": "c", **gone})
    looks = readings_of(read("a", 2500, 0.4), read("b", 4000, 0.45))
    kinds = [(2500, 4000, "worn between"), (4000, 4000, "worn at"), (0, 4000, "worn between")]
    assert bounds_of(lives_of(parts, looks)) == kinds


def test_a_part_that_shrinks_is_past_its_limit_below_it():
    """A pad of 1.4 mm is within 1.0 mm, one of 0.9 mm is past it."""
    pad = {"direction": -1, "limit": 1.0, "unit": "mm", "quantity": "thickness"}
    looks = readings_of(read("a", 900, 1.4, **pad), read("a", 1500, 0.9, **pad))
    lives = lives_of(parts_of({"part": "a", "position": "rear_brake.pads"}), looks)
    assert bounds_of(lives) == [(900, 1500, "worn between")]


@pytest.mark.parametrize(
    ("low", "high", "direction", "bounds"),
    [
        (0.5, 0.75, 1, (0, 3000, "worn between")),
        (0.5, None, 1, (0, 3000, "worn between")),
        (None, 0.5, 1, (3000, None, "in use")),
        (0.25, 0.75, 1, (5000, None, "in use")),
        (None, 0.5, -1, (0, 3000, "worn between")),
        (0.5, None, -1, (3000, None, "in use")),
        (0.25, 0.75, -1, (5000, None, "in use")),
    ],
)
def test_a_go_and_no_go_mark_tells_only_what_it_bounds(low, high, direction, bounds):
    """A mark at the limit tells one side; a figure known to lie across the limit tells nothing."""
    look = read("a", 3000, None, low=low, high=high, direction=direction)
    assert bounds_of(lives_of(parts_of({"part": "a"}), readings_of(look))) == [bounds]


def test_parts_of_unknown_beginning_are_left_out_and_counted():
    """Found and second-hand parts, and those of unknown distance or none, are no lives."""
    parts = parts_of(
        {"part": "found", "is_found": True, "is_from_new": False},
        {"part": "unknown", "distance_km": None},
        {"part": "new", "distance_km": 0.0},
        {"part": "used"},
    )
    lives = lives_of(parts, readings_of(read("found", 100, 0.9), read("elsewhere", 100, 0.9)))
    assert lives["part"].to_pylist() == ["used"]
    assert count_left_out(lives) == {"not from new": 2, "never used": 1}


def test_lives_are_counted_in_days_when_asked():
    """In days the days since fitting are used, and a look of unknown distance counts."""
    looks = readings_of(read("a", None, 0.3, days=200.0), read("a", None, 0.6, days=300.0))
    lives = lives_of(parts_of({"part": "a"}), looks, unit="days")
    assert bounds_of(lives) == [(200, 300, "worn between")]


def test_a_unit_that_measures_no_use_is_refused():
    """Lives are in km or days."""
    with pytest.raises(BadLives, match="unit: 'miles' measures no use"):
        lives_of(parts_of(), readings_of(), unit="miles")


LOOKS = st.lists(
    st.tuples(
        st.sampled_from("abx"),
        st.integers(0, 6000) | st.none(),
        st.integers(0, 10) | st.none(),
        st.integers(3, 7) | st.none(),
    ),
    max_size=12,
)
ENDS = st.tuples(st.sampled_from([None, "worn", "rotated"]), st.integers(0, 6000) | st.none())


@given(LOOKS, ENDS, ENDS, st.randoms(use_true_random=False))
def test_no_order_of_looks_turns_a_life_round(looks, first, second, random):
    """However readings lie, lower is never past upper, and their order changes nothing."""
    rows = [read(part, km, value, limit=limit) for part, km, value, limit in looks]
    parts = parts_of(
        *(
            {"part": part, "distance_km": km, "end_reason": reason, "ended_at": reason and DAY}
            for part, (reason, km) in zip("ab", (first, second), strict=True)
        )
    )
    lives = lives_of(parts, readings_of(*rows))
    for lower, upper, kind in bounds_of(lives):
        assert 0 <= lower <= (np.inf if upper is None else upper)
        assert kind.startswith("worn") == (upper is not None)
    random.shuffle(rows)
    assert bounds_of(lives_of(parts, readings_of(*rows))) == bounds_of(lives)
    assert len(lives) + sum(count_left_out(lives).values()) == 2


def looked_at(random, count: int, shape: float, scale: float, **part) -> tuple[list, list]:
    """Parts of Weibull lives, read every 400 km or so until replaced past the limit, or in use."""
    parts, looks = [], []
    for number, life in enumerate(scale * random.weibull(shape, count)):
        name, gap = f"{part.get('model')}-{number}", 400 * random.uniform(0.5, 1.5)
        until = random.uniform(0.5, 2) * scale
        for km in np.arange(gap, min(life + gap, until), gap):
            looks.append(read(name, km, 0.5 * km / life))
        parts.append({"part": name, "distance_km": until, **part})
    return parts, looks


def test_models_that_last_differently_are_told_apart():
    """From parts looked at now and then, each model's law holds the scale they were made with."""
    random = np.random.default_rng(6)
    long_parts, long_looks = looked_at(random, 80, 2.5, 4000, model="long")
    short_parts, short_looks = looked_at(random, 80, 2.5, 2000, model="short")
    parts, looks = parts_of(*long_parts, *short_parts), readings_of(*long_looks, *short_looks)
    lasting, short = lives_by(lives_of(parts, looks))
    assert (lasting.group, short.group) == (
        ("chain", "long", "commuting"),
        ("chain", "short", "commuting"),
    )
    assert (lasting.count_lives, short.count_lives) == (80, 80)
    assert lasting.weibull.scale_interval[0] < 4000 < lasting.weibull.scale_interval[1]
    assert short.weibull.scale_interval[0] < 2000 < short.weibull.scale_interval[1]
    assert short.weibull.scale_interval[1] < lasting.weibull.scale_interval[0]
    assert lasting.curve.median() == pytest.approx(4000 * np.log(2) ** 0.4, rel=0.15)


def test_a_group_with_few_worn_says_why_it_has_no_law():
    """Under the minimum worn, or with lives that settle nothing, the curve comes with a reason."""
    worn = [read(f"w{n}", 1000 + 100 * n, 0.6) for n in range(3)]
    parts = parts_of(*({"part": f"w{n}"} for n in range(3)), {"part": "a", "model": None})
    few, lone = lives_by(lives_of(parts, readings_of(*worn)), by=("model",))
    assert (few.group, few.count_worn, few.weibull) == (("M1",), 3, None)
    assert few.why_not == "lives: upper: 3 of 3 were seen worn. A law needs 5 of them"
    assert (lone.group, lone.count_lives, lone.count_worn) == ((None,), 1, 0)
    unsettled = lives_by(lives_of(parts, readings_of(*worn)), by=("model",), minimum=3)[0]
    assert "all may have ended at one length" in unsettled.why_not


@settings(max_examples=20)
@given(st.permutations(range(6)))
def test_groups_hold_every_life_once_in_the_order_of_names(order):
    """Whatever the order of rows, each life is in one group and groups come by name, None last."""
    models = ["B", "A", None, "B", "A", "C"]
    rows = [{"part": f"p{n}", "model": models[n]} for n in order]
    groups = lives_by(lives_of(parts_of(*rows), readings_of()), by=("model",), resamples=20)
    assert [group.group for group in groups] == [("A",), ("B",), ("C",), (None,)]
    assert [group.count_lives for group in groups] == [2, 2, 1, 1]


def test_no_lives_have_no_groups():
    """An empty table has no group, and an unknown column is named."""
    lives = lives_of(parts_of(), readings_of())
    assert lives_by(lives) == []
    with pytest.raises(BadLives, match="there is no column 'colour'"):
        lives_by(lives, by=("colour",))


def test_all_lives_together_are_one_group():
    """Grouped by nothing, all lives are in one group of no name."""
    lives = lives_of(parts_of({"part": "a"}, {"part": "b"}), readings_of())
    (group,) = lives_by(lives, by=())
    assert (group.group, group.count_lives) == ((), 2)
