"""What a forecast of a quantile loses against what came."""

from __future__ import annotations

import numpy as np

from ledger.analysis.life_bounds import FloatArray


def pinball(actual: FloatArray, forecast: FloatArray, share: float) -> FloatArray:
    """Give the pinball (quantile) loss of forecasts of a quantile (Koenker & Bassett 1978)."""
    off = actual - forecast
    return np.maximum(share * off, (share - 1) * off)
