"""Sums over series by their shared effects, held against the one-hot matrix written out."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from ledger.analysis.wear_data import FACTORS, arrange
from ledger.analysis.wear_effects import Effects

LEVELS = st.sampled_from([None, "a", "b", "c"])
PARTS = st.lists(st.tuples(LEVELS, LEVELS, LEVELS), min_size=1, max_size=12)


def family_of(parts):
    riding, model, point = zip(*parts, strict=True)
    (family,) = arrange(
        {
            "series": [f"p{number:02}" for number in range(len(parts))],
            "exposure": [1.0] * len(parts),
            "value": [0.5] * len(parts),
            "family": ["chains"] * len(parts),
            "riding": list(riding),
            "model": list(model),
            "point": list(point),
        }
    )
    return family


def one_hot(family, effects):
    found = np.zeros((len(family.series), 1 + len(effects.names)))
    found[:, 0] = 1.0
    for column, (factor, level) in enumerate(effects.names, 1):
        found[:, column] = family.factors[factor] == family.levels[factor].index(level)
    return found


@given(PARTS, st.integers(0, 2**32 - 1))
def test_sums_by_effect_are_those_of_the_one_hot_matrix(parts, seed):
    """What effects foretell, its variance, and weighted sums and squares, for any levels."""
    family = family_of(parts)
    effects, random = Effects.of(family), np.random.default_rng(seed)
    design = one_hot(family, effects)
    theta, weight = random.normal(size=design.shape[1]), random.exponential(size=len(parts))
    half = random.normal(size=(design.shape[1],) * 2)
    np.testing.assert_allclose(effects.foretold(theta), design @ theta, atol=1e-12)
    np.testing.assert_allclose(effects.sums(weight), design.T @ weight, atol=1e-12)
    squares = design.T @ (weight[:, None] * design)
    np.testing.assert_allclose(effects.squares(weight), squares, atol=1e-12)
    variances = np.einsum("sl,lm,sm->s", design, half @ half.T, design)
    np.testing.assert_allclose(effects.variances(half @ half.T), variances, atol=1e-10)


def test_a_factor_of_one_level_has_no_effect():
    """Where all ride alike there is nothing to tell apart, and None is no level."""
    effects = Effects.of(family_of([("a", "x", None), ("a", "y", None), ("a", None, None)]))
    assert effects.names == [("model", "x"), ("model", "y")]
    assert "riding" in FACTORS and effects.sums(np.ones(3)).tolist() == [3.0, 1.0, 1.0]
