"""Days that jobs were held, and for what."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import Integers, coded, flags, micros
from ledger.figures.margin_shapes import HeldBy, HeldJob

_DAY_US = 86_400_000_000


def instant_us(at: datetime) -> int:
    """Give an instant as microseconds since 1970."""
    return int(micros(pa.array([at], pa.timestamp("us", tz="UTC")))[0])


class Holds:
    """Rows of `JobLedger.holds` that overlap a span of time."""

    def __init__(self, holds: pa.Table, begins: datetime, ends: datetime, as_at: datetime) -> None:
        """A hold that goes on is counted until `as_at`."""
        begun, now = micros(holds["held_at"]), instant_us(as_at)
        is_on = flags(pc.is_null(holds["ended_at"]))
        until = np.where(is_on, now, micros(holds["ended_at"]))
        first, last = instant_us(begins), min(instant_us(ends), now)
        rows = np.flatnonzero((begun <= last) & (until >= first))
        self.table = holds.take(pa.array(rows))
        self.is_on = is_on[rows]
        self.whole_us: Integers = (until - begun)[rows]
        self.inside_us: Integers = np.minimum(until, last)[rows] - np.maximum(begun, first)[rows]

    def rows(self) -> tuple[HeldBy, ...]:
        """Give what was waited for, most days first."""
        key, job = coded(self.table["waiting_for"]), coded(self.table["job"])
        found = []
        for place, name in enumerate(key.names):
            of = key.code == place
            found.append(
                HeldBy(
                    # What a hold may wait for is listed in the event.
                    waiting_for=name,  # type: ignore[arg-type]  # one of those
                    count_holds=int(of.sum()),
                    count_jobs=len(np.unique(job.code[of])),
                    count_now=int(self.is_on[of].sum()),
                    days=float(self.inside_us[of].sum() / _DAY_US),
                    median_days=float(np.median(self.whole_us[of]) / _DAY_US),
                )
            )
        return tuple(sorted(found, key=lambda row: (-row.days, row.waiting_for)))

    def jobs(self, limit: int) -> tuple[HeldJob, ...]:
        """Give at most so many holds, longest first, ties by bike and job."""
        least = np.sort(self.whole_us)[-limit:][:1]
        places = np.flatnonzero(self.whole_us >= least) if len(least) else np.array([], np.int64)
        rows = self.table.take(pa.array(places)).to_pylist()
        held = [
            HeldJob(
                bike=row["bike"],
                job=row["job"],
                tier=row["tier"],
                waiting_for=row["waiting_for"],
                held_at=row["held_at"],
                ended_at=row["ended_at"],
                days=float(self.whole_us[place] / _DAY_US),
            )
            for row, place in zip(rows, places, strict=True)
        ]
        held.sort(key=lambda job: (-job.days, job.bike, job.job, job.held_at))
        return tuple(held[:limit])
