"""Windows in force by day, and which job answers which: matched, said at booking-in, judged."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, time, timedelta

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import Integers, coded
from ledger.settings import BookSettings
from ledger.vocabulary import Vocabulary

MATCHED, SAID, JUDGED = "matched", "said at booking-in", "judged"
"""How a job is known to answer an earlier one; a judgement goes before what was said, and that
before what was matched."""
_EPOCH = datetime(1970, 1, 1)


@dataclass(frozen=True, slots=True)
class WindowAsked:
    """A window asked for in place of the shop's: where an end is None, each fault keeps its own."""

    days: int | None = None
    distance_km: int | None = None


@dataclass(frozen=True)
class WindowsInForce:
    """The windows a shop had, with what is asked for in their place."""

    words: Vocabulary
    settings: BookSettings
    asked: WindowAsked | None = None

    def of(self, fault: pa.ChunkedArray, put_right_us: Integers) -> tuple[Integers, Integers]:
        """Give the days and km of each fault's window in force when it was put right.

        `put_right_us` are microseconds since 1970.
        """
        asked, count = self.asked or WindowAsked(), len(fault)
        if asked.days is None or asked.distance_km is None:
            days, km = self._own(fault, put_right_us)
        if asked.days is not None:
            days = np.full(count, asked.days)
        if asked.distance_km is not None:
            km = np.full(count, asked.distance_km)
        return days, km

    def _own(self, fault: pa.ChunkedArray, put_right_us: Integers) -> tuple[Integers, Integers]:
        """Give the days and km that the shop had."""
        faults = coded(fault)
        every = [self.words.windows_of(name) for name in faults.names]
        first = [(window.days, window.distance_km) for ((_, window), *_) in every]
        # NONE is the last place: what is appended stands for no fault.
        days, km = np.array([*first, (0, 0)], dtype=np.int64).T[:, faults.code]
        for code, windows in enumerate(every):
            for since, window in windows[1:]:
                holds = (faults.code == code) & (put_right_us >= self._start_us(since))
                days[holds], km[holds] = window.days, window.distance_km
        return days, km

    def _start_us(self, day: str) -> int:
        """Give the first microsecond of a day in the book's zone; of "", before all time."""
        if not day:
            return int(np.iinfo(np.int64).min)
        midnight = datetime.combine(date.fromisoformat(day), time(), self.settings.zone)
        offset = midnight.utcoffset() or timedelta(0)
        return (midnight.replace(tzinfo=None) - _EPOCH - offset) // timedelta(microseconds=1)


def matched_links(repeats: pa.Table) -> pa.Table:
    """Give (bike, job, answers) for each job in which something came back within its window.

    `repeats` are rows with bike, again_job, first_job, first_put_right_at, first_seq,
    is_in_window. Of several repairs a job answers the latest.
    """
    found = repeats.filter(pc.and_(repeats["is_in_window"], pc.is_valid(repeats["again_job"])))
    order = [("first_put_right_at", "descending"), ("first_seq", "descending")]
    found = found.sort_by(order)
    _, first = np.unique(coded(found["again_job"]).code, return_index=True)
    chosen = found.take(pa.array(first))
    names = ["bike", "again_job", "first_job"]
    return chosen.select(names).rename_columns(["bike", "job", "answers"]).combine_chunks()


def linked_jobs(matched: pa.Table, said: pa.Table, judged: pa.Table) -> pa.Table:
    """Give one row a job that answers an earlier one, or was judged not to, by job.

    Columns bike, job, answers (null where judged no come-back, or where the repair was of no
    job), source (MATCHED, SAID or JUDGED), is_come_back. `matched` are `matched_links`, `said`
    and `judged` rows of the relations `said_come_backs` and `judged_come_backs`.
    """
    opened = said.filter(pc.equal(said["kind"], "job_opened"))
    found = _joined(_joined(matched, _last_of_jobs(opened), "said_"),
                    _last_of_jobs(judged), "judged_")  # fmt: skip
    is_judged = pc.is_valid(found["judged_seq"])
    is_said = pc.is_valid(found["said_seq"])
    answers = pc.if_else(is_said, found["said_answers"], found["answers"])
    columns = {
        "bike": found["bike"],
        "job": found["job"],
        "answers": pc.if_else(is_judged, found["judged_answers"], answers),
        "source": pc.if_else(is_judged, JUDGED, pc.if_else(is_said, SAID, MATCHED)),
        "is_come_back": pc.fill_null(found["judged_is_come_back"], True),
    }
    return pa.table(columns).sort_by("job").combine_chunks()


def _last_of_jobs(told: pa.Table) -> pa.Table:
    """Give what was told of each job last, by time, then seq."""
    told = told.sort_by([("occurred_at", "descending"), ("seq", "descending")]).combine_chunks()
    _, first = np.unique(coded(told["job"]).code, return_index=True)
    return told.take(pa.array(first))


def _joined(links: pa.Table, told: pa.Table, prefix: str) -> pa.Table:
    names = [name for name in ("seq", "answers", "is_come_back") if name in told.column_names]
    told = told.select(["bike", "job", *names])
    told = told.rename_columns(["bike", "job", *(f"{prefix}{name}" for name in names)])
    return links.join(told, keys=["bike", "job"], join_type="full outer").combine_chunks()
