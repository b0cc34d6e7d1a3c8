"""What is said of how a part wears and when it is due, as far as anything is foretold."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

import numpy as np
import pytest

from ledger.figures.wear import DueDates, Estimate, PartWear
from ledger.figures.wear_parts import not_below_nought
from ledger.figures.wear_words import WearWords
from ledger.settings import BookSettings
from ledger.vocabulary import standard

FITTED_AT = datetime(2025, 3, 3, 12, tzinfo=UTC)
EARLY, MIDDLE, LATE = date(2026, 6, 1), date(2026, 6, 20), date(2026, 9, 1)
PART = PartWear(
    series="A/elongation", part="A", bike="7K3M9QXA", rider=None, position="chain",
    quantity="elongation", point=None, make=None, model=None, riding=None, unit="%",
    exposure_unit="km", direction=1, limit=0.75, is_fitted=True, is_from_new=True,
    fitted_at=FITTED_AT, readings=(), rate=None, now=None, exposure_now=3000.0,
    exposure_now_error=0.0, chance_past=0.1, due_in=Estimate(500.0, 900.0, 2000.0),
    due_on=DueDates(EARLY, MIDDLE, LATE),
)  # fmt: skip


def words() -> WearWords:
    return WearWords(BookSettings("quay", "Quay", "EUR", "Europe/Lisbon", "en"), standard())


@pytest.mark.parametrize(
    ("on", "said"),
    [
        ((EARLY, MIDDLE, LATE), "Jun 20, 2026 (80 %: Jun 1, 2026 to Sep 1, 2026)"),
        (
            (EARLY, MIDDLE, None),
            "Jun 20, 2026 (80 %: Jun 1, 2026 to more than three years from now)",
        ),
        ((EARLY, None, None), "more than three years from now (80 %: from Jun 1, 2026 on)"),
        ((None, None, None), "more than three years from now"),
    ],
)
def test_days_beyond_what_is_foretold_are_said_once(on: tuple[date | None, ...], said: str) -> None:
    """The horizon stands once in a phrase, and alone where no day lies within it."""
    assert words().dates(DueDates(*on)) == said


def test_a_limit_that_nothing_foretells_is_said_in_one_phrase() -> None:
    """Without a middle distance there is none in the sentence; else both are given."""
    far = replace(PART, due_in=Estimate(None, None, None), due_on=DueDates(None, None, None))
    assert words().due(far) == "Due more than three years from now."
    assert words().due(PART).startswith("Due in 900 km (500 to 2,000): Jun 20, 2026 (80 %:")


@pytest.mark.parametrize(
    ("now", "said"),
    [
        (Estimate(0.0, 0.0, 0.0), "By now worn through, by the line: nothing is left"),
        (Estimate(0.0, 0.0, 0.4), "By now worn through, by the line: at most 0.4 mm is left"),
        (Estimate(0.0, 0.6, 1.2), "Would measure now 0.6 mm (0 to 1.2)"),
    ],
)
def test_what_has_nothing_left_is_called_worn_through(now: Estimate, said: str) -> None:
    """A pad is said to be worn through, and never to measure less than nought."""
    pad = replace(PART, quantity="thickness", unit="mm", direction=-1, limit=1.0, now=now)
    assert words().now(pad).startswith(said)


def test_no_thickness_is_below_nought_and_growing_figures_are_as_they_are() -> None:
    """Figures of what wears away end at nought; those of what grows are left alone."""
    figures = np.array([-2.1, 0.0, 0.7])
    assert not_below_nought(figures, -1.0).tolist() == [0.0, 0.0, 0.7]
    assert not_below_nought(figures, 1.0).tolist() == [-2.1, 0.0, 0.7]
