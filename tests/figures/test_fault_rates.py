"""Rates by part model: exposure and events by hand, and models drawn at random."""

from __future__ import annotations

import numpy as np
import pytest
from fault_given import given
from scipy import stats

from ledger.figures.fault_following import expected_come_backs, followed_days
from ledger.figures.fault_rates import SURE, model_rates

YEAR = 365.25


def part(bike, model, start=0, end=YEAR, position="rear_brake.pads", **more):
    """Give a part that sat on a bike for a while."""
    fitted = {"bike": bike, "position": position, "model": model, "make": "Quay"}
    return {**fitted, "started_at": start, "ended_at": end, **more}


def found(bike, day, position="rear_brake.pads"):
    """Give a fault found at a position."""
    return {"bike": bike, "position": position, "found_at": day}


def fitted(number, model, again=None, until=400):
    """Give a repair that fitted a part on day 0, found again on a day or not."""
    return {"bike": f"b{number}", "position": "rear_brake.pads", "kind": "part_fitted",
            "make": "Quay", "model": model, "put_right_at": 0, "again_at": again,
            "observed_until": until, "system": "rear_brake"}  # fmt: skip


def bikes(count):
    """Give so many bikes."""
    return [{"bike": f"b{n}", "first_closed_at": 0, "observed_until": 1000} for n in range(count)]


def by_model(rows):
    """Give rows by their models."""
    return {row.model: row for row in rows}


def test_years_and_faults_of_a_model_are_those_of_its_parts():
    """Two years of S with one fault, one year of O with none, chains apart."""
    spells = [part("b0", "Quay S", end=2 * YEAR), part("b1", "Quay O")]
    spells.append(part("b0", "Quay 9", position="chain"))
    episodes = [found("b0", 30), found("b0", 40, "chain"), found("b1", 500)]
    rates = by_model(model_rates(given(bikes(2), episodes, spells=spells)).by_years)
    assert rates["Quay S"].exposure == pytest.approx(2)
    assert (rates["Quay S"].count, rates["Quay S"].count_events) == (1, 1)
    assert (rates["Quay O"].exposure, rates["Quay O"].count_events) == (pytest.approx(1), 0)
    assert rates["Quay S"].rest_rate == 0
    assert rates["Quay O"].rest_rate == pytest.approx(0.5)
    assert rates["Quay 9"].rest_rate is None and rates["Quay 9"].ratio is None


def test_only_parts_of_known_distance_count_by_distance():
    """3,000 km with one fault; the part of unknown distance and its fault are left out."""
    spells = [part("b0", "Quay S", distance_km=3000.0), part("b1", "Quay S")]
    rates = model_rates(given(bikes(2), [found("b0", 30), found("b1", 30)], spells=spells))
    (by_distance,) = rates.by_distance
    assert by_distance.exposure == pytest.approx(3.0)
    assert (by_distance.count, by_distance.count_events) == (1, 1)


def test_a_model_that_fails_thrice_as_often_is_above_the_rest():
    """30 faults in 50 years beside 40 in 200: surely above, and drawn in a little."""
    spells = [part(f"b{n}", "Quay S" if n < 50 else "Quay O") for n in range(250)]
    episodes = [found(f"b{n}", 30) for n in range(30)] + [found(f"b{n}", 30) for n in range(50, 90)]
    rates = by_model(model_rates(given(bikes(250), episodes, spells=spells)).by_years)
    worse, better = rates["Quay S"], rates["Quay O"]
    assert worse.is_above and worse.chance_above > 0.999
    assert worse.words == "more than other pads" and better.words == "fewer than other pads"
    assert 0.2 < worse.rate.value < 0.6 and worse.rate.low < 0.6 < worse.rate.high
    assert worse.ratio.low > 1 > better.ratio.high


def test_a_sorts_only_model_has_its_own_rate_and_exact_interval():
    """10 faults in 20 years: nothing is drawn in, and the limits are Garwood's.

    Poisson's 95 % limits of 10 events are 4.795 and 18.390 (Garwood 1936, table; from memory).
    """
    spells = [part(f"b{n}", "Quay 9", position="chain") for n in range(20)]
    episodes = [found(f"b{n}", 30, "chain") for n in range(10)]
    (only,) = model_rates(given(bikes(20), episodes, spells=spells)).by_years
    assert only.words == "no other model of chain to hold it against"
    assert (only.exposure, only.exposure_unit) == (pytest.approx(20), "years fitted")
    figures = [20 * each for each in (only.rate.value, only.rate.low, only.rate.high)]
    assert figures == pytest.approx([10, 4.795, 18.390], abs=0.001)


def test_a_sorts_only_model_says_nothing_of_how_far_models_differ():
    """With a chain of one model only, the pads' rates stay what they were without it."""
    spells = [part(f"b{n}", "Quay S" if n < 30 else "Quay O") for n in range(90)]
    episodes = [found(f"b{n}", 30) for n in range(12)] + [found(f"b{n}", 30) for n in range(30, 40)]
    pads = by_model(model_rates(given(bikes(90), episodes, spells=spells)).by_years)
    chains = [part(f"b{n}", "Quay 9", position="chain") for n in range(90)]
    more = [found(f"b{n}", 30, "chain") for n in range(80)]
    both = by_model(model_rates(given(bikes(90), episodes + more, spells=spells + chains)).by_years)
    for model in ("Quay S", "Quay O"):
        assert both[model].rate == pads[model].rate


def test_repairs_that_fitted_a_sorts_only_model_have_an_exact_share():
    """2 of 10 came back; Clopper and Pearson's 95 % are 0.0252 and 0.5561 (from memory).

    One more was followed for less than its window and is in neither figure.
    """
    repairs = [fitted(n, "Quay S", 30 if n < 2 else None) for n in range(10)]
    repairs.append(fitted(10, "Quay S", until=20))
    spells = [part(f"b{n}", "Quay S") for n in range(11)]
    (only,) = model_rates(given(bikes(11), repairs=repairs, spells=spells)).come_backs
    assert (only.rate.value, only.exposure_unit) == (pytest.approx(0.2), "come-backs expected")
    assert (only.rate.low, only.rate.high) == (
        pytest.approx(0.0252, abs=1e-4), pytest.approx(0.5561, abs=1e-4)
    )  # fmt: skip


def test_a_model_with_one_part_and_one_fault_is_too_few_to_judge():
    """Its own rate would be the highest of all; drawn in it is nothing to speak of."""
    spells = [part(f"b{n}", "Quay O") for n in range(200)] + [part("b0", "Quay S", end=100)]
    episodes = [found(f"b{n}", 300) for n in range(1, 40)] + [found("b0", 50)]
    rates = by_model(model_rates(given(bikes(200), episodes, spells=spells)).by_years)
    assert rates["Quay S"].words == "too few to judge"
    assert not rates["Quay S"].is_above
    assert rates["Quay S"].rate.value < 1 / (100 / YEAR)


def test_a_sort_nothing_ever_befell_has_a_rate_of_nought_and_an_upper_limit():
    """Poisson's exact limit for no event in ten years, at 97.5 %."""
    spells = [part(f"b{n}", "Quay O") for n in range(10)]
    (row,) = model_rates(given(bikes(10), [], spells=spells)).by_years
    assert (row.rate.value, row.rate.low) == (0, 0)
    assert row.rate.high == pytest.approx(stats.chi2.ppf(0.975, 2) / 2 / 10)


def test_parts_of_unknown_model_are_in_no_rate():
    """Neither their time nor what was found on them."""
    spells = [part("b0", None), part("b1", "Quay O")]
    (row,) = model_rates(given(bikes(2), [found("b0", 5)], spells=spells)).by_years
    assert (row.model, row.count_events) == ("Quay O", 0)


def test_come_backs_are_of_repairs_that_fitted_the_model():
    """Of 40 repairs with S 20 came back, of 40 with O four; cleaning pads is no fitting."""
    repairs = [fitted(n, "Quay S", 30 if n < 20 else None) for n in range(40)]
    repairs += [fitted(n, "Quay O", 30 if n < 44 else None) for n in range(40, 80)]
    repairs += [{**fitted(0, "Quay S", 30), "kind": "treated"}]
    spells = [part(f"b{n}", "Quay S" if n < 40 else "Quay O") for n in range(80)]
    rates = by_model(model_rates(given(bikes(80), repairs=repairs, spells=spells)).come_backs)
    assert (rates["Quay S"].count, rates["Quay S"].count_events) == (40, 20)
    assert rates["Quay S"].is_above and rates["Quay S"].chance_above >= SURE
    assert rates["Quay S"].rest_rate == pytest.approx(4 / 40)
    assert rates["Quay S"].rate.low < 0.5 < rates["Quay S"].rate.high
    assert rates["Quay S"].exposure == pytest.approx(12)


def test_the_rate_as_counted_is_on_the_scale_of_the_rate():
    """Of 40 followed repairs with S 20 came back, of 40 with O four: a half, and a tenth.

    Twenty more with S were lost sight of on the third day: of those it cannot be told, and the
    rate as counted is not 20 of 60. Faults are counted over the years fitted.
    """
    repairs = [fitted(n, "Quay S", 30 if n < 20 else None) for n in range(40)]
    repairs += [fitted(n, "Quay O", 30 if n < 44 else None) for n in range(40, 80)]
    repairs += [fitted(n, "Quay S", until=3) for n in range(80, 100)]
    spells = [part(f"b{n}", "Quay O" if 40 <= n < 80 else "Quay S") for n in range(100)]
    found_rates = model_rates(given(bikes(100), [found("b0", 5)], repairs=repairs, spells=spells))
    rates = by_model(found_rates.come_backs)
    assert rates["Quay S"].count == 60
    assert rates["Quay S"].counted_rate == pytest.approx(0.5)
    assert rates["Quay O"].counted_rate == pytest.approx(0.1)
    (faulty,) = [one for one in found_rates.by_years if one.count_events]
    assert faulty.counted_rate == pytest.approx(1 / faulty.exposure)


def test_the_only_model_of_its_sort_is_counted_as_its_own_rate():
    """Beside nothing, what was counted and the rate are one figure."""
    repairs = [fitted(n, "Quay S", 30 if n < 5 else None) for n in range(20)]
    repairs += [fitted(n, "Quay S", until=3) for n in range(20, 30)]
    spells = [part(f"b{n}", "Quay S") for n in range(30)]
    (only,) = model_rates(given(bikes(30), repairs=repairs, spells=spells)).come_backs
    assert only.counted_rate == pytest.approx(only.rate.value) == 0.25


def test_recent_repairs_are_not_held_for_good():
    """A model fitted only last week is not below the rest for having no come-backs yet."""
    repairs = [fitted(n, "Quay S", 30 if n < 20 else None) for n in range(60)]
    repairs += [fitted(n, "Quay O", until=3) for n in range(60, 120)]
    spells = [part(f"b{n}", "Quay S" if n < 60 else "Quay O") for n in range(120)]
    rates = by_model(model_rates(given(bikes(120), repairs=repairs, spells=spells)).come_backs)
    assert "Quay O" not in rates
    assert rates["Quay S"].words == "no other model of pads to hold it against"


def test_models_that_are_alike_are_seldom_above():
    """Of 40 shops of eight alike models with much of everything, few have any above (seed 4)."""
    rng, above = np.random.default_rng(4), 0
    for _ in range(40):
        spells, episodes = [], []
        for number, model in enumerate(np.repeat(np.arange(8), 40).tolist()):
            spells.append(part(f"b{number}", f"Quay {model}", end=YEAR))
            days = rng.uniform(1, YEAR, rng.poisson(0.5))
            episodes += [found(f"b{number}", float(day)) for day in days]
        rates = model_rates(given(bikes(320), episodes, spells=spells)).by_years
        above += sum(row.is_above for row in rates)
    assert above <= 0.02 * 320


def test_repairs_are_followed_until_their_window_runs_out():
    """Until they came back, 90 days or 1,000 km had passed, whichever is later, or the end."""
    rows = [fitted(0, "S", 20), fitted(1, "S"), fitted(2, "S", until=40),
            {**fitted(3, "S"), "km_followed": 2000.0}, fitted(4, "S", 200)]  # fmt: skip
    time, is_event = followed_days(given(bikes(5), repairs=rows).repairs)
    assert time.tolist() == pytest.approx([20, 90, 40, 200, 90])
    assert is_event.tolist() == [True, False, False, False, False]


def test_expected_come_backs_add_up_to_those_seen():
    """By group the cumulative hazards sum to the events, whatever was lost sight of (seed 2)."""
    rng = np.random.default_rng(2)
    group, time = rng.integers(0, 3, 200), rng.uniform(0, 90, 200)
    is_event = rng.random(200) < 0.3
    expected = expected_come_backs(group, time, is_event)
    sums = np.bincount(group, weights=expected)
    assert sums == pytest.approx(np.bincount(group, weights=is_event))


def test_an_empty_book_has_no_rates():
    """Nothing fitted is no error."""
    rates = model_rates(given())
    assert (rates.by_years, rates.by_distance, rates.come_backs) == ((), (), ())
