"""How far bikes are ridden: a first rate for each, from its own distance readings."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pyarrow as pa

from ledger.analysis.distances import Floats


@dataclass(frozen=True)
class Usage:
    km_per_day: dict[str, float]
    all_km_per_day: float

    def of(self, bikes, ridings) -> tuple[Floats, Floats]:
        rates = np.array([self.km_per_day.get(b, self.all_km_per_day) for b in bikes], float)
        return rates, np.full(len(rates), 0.5)


def fit_usage(distances: pa.Table) -> Usage:
    bikes = distances["bike"].to_pylist()
    at = distances["at"].cast(pa.int64()).to_numpy() / 86_400e6
    km = distances["km"].to_numpy()
    seen: dict[str, list[tuple[float, float]]] = {}
    for bike, a, k in zip(bikes, at, km):
        seen.setdefault(bike, []).append((a, k))
    rates = {b: (v[-1][1] - v[0][1]) / (v[-1][0] - v[0][0]) for b, v in seen.items() if v[-1][0] - v[0][0] > 14}
    return Usage(rates, float(np.median(list(rates.values()))) if rates else 5.0)
