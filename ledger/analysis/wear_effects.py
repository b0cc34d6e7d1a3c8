"""Which of a family's shared effects each series has: its kind of riding, model, position, point.

One column for the mean, then one for every level of every factor that has more than one. Each
series has one level of a factor at most, so sums over series are counts by level.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations_with_replacement

import numpy as np

from ledger.analysis.wear_data import FACTORS, Family, Floats, Ints


@dataclass(frozen=True, slots=True)
class Effects:
    """The mean and the effects of S series, L in all with the mean."""

    names: list[tuple[str, str]]
    """(factor, level) of the effects; the mean, which comes first, has none."""
    columns: list[Ints]
    """For the mean and each factor the column (S,) that a series has; L where it has none."""
    pairs: list[Ints]
    """For each two of them, and each with itself, the place (S,) in an (L + 1, L + 1) table."""

    @classmethod
    def of(cls, family: Family) -> Effects:
        """Give the effects of a family's series."""
        names: list[tuple[str, str]] = []
        columns = [np.zeros(len(family.series), dtype=np.int64)]
        for factor in FACTORS:
            code, levels = family.factors[factor], family.levels[factor]
            if len(levels) > 1:
                columns.append(np.where(code >= 0, 1 + len(names) + code, -1))
                names += [(factor, level) for level in levels]
        size = 1 + len(names)
        columns = [np.where(column >= 0, column, size) for column in columns]
        pairs = [(size + 1) * a + b for a, b in combinations_with_replacement(columns, 2)]
        return cls(names, columns, pairs)

    def foretold(self, effects: Floats) -> Floats:
        """Give what the mean and the effects (L,) foretell of each series (S,)."""
        with_none = np.append(effects, 0.0)
        found = with_none[self.columns[0]]
        for column in self.columns[1:]:
            found += with_none[column]
        return np.asarray(found)

    def sums(self, values: Floats) -> Floats:
        """Give the sum (L,) of values (S,) over the series that have each effect."""
        return self._counted(self.columns, values, 2 + len(self.names))[:-1]

    def squares(self, weight: Floats) -> Floats:
        """Give the sum (L, L) of weights (S,) over the series that have each two effects."""
        size = 2 + len(self.names)
        table = self._counted(self.pairs, weight, size**2).reshape(size, size)[:-1, :-1]
        return np.asarray(table + np.triu(table, 1).T)

    def variances(self, covariance: Floats) -> Floats:
        """Give the variance (S,) of what effects of this covariance (L, L) foretell."""
        table = np.triu(covariance) + np.triu(covariance, 1)
        flat = np.pad(table, (0, 1)).ravel()
        found = np.zeros(len(self.columns[0]))
        for pair in self.pairs:
            found += flat[pair]
        return found

    @staticmethod
    def _counted(places: list[Ints], weight: Floats, size: int) -> Floats:
        found = np.zeros(size)
        for place in places:
            found += np.bincount(place, weight, size)
        return found
