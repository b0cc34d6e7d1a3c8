"""Pads entered in inches or with the point one place off, in a shop of a dozen pads."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from ledger.analysis.wear import FamilyFit, fit_wear

Rng = np.random.Generator
PADS = 12


def pads(rng: Rng, factor: float) -> tuple[FamilyFit, int]:
    """Give twelve pads of 4 mm read twice, a last reading of one divided by the factor, its row."""
    rate = 0.5 * np.exp(rng.normal(0, 0.3, PADS))
    x = np.sort(rng.uniform(0.5, 3.5, (PADS, 2)), axis=1)
    shown = np.maximum(4 - rate[:, None] * x, 0.3) + rng.normal(0, 0.05, (PADS, 2))
    slip = int(rng.integers(PADS))
    shown[slip, 1] /= factor
    columns: dict[str, Any] = {
        "part": [f"p{number:02d}" for number in range(PADS) for _ in range(2)],
        "exposure": list(x.ravel()),
        "value": list(np.round(shown, 3).ravel()),
        "start": [4.0] * 2 * PADS,
        "limit": [1.0] * 2 * PADS,
        "direction": [-1] * 2 * PADS,
    }
    return fit_wear(columns).families[0], 2 * slip + 1


@pytest.mark.parametrize("factor", [25.4, 10.0])
def test_a_unit_slip_is_flagged_among_twelve_pads_and_not_its_partner(factor: float) -> None:
    """In 18 of 20 shops at least the slip is flagged, and the right reading beside it never."""
    rng, hits, partners = np.random.default_rng(5), 0, 0
    for _ in range(20):
        found, row = pads(rng, factor)
        rows = [flag.row for flag in found.flagged]
        hits, partners = hits + (row in rows), partners + (row - 1 in rows)
    assert hits >= 18
    assert partners == 0


def test_pads_entered_right_are_flagged_less_than_once_in_a_thousand() -> None:
    """Of 2,400 right readings two at most are flagged."""
    rng = np.random.default_rng(6)
    assert sum(len(pads(rng, 1.0)[0].flagged) for _ in range(100)) <= 2


@pytest.mark.parametrize(("unit", "is_named"), [("mm", True), ("%", False)])
def test_inches_are_offered_only_where_a_length_was_read(unit: str, is_named: bool) -> None:
    """What is measured in per cent has no inches; a reading 25.4 times too large is left out all
    the same."""
    rng = np.random.default_rng(2)
    km = rng.uniform(500, 3000, 40)
    value = 0.2 * km / 1000 + rng.normal(0, 0.02, 40)
    value[7] *= 25.4
    (found,) = fit_wear(
        {
            "part": [f"c{number}" for number in range(40)],
            "distance_km": km,
            "value": value,
            "start": [0.0] * 40,
            "limit": [0.75] * 40,
            "unit": [unit] * 40,
        }
    ).families
    (flag,) = found.flagged
    assert flag.row == 7
    assert ("inches" in flag.why) == is_named
