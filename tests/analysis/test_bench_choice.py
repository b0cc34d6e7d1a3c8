"""Chain only, chain and sprockets, or run it out: priced at the bench."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.analysis.bench_choice import WornDrivetrain, bench_choice
from ledger.analysis.unfit import CannotFit

FRESH_TEETH = WornDrivetrain(
    elongation=0.75,
    tooth_wear=0.2,
    tooth_limit=0.9,
    tooth_error=0.05,
    chain_limit=0.5,
    chain_rate=0.25,
    tooth_rate=0.05,
    chain_price=3000,
    sprocket_price=6000,
    visit_price=2000,
    run_out_at=2.0,
)
"""A chain lasts 2,000 km to its limit and wears a ninth of a cassette in them."""


def test_good_sprockets_keep_their_worth_by_hand() -> None:
    """With 7/9 of the cassette left a chain alone costs least.

    Chain only: 30.00 and a ninth of 60.00 over 2,000 km. Both: the 7/9 thrown away too. Run out:
    0.25 % more in 1,000 km use up the 7/9.
    """
    found = bench_choice(FRESH_TEETH)
    costs = [one.cost_per_1000_km for one in found.options]
    assert costs == pytest.approx([3666.667 / 2, (3000 + 8 / 9 * 6000) / 2, 7 / 9 * 6000], rel=1e-5)
    assert [one.remaining_km for one in found.options] == pytest.approx([2000, 2000, 1000])
    assert found.cheapest == "chain only"
    assert found.chance_of_skipping < 1e-6


def test_sprockets_just_at_their_limit_skip_half_the_time() -> None:
    """A reading at the limit is past it or not with even chances, and worth running out.

    Chain only: 30.00, half of a ninth of 60.00 and half of the second visit's 20.00.
    """
    found = bench_choice(replace(FRESH_TEETH, tooth_wear=0.9))
    only, both, out = found.options
    assert found.chance_of_skipping == pytest.approx(0.5)
    assert only.price_later == pytest.approx(0.5 * 8000)
    assert only.cost_per_1000_km == pytest.approx((3000 + 6000 / 18 + 1000) / 2)
    assert both.cost_per_1000_km == pytest.approx((3000 + 6000 / 9) / 2)
    assert (both.price_now, both.price_later) == (9000, 0)
    assert (out.price_now, out.price_later, out.cost_per_1000_km) == (0, 9000, 0)
    assert (both.chance_of_skipping, out.chance_of_skipping) == (0, None)
    assert found.cheapest == "run it out"


def test_a_chain_that_is_run_out_already_leaves_two_choices() -> None:
    """At twice its limit nothing remains to run out; teeth that are gone want sprockets too."""
    found = bench_choice(replace(FRESH_TEETH, elongation=1.0, tooth_wear=1.2))
    assert found.options[2].cost_per_1000_km is None
    assert found.cheapest == "chain and sprockets"
    assert found.chance_of_skipping > 0.999


def test_the_gauges_error_decides_how_sure_a_reading_near_the_limit_is() -> None:
    """0.85 of 0.9 mm read to 0.05 mm skips with the 16 % of one standard deviation."""
    found = bench_choice(replace(FRESH_TEETH, tooth_wear=0.85))
    assert found.chance_of_skipping == pytest.approx(0.158655, abs=1e-5)


def test_every_assumption_is_said_and_nothing_is_called_safe() -> None:
    """The figures the choice rests on stand beside it, with who decides."""
    said = " ".join(bench_choice(FRESH_TEETH).assumptions)
    for figure in ("0.9", "0.05", "0.25 %", "0.5 %", "1 %", "qualified mechanic"):
        assert figure in said
    assert "safe" not in said


@settings(max_examples=60, deadline=None)
@given(
    wear=st.floats(0, 1.5),
    more=st.floats(0.01, 0.3),
    elongation=st.floats(0.1, 0.95),
)
def test_more_tooth_wear_never_speaks_for_keeping_the_sprockets(
    wear: float, more: float, elongation: float
) -> None:
    """A more worn cassette makes skipping likelier and new sprockets cheaper by comparison."""
    less = bench_choice(replace(FRESH_TEETH, tooth_wear=wear, elongation=elongation))
    worse = bench_choice(replace(FRESH_TEETH, tooth_wear=wear + more, elongation=elongation))
    assert worse.chance_of_skipping >= less.chance_of_skipping
    assert (worse.options[1].cost_per_1000_km or 0) <= (less.options[1].cost_per_1000_km or 0)


def test_a_rate_of_nought_is_named() -> None:
    """The error says which figure and what would be right."""
    with pytest.raises(CannotFit, match=r"chain_rate: is 0.*above 0"):
        bench_choice(replace(FRESH_TEETH, chain_rate=0))
