"""A slip of the pen where many parts are worn out is still told from a worn-out part."""

from __future__ import annotations

import numpy as np

from ledger.analysis.wear import fit_wear


def pads(seed: int) -> dict[str, list[object]]:
    """300 pads from 4 mm that stop at 0.5 mm, read twice by a caliper that errs by 0.05 mm."""
    rng = np.random.default_rng(seed)
    km = np.sort(rng.uniform(200, 9000, (300, 2)), axis=1)
    rate = 0.55 * np.exp(rng.normal(0, 0.25, (300, 1)))
    true = np.maximum(4 - rate * km / 1000, 0.5)
    shown = np.round(true + rng.normal(0, 0.05, true.shape), 2)
    return {
        "part": [f"p{part:03d}" for part in range(300) for _ in range(2)],
        "distance_km": list(km.ravel()),
        "value": list(shown.ravel()),
        "direction": [-1] * 600,
        "start": [4.0] * 600,
        "limit": [1.0] * 600,
        "gauge_error": [0.05] * 600,
    }


def test_a_last_reading_in_inches_is_flagged_although_many_pads_are_worn_out() -> None:
    """3 mm entered as 0.118 is beyond what any worn-out pad shows, and named for what it is."""
    table = pads(seed=11)
    row = next(row for row in range(1, 600, 2) if 2.8 < float(str(table["value"][row])) < 3.2)
    table["value"][row] = 0.118
    (fitted,) = fit_wear(table).families
    found = {flag.row: flag.why for flag in fitted.flagged}
    assert row in found
    assert "inches" in found[row]


def test_pads_worn_to_their_plates_are_not_flagged() -> None:
    """What stands at the end of all wear is at least that worn, and no slip."""
    (fitted,) = fit_wear(pads(seed=12)).families
    assert fitted.scales is not None
    assert abs(fitted.scales.worn_out + 0.5) < 0.05
    assert len(fitted.flagged) <= 2
