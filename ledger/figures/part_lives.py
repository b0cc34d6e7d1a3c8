"""How long the parts of one family last, by model, with how many were still watched when."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
import pyarrow as pa

from ledger.analysis import lives
from ledger.analysis.lives import LifeGroup
from ledger.analysis.wear_data import sort_of
from ledger.figures.wear import BookWear

COUNT_MARKS = 5
"""At how many lengths, from 0 on, it is said how many parts were still watched."""
RESAMPLES = 200


@dataclass(frozen=True, slots=True)
class Watched:
    """How many lives may still have been running at a length of use."""

    at: float
    count: int


@dataclass(frozen=True, slots=True, eq=False)
class ModelLives:
    """The lives of one model at one position, in `unit` of use."""

    group: LifeGroup
    """By position and model."""
    unit: Literal["km", "days"]
    watched: tuple[Watched, ...]


@dataclass(frozen=True, slots=True, eq=False)
class FamilyLives:
    """The lives of a family's parts, and how many parts say nothing of a whole life."""

    models: tuple[ModelLives, ...]
    count_not_from_new: int
    count_never_used: int


def lives_of_family(
    wear: BookWear, family: str, unit: Literal["km", "days"] = "km", minimum: int = 5
) -> FamilyLives:
    """Give the lives of the parts of a family, such as `chain elongation`, by position and model.

    A model gets a law where at least `minimum` of its parts were seen worn. No models where no
    part of the family is known from new.
    """
    sort = family.split(" ")[0]
    parts = wear.tables.parts
    rows = [row for row, at in enumerate(parts["position"].to_pylist()) if sort_of(at) == sort]
    found = lives.lives_of(parts.take(rows), _readings(wear, family), unit=unit)
    left_out = lives.count_left_out(found)
    groups = lives.lives_by(found, ("position", "model"), minimum, resamples=RESAMPLES)
    return FamilyLives(
        models=tuple(ModelLives(one, unit, _watched(found, one)) for one in groups),
        count_not_from_new=left_out.get("not from new", 0),
        count_never_used=left_out.get("never used", 0),
    )


def _readings(wear: BookWear, family: str) -> pa.Table:
    sort, _, quantity = family.partition(" ")
    readings = wear.tables.readings
    named = zip(readings["position"].to_pylist(), readings["quantity"].to_pylist(), strict=True)
    is_of = [sort_of(position) == sort and what == quantity for position, what in named]
    return readings.take(np.flatnonzero(is_of))


def _watched(found: pa.Table, group: LifeGroup) -> tuple[Watched, ...]:
    names = zip(found["position"].to_pylist(), found["model"].to_pylist(), strict=True)
    is_of = np.array([name == group.group for name in names], dtype=bool)
    lower = np.array(found["lower"].to_pylist(), dtype=float)[is_of]
    upper = np.array(found["upper"].to_pylist(), dtype=float)[is_of]
    end = np.fmax(lower, upper)
    marks = np.linspace(0.0, float(end.max()), COUNT_MARKS)
    return tuple(Watched(float(at), int((end >= at).sum())) for at in marks)
