"""Chains that run long in the demo, against the truth behind it."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest
from scipy.stats import mannwhitneyu

import demo_events
from demo_events.parameters import CASCADE
from ledger.analysis.costs import fitted
from ledger.asking import OWNER
from ledger.book import Book
from ledger.figures.chain_report import ChainsReport
from ledger.figures.chains import chain_book, chains
from ledger.figures.readings import BookReadings, book_readings
from tests.whole_demo import whole_demo

FOLDER = Path(demo_events.__file__).parent
pytestmark = [pytest.mark.slow, pytest.mark.xdist_group("demo_chains")]


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Book:
    """The whole demo as a book."""
    return Book.open(whole_demo(tmp_path_factory))


@pytest.fixture(scope="module")
def tables(book: Book) -> BookReadings:
    """Its readings, parts and distances."""
    return book_readings(book)


@pytest.fixture(scope="module")
def report(book: Book, tables: BookReadings) -> ChainsReport:
    """What is said of its chains."""
    return chains(book, tables=tables, asker=OWNER)


def area(scores: np.ndarray, is_late: np.ndarray) -> float:
    """The chance that a late rider scores above another."""
    statistic = mannwhitneyu(scores[is_late], scores[~is_late]).statistic
    return float(statistic / (is_late.sum() * (~is_late).sum()))


def test_late_riders_stand_above_the_others(report: ChainsReport) -> None:
    """Ranked by share, as well as the true wear at the same visits would rank them, less 0.05.

    Most riders are seen once or twice and lateness is drawn anew for every visit, so that not
    even the true figures tell late riders apart for sure.
    """
    late, wear = {}, defaultdict(list)
    for row in pq.read_table(FOLDER / "truth_readings.parquet").to_pylist():
        late[row["bike"]] = row["is_late_rider"]
        if row["quantity"] == "elongation":
            wear[row["bike"]].append(row["true_value"] / row["due"])
    rows = [row for row in report.riders if row.bikes[0] in wear]
    is_late = np.array([late[row.bikes[0]] for row in rows])
    best = area(np.array([np.mean([u >= 1 for u in wear[row.bikes[0]]]) for row in rows]), is_late)
    found = area(np.array([row.share for row in rows]), is_late)
    assert found > 0.65
    assert found > best - 0.05
    assert is_late[:40].mean() > 1.7 * is_late.mean()


@pytest.mark.parametrize("sort", ["cassette", "chainring"])
def test_how_much_faster_sprockets_wear_is_recovered(
    book: Book, tables: BookReadings, sort: str
) -> None:
    """At twice the limit wear is 1 + CASCADE times that within it, give or take a quarter."""
    seen = chain_book(book, tables=tables).seen
    models = dict(zip(seen, fitted(list(seen.values())), strict=True))
    assert models[sort].per_excess / models[sort].base == pytest.approx(CASCADE, rel=0.25)


def test_every_curve_stays_where_chains_were_changed_and_has_a_least(report: ChainsReport) -> None:
    """Both limits with a cassette have a curve whose band holds it; single speeds have none."""
    assert [curve.limit for curve in report.curves] == [0.5, 0.75]
    for curve in report.curves:
        least = min(one.cost_minor for one in curve.thresholds)
        for one in curve.thresholds:
            assert one.low_minor <= one.cost_minor <= one.high_minor
            assert one.is_near_least == (one.cost_minor <= 1.02 * least)
        counts = [one.chains_a_cassette for one in curve.thresholds]
        assert counts == sorted(counts, reverse=True)
        assert {"chain", "cassette"} <= curve.prices.keys()
    assert any("limit of 1 %" in what for what in report.missing)


def test_riders_add_up_to_the_shop(report: ChainsReport) -> None:
    """What riders used up more than at the limit sums to the shop's difference."""
    shop = report.shop
    assert shop is not None and shop.difference_minor is not None
    differences = [row.difference_minor for row in report.riders if row.difference_minor]
    assert sum(differences) == pytest.approx(shop.difference_minor)
    assert sum(row.seen for row in report.riders) == shop.seen
    assert sum(row.past for row in report.riders) == shop.past
    above = sum(row.share_low > shop.typical_share for row in report.riders)
    assert shop.count_above == above
