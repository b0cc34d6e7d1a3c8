"""The wear model on a published service log: three chains in rotation on one bike.

Source (read): a commuter's published wear test, 2016-2017, robobiking.wordpress.com, parts 14, 29,
30, 37, 40 and 41: the length between rollers of chains A, B and C, by caliper, at each chain's own
kilometres. Chain B ran through three spells of heavy rain before its last reading (the same
source). Chains of the kind measure 132.2 to 132.6 mm when new (read, another published test).

The gauge: link to link one chain differs by 0.1 to 0.3 mm (same source); 0.2 mm taken as the
standard deviation of one place and five places averaged give 0.2 / sqrt(5) = 0.089 mm.
The limit: 0.75 % of ten pitches of 12.7 mm past the middle of the figures when new (common
practice for chains of that width); it sets what is usual only.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ledger.analysis import wear_forecast
from ledger.analysis.wear import FamilyFit, fit_wear
from ledger.book import Book
from ledger.exchange.importer import import_log
from ledger.exchange.mapping import read_mapping
from ledger.figures.wear import BookWear, wear_of

LOG = Path(__file__).parents[1] / "exchange" / "three_chains.csv"
ERROR = 0.2 / np.sqrt(5)
NEW = 132.4
EARLIER = [("A", 1350, 132.65), ("A", 2450, 133.1), ("B", 2350, 133.1), ("C", 3750, 133.5)]
LATER = [("A", 3800, 133.4), ("A", 4100, 133.6), ("B", 4000, 134.2), ("C", 3900, 133.6)]


def table(rows: list[tuple[str, int, float]]) -> dict[str, list[Any]]:
    """Give readings as columns."""
    count = len(rows)
    return {
        "series": [chain for chain, _, _ in rows],
        "distance_km": [km for _, km, _ in rows],
        "value": [mm for _, _, mm in rows],
        "start": [NEW] * count,
        "limit": [NEW + 0.0075 * 127.0] * count,
        "gauge_error": [ERROR] * count,
    }


def foretold(fit: FamilyFit, chain: str, km: int) -> tuple[float, float, float]:
    """Give what the caliper will show of a chain at a distance: 10, 50 and 90 %."""
    assert fit.state is not None
    state = fit.state.of(np.array([fit.family.series.index(chain)]))
    seen = wear_forecast.at(state, np.array([km / 1000]), noise=ERROR**2)
    low, middle, high = (float(seen.quantile(share)[0]) for share in (0.1, 0.5, 0.9))
    return low, middle, high


@pytest.mark.parametrize(("chain", "km", "mm"), [row for row in LATER if row[0] != "B"])
def test_later_readings_lie_in_their_intervals(chain: str, km: int, mm: float) -> None:
    """From the four earlier readings, A's two later ones and C's lie inside 80 %."""
    low, _, high = foretold(fit_wear(table(EARLIER)).families[0], chain, km)
    assert low <= mm <= high
    assert high - low < 0.6


def test_the_chain_that_met_heavy_rain_wore_faster_than_foretold() -> None:
    """B's last reading is above its interval: a line of kilometres knows no rain."""
    low, middle, high = foretold(fit_wear(table(EARLIER)).families[0], "B", 4000)
    assert 133.2 < low < middle < high < 134.2


def test_the_rain_is_no_slip_of_the_pen() -> None:
    """With all readings B wears fastest, past the intervals of the others, and none is flagged."""
    fit = fit_wear(table(EARLIER + LATER)).families[0]
    assert fit.state is not None and fit.flagged == []
    a, b, c = range(3)
    middle, high = fit.state.rate(0.5), fit.state.rate(0.9)
    assert middle[b] > max(high[a], high[c])
    # The plain slopes from 132.4 when new: 1.2 mm in 4,100 km, 1.8 in 4,000, 1.2 in 3,900.
    assert middle == pytest.approx([1.2 / 4.1, 1.8 / 4.0, 1.2 / 3.9], rel=0.1)


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Book:
    """The log, brought into a book as any workshop would bring in its own."""
    made = Book.init(
        tmp_path_factory.mktemp("log") / "book", shop="quayside", time_zone="Europe/Lisbon"
    )
    import_log(made, LOG, read_mapping(LOG.with_suffix(".toml")))
    return made


def wear(book: Book, day: str | None = None) -> BookWear:
    """Give the wear as at the end of a day."""
    return wear_of(book, book.instant(day) if day else None)


def test_the_log_through_the_book(book: Book) -> None:
    """All eight readings are used at their published distances, and the wet chain stands out."""
    found = wear(book)
    chains = [part for name in "ABC" if (part := found.part(f"chain-{name}/roller_span"))]
    assert [each.exposure_now for each in chains] == [4100, 4000, 3900]
    assert sum(len(each.readings) for each in chains) == 8
    assert not any(one.flag for each in chains for one in each.readings)
    a, b, c = (each.rate for each in chains)
    assert a and b and c and a.high and b.low and b.middle and c.middle
    assert b.low > a.high and b.middle > c.middle
    # No length when new is on record and so no limit: nothing is said to be due.
    assert {(each.limit, each.chance_past, each.due_in) for each in chains} == {(None, None, None)}


def test_one_reading_each_and_no_length_when_new_tell_no_rate(book: Book) -> None:
    """On 10 September 2016 A and B had been read once each: no rate is given, and none made up."""
    parts = wear(book, "2016-09-10").parts
    assert [part.series for part in parts] == ["chain-A/roller_span", "chain-B/roller_span"]
    assert [(part.rate, part.now) for part in parts] == [(None, None), (None, None)]


def test_what_was_known_in_september_holds_in_february(book: Book) -> None:
    """By A's two readings until 20 September 2016, its reading of 133.4 mm at 3,800 km and C's of
    133.5 at 3,750 km lie inside 80 % of what a chain fitted then would show."""
    fit = wear(book, "2016-09-20").fit.families[0]
    low, _, high = foretold(fit, "chain-A/roller_span", 3800)
    assert low <= 133.4 <= high
    assert fit.scales is not None and fit.rates is not None
    rate = fit.rates.prior_mean[0], fit.rates.prior_variance[0] ** 0.5
    start = float(fit.scales.start[0])
    ends = [start + 3.75 * np.exp(rate[0] + side * 1.2816 * rate[1]) for side in (-1, 1)]
    assert ends[0] <= 133.5 <= ends[1]
