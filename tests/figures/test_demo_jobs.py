"""Minutes and money of the demo: against loops over its export, and against its truth."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC, date, datetime
from pathlib import Path

import numpy as np
import pytest

import demo_events
from ledger.analysis import job_time
from ledger.asking import OWNER
from ledger.book import Book
from ledger.figures.foresee import calibration, foresee, service_or_replace
from ledger.figures.job_tables import job_tables
from ledger.figures.job_times import MIDDLE, OLD, YOUNG, work_of
from ledger.figures.labour import labour_of
from ledger.figures.margin import margin_of
from tests.independent.labour_of_export import Jobs
from tests.independent.test_labour_of_export import (
    exported,
    labour_differences,
    margin_differences,
    waterfall_differences,
)
from tests.whole_demo import whole_demo

AS_AT = datetime(2026, 9, 30, 20, tzinfo=UTC)
YEAR = date(2025, 10, 1), date(2026, 9, 30)
FOLDER = Path(demo_events.__file__).parent
TRUTH = json.loads((FOLDER / "truth.json").read_text("utf-8"))
pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("demo_jobs")]


@pytest.fixture(scope="module")
def demo_book(tmp_path_factory: pytest.TempPathFactory) -> Book:
    """The demo, built once."""
    return Book.open(whole_demo(tmp_path_factory))


def test_every_figure_of_a_year_is_what_loops_over_the_export_give(demo_book: Book) -> None:
    """Labour and margin of the demo's last year, to the minute and the cent."""
    zone = demo_book.settings.zone
    jobs = Jobs(exported(demo_book), AS_AT, demo_book.head.size, zone)
    labour, margin = (
        labour_of(demo_book, *YEAR, AS_AT, asker=OWNER),
        margin_of(demo_book, *YEAR, AS_AT, asker=OWNER),
    )
    assert labour_differences(demo_book, labour, jobs) == []
    assert margin_differences(margin, jobs) == []
    assert waterfall_differences(labour, jobs, jobs.jobs[::200]) == []
    assert labour.total.count_jobs > 900 and len(margin.tiers) == 4


@pytest.fixture(scope="module")
def fitted(demo_book: Book) -> job_time.JobTimes:
    """The model of minutes, fitted to all of the demo."""
    return job_time.fit(work_of(job_tables(demo_book, AS_AT)))


@pytest.mark.parametrize("tier", ["quick_check", "full_service"])
def test_the_true_drift_of_a_tier_is_recovered(fitted: job_time.JobTimes, tier: str) -> None:
    """Actual over quoted of bikes that came with an unknown history, within the 95 % interval."""
    truth = math.exp(TRUTH["labour_drift"][tier] + TRUTH["old_bike_drift"])
    found = fitted.drift(tier=tier, age_class=OLD, level=0.95)
    assert found.low <= truth <= found.high
    assert found.high / found.low < 1.25


def test_the_true_drift_of_overhauls_is_recovered_from_their_shorter_tasks(demo_book: Book) -> None:
    """In the demo nothing takes over 200 minutes, which cuts the tail of tasks of 100 and more."""
    work = work_of(job_tables(demo_book, AS_AT))
    rows = np.flatnonzero(work.planned < 100)
    codes = {**work.codes, "task": work.codes["task"][rows]}
    short = replace(work, codes=codes, job=work.job[rows], actual=work.actual[rows],
                    planned=work.planned[rows])  # fmt: skip
    truth = math.exp(TRUTH["labour_drift"]["overhaul"] + TRUTH["old_bike_drift"])
    found = job_time.fit(short).drift(tier="overhaul", age_class=OLD, level=0.95)
    assert found.low <= truth <= found.high
    assert found.high / found.low < 1.25


def test_of_very_many_jobs_the_newest_are_what_minutes_are_foretold_from(demo_book: Book) -> None:
    """Whole days of closing, with all tasks of theirs and no other."""
    every, few = (work_of(job_tables(demo_book, AS_AT), most) for most in (10**6, 500))
    first = np.sort(every.closed_at)[-500]
    is_new = every.closed_at >= first
    assert few.count_jobs == is_new.sum() >= 500
    assert few.closed_at.min() == first
    assert few.actual.sum() == every.actual[is_new[every.job]].sum()


def test_old_bikes_take_as_much_longer_as_they_truly_do(fitted: job_time.JobTimes) -> None:
    """The drift of bikes of unknown history over that of the others, in its interval."""
    old = fitted.drift(age_class=OLD, level=0.95)
    others = [fitted.drift(age_class=age, level=0.95) for age in (YOUNG, MIDDLE)]
    truth = math.exp(TRUTH["old_bike_drift"])
    low = min(old.low / other.high for other in others)
    high = max(old.high / other.low for other in others)
    assert low <= truth <= high
    assert all(old.ratio > other.ratio for other in others)


def test_forecasts_made_from_what_was_known_before_held(demo_book: Book) -> None:
    """P50 within 45-55 %, P80 within 75-85 %, better than both naive forecasts, over 400 jobs."""
    found = calibration(demo_book, AS_AT, asker=OWNER)
    assert found.count_scored >= 400 and len(found.folds) >= 6
    assert 0.45 <= (found.share_under_p50 or 0) <= 0.55
    assert 0.75 <= (found.share_under_p80 or 0) <= 0.85
    assert (found.pinball_minutes or 0) < (found.pinball_planned_minutes or 0)
    assert (found.pinball_minutes or 0) < (found.pinball_ratio_minutes or 0)


def test_an_overhaul_of_an_old_bike_is_foretold_longer_than_planned(demo_book: Book) -> None:
    """Its tasks are the tier's own, P80 lies above P50, and the price covers the minutes asked."""
    found = foresee(demo_book, tier="overhaul", is_old=True, risk=0.2, as_at=AS_AT, asker=OWNER)
    assert found.planned_minutes == sum(minutes for _, minutes in TRUTH["tier_plan"]["overhaul"])
    assert found.planned_minutes < found.p50_minutes < found.p80_minutes
    assert math.isclose(found.risk_minutes, found.p80_minutes)
    assert found.rate_minor is not None
    assert found.risk_price_minor == math.ceil(found.p80_minutes * found.rate_minor / 60)
    again = foresee(demo_book, tier="overhaul", is_old=True, price_minor=found.risk_price_minor,
                    as_at=AS_AT, asker=OWNER)  # fmt: skip
    assert math.isclose(again.chance_not_enough or 0, 0.2, abs_tol=0.01)


def test_servicing_and_replacing_have_their_assumptions_beside_them(demo_book: Book) -> None:
    """A chain costs more to replace than to clean, and lasts longer; both are counted."""
    fitted_somewhere = "4R6GGTVH"
    found = service_or_replace(demo_book, fitted_somewhere, "chain", AS_AT, asker=OWNER)
    assert found.service_km is not None and found.replace_km is not None
    assert (found.service_minor or 0) < (found.replace_minor or 0)
    assert found.service_km.km < found.replace_km.km
    assert found.service is not None and found.replace is not None
    assert found.service.minor_per_km == (found.service_minor or 0) / found.service_km.km
    assert len(found.assumptions) >= 3
