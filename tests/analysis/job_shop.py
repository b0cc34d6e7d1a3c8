"""Shops whose jobs take minutes by a known law, for tests of the model of minutes."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from ledger.analysis.job_columns import Worked, worked

TASKS = ("inspection", "drivetrain", "brakes", "bearings", "tyres")
PLANNED = {"inspection": 20, "drivetrain": 100, "brakes": 45, "bearings": 120, "tyres": 25}
KINDS = ("city", "tourer", "child", "cargo")


@dataclass(frozen=True)
class Law:
    """log(actual / planned) of a task: the sum of what is told here."""

    tier: dict[str, float] = field(
        default_factory=lambda: {"quick": 0.0, "full": 0.05, "overhaul": 0.12}
    )
    age: dict[str, float] = field(default_factory=lambda: {"new": 0.0, "unknown": 0.12})
    kind: dict[str, float] = field(default_factory=dict)
    task: dict[str, float] = field(default_factory=dict)
    job_spread: float = 0.12
    row_spread: float = 0.25

    def drift(self, tier: str, age: str, kind: str | None = None, task: str | None = None) -> float:
        """Give the mean of log(actual / planned)."""
        more = self.kind.get(kind or "", 0.0) + self.task.get(task or "", 0.0)
        return self.tier[tier] + self.age[age] + more


def shop(
    rng: np.random.Generator, count_jobs: int, law: Law | None = None, *, is_whole: bool = False
) -> Worked:
    """Give a shop's jobs of one to four tasks each, closed one a day; minutes whole if asked."""
    law = law or Law()
    tier = rng.choice(list(law.tier), count_jobs)
    age = rng.choice(list(law.age), count_jobs, p=[0.3, 0.7])
    kind = rng.choice(KINDS, count_jobs)
    size = rng.integers(1, 5, count_jobs)
    job = np.repeat(np.arange(count_jobs), size)
    task = np.concatenate([rng.permutation(TASKS)[:n] for n in size])
    planned = np.array([PLANNED[name] for name in task], dtype=np.float64)
    drift = [
        law.drift(tier[row], age[row], kind[row], name) for row, name in zip(job, task, strict=True)
    ]
    own = rng.normal(0, law.job_spread, count_jobs)[job]
    actual = planned * np.exp(drift + own + rng.normal(0, law.row_spread, len(job)))
    return worked(
        tier=tier.tolist(),
        bike_kind=kind.tolist(),
        age_class=age.tolist(),
        job=job,
        task=task.tolist(),
        actual_minutes=np.maximum(np.rint(actual), 1) if is_whole else actual,
        planned_minutes=planned,
        closed_at=np.arange(count_jobs, dtype=np.float64),
    )
