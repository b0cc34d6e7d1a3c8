"""Quoted minutes of jobs by task: a tier's own line split as the terms of its day tell."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import Coded, Flags, Integers, codes_in, flags
from ledger.figures.job_stretches import local_days
from ledger.figures.terms_in_force import TermsInForce, TierStep
from ledger.money import share_out

_WIDTH = 100_000
"""Above the minutes any line can have."""


@dataclass(frozen=True, slots=True, eq=False)
class QuotedTasks:
    """N pieces of quoted labour that was answered yes, each (N,): a task of a standing line."""

    job: Integers
    task: Coded
    """A tier's own code where no terms tell its tasks."""
    minutes: Integers
    is_found_later: Flags


def is_yes(lines: pa.Table) -> Flags:
    """Say of rows of `quote_lines` whether they stand and were answered yes."""
    return flags(lines["is_standing"]) & flags(pc.equal(lines["answer"], "yes"))


def quoted_tasks(
    lines: pa.Table, job: Integers, terms: TermsInForce, zone: ZoneInfo
) -> QuotedTasks:
    """Give the quoted minutes of rows of `quote_lines`; `job` (N,) is the row of each one's job."""
    is_labour = flags(pc.equal(lines["line_type"], "labour"))
    kept = np.flatnonzero(is_yes(lines) & is_labour & flags(pc.greater(lines["minutes"], 0)))
    lines, job = lines.take(pa.array(kept)), job[kept]
    minutes = np.asarray(lines["minutes"].to_numpy(), dtype=np.int64)
    is_later = flags(lines["is_found_later"])
    step, steps = _steps_of(lines, terms, zone)
    parts = _Parts.made(steps, step, minutes)
    row, place = parts.spread()
    own = lines["code"].combine_chunks().take(pa.array(row))
    split = pa.array(parts.task, pa.string()).take(pa.array(place))
    task = pc.coalesce(split, own).dictionary_encode()
    return QuotedTasks(
        job=job[row],
        task=Coded(tuple(task.dictionary.to_pylist()), np.asarray(task.indices, dtype=np.int64)),
        minutes=np.where(parts.is_own[place], minutes[row], parts.minutes[place]),
        is_found_later=is_later[row],
    )


def _steps_of(
    lines: pa.Table, terms: TermsInForce, zone: ZoneInfo
) -> tuple[Integers, Sequence[TierStep | None]]:
    """Give which telling of its tier holds for each line, 0 for none, and the tellings."""
    code, day = codes_in(lines["code"], list(terms.tiers)), local_days(lines["occurred_at"], zone)
    found = np.zeros(len(day), dtype=np.int64)
    steps: list[TierStep | None] = [None]
    for place, tier in enumerate(terms.tiers.values()):
        rows = np.flatnonzero(code == place)
        which = np.searchsorted([step.since for step in tier], day[rows], side="right")
        found[rows] = np.where(which > 0, len(steps) + which - 1, 0)
        steps += tier
    return found, steps


@dataclass(frozen=True, slots=True, eq=False)
class _Parts:
    """Each different (telling of a tier, minutes) of lines, split into parts one after another."""

    which: Integers
    """Of each line, which of these it is."""
    first: Integers
    count: Integers
    task: list[str | None]
    minutes: Integers
    is_own: Flags
    """The line as it is, under its own code."""

    @classmethod
    def made(cls, steps: Sequence[TierStep | None], step: Integers, minutes: Integers) -> _Parts:
        pairs, which = np.unique(step * _WIDTH + minutes, return_inverse=True)
        split = [_split(steps[pair // _WIDTH], pair % _WIDTH) for pair in pairs.tolist()]
        counts = np.array([len(parts) for parts in split], dtype=np.int64)
        every = [part for parts in split for part in parts]
        task = [name for name, _ in every]
        return cls(
            which.astype(np.int64),
            np.cumsum(counts) - counts,
            counts,
            task,
            np.array([count for _, count in every], dtype=np.int64),
            np.array([name is None for name in task], dtype=np.bool_),
        )

    def spread(self) -> tuple[Integers, Integers]:
        """Give for each part of each line the line's row, and the part's place."""
        count = self.count[self.which]
        row = np.repeat(np.arange(len(self.which)), count)
        within = np.arange(len(row)) - np.repeat(np.cumsum(count) - count, count)
        return row, np.repeat(self.first[self.which], count) + within


def _split(step: TierStep | None, minutes: int) -> list[tuple[str | None, int]]:
    """Give the tasks of a tier with what of its minutes falls to each; of no task: None."""
    tasks = () if step is None else step.tier.tasks
    if not any(task.minutes for task in tasks):
        return [(None, minutes)]
    shares = share_out(minutes, [task.minutes for task in tasks])
    return [(task.task, share) for task, share in zip(tasks, shares, strict=True)]
