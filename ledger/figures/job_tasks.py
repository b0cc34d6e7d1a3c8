"""Minutes of jobs by task, and of bikes by day, added up from stretches and quoted lines."""

from __future__ import annotations

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.figures.fault_arrays import NONE, Integers, codes_in
from ledger.figures.job_quotes import QuotedTasks
from ledger.figures.job_stretches import FOUND_LATER, KINDS, NO_DAY, QUOTED, Stretches
from ledger.figures.job_sums import standard
from ledger.figures.terms_in_force import TermsInForce

_WORKED = tuple(f"minutes_{kind.replace(' ', '_').replace('-', '_')}" for kind in KINDS)
_QUOTED = ("quoted_minutes", "found_later_quoted_minutes")
MINUTES = (*_QUOTED, *_WORKED)
"""Columns of minutes of a task."""
_WAGES = ("wages_quoted_minor", "without_wage_quoted")


def task_table(
    stretches: Stretches, quoted: QuotedTasks, jobs: pa.Table, terms: TermsInForce
) -> pa.Table:
    """Give `JobLedger.tasks`.

    Where a tier was quoted whose tasks are not told, none of the job's tasks can be compared:
    what was worked on them was quoted under the tier, or under another line beside it.
    """
    names = pa.array(sorted({*stretches.task.names, *quoted.task.names}), pa.string())
    pieces = pa.concat_tables([_worked(stretches, names), _told(quoted, names)])
    every = (*_QUOTED, *_WORKED, *_WAGES)
    found = pieces.group_by(["row", "code"]).aggregate([(name, "sum") for name in every])
    found = found.rename_columns(["row", "code", *every]).sort_by("row").combine_chunks()
    row, code = (np.asarray(found[name].to_numpy(), dtype=np.int64) for name in ("row", "code"))
    task = names.take(pa.array(code, mask=code == NONE))
    columns = {name: found[name] for name in every}
    of = jobs.select(["bike", "closed_day"]).take(pa.array(row))
    day = np.asarray(pc.fill_null(of["closed_day"], NO_DAY).to_numpy(), dtype=np.int64)
    actual, cost, told = (
        np.asarray(found[name].to_numpy(), dtype=np.int64)
        for name in ("minutes_quoted", "wages_quoted_minor", "quoted_minutes")
    )
    costed = standard(actual, cost, told, day, terms)
    is_unsplit = (codes_in(task, list(terms.tiers)) != NONE) & (told > 0)
    is_comparable = (code != NONE) & ~np.isin(row, row[is_unsplit])
    costed["is_standard"] = costed["is_standard"] & is_comparable
    flagged = {"is_unsplit": is_unsplit, "is_comparable": is_comparable}
    made = {name: pa.array(values) for name, values in {**flagged, **costed}.items()}
    place = row - run_starts(jobs["bike"])[run_of(jobs["bike"])[row]]
    held = {"bike": of["bike"], "job_place": pa.array(place), "closed_day": of["closed_day"]}
    return pa.table({**held, "task": task, **columns, **made})


def run_starts(bike: pa.ChunkedArray) -> Integers:
    """Give where the rows of each bike begin, in a column where those of one stand together."""
    whole = bike.combine_chunks()
    if not len(whole):
        return np.zeros(0, dtype=np.int64)
    is_new = np.asarray(pc.not_equal(whole[1:], whole[:-1]))
    return np.concatenate([[0], np.flatnonzero(is_new) + 1]).astype(np.int64)


def run_of(bike: pa.ChunkedArray) -> Integers:
    """Give of each row which bike it is of, from 0, in the order they come."""
    lengths = np.diff(np.append(run_starts(bike), len(bike)))
    return np.repeat(np.arange(len(lengths)), lengths)


def rows_of_tasks(tasks: pa.Table, jobs: pa.Table) -> Integers:
    """Give for each row of `JobLedger.tasks` the row of its job in `JobLedger.jobs`."""
    starts, of_tasks = run_starts(jobs["bike"]), run_starts(tasks["bike"])
    bikes = [table["bike"].take(pa.array(first)).combine_chunks()
             for table, first in ((tasks, of_tasks), (jobs, starts))]  # fmt: skip
    first = starts[np.asarray(pc.index_in(bikes[0], value_set=bikes[1]), dtype=np.int64)]
    place = np.asarray(tasks["job_place"].to_numpy(), dtype=np.int64)
    return np.asarray(first[run_of(tasks["bike"])] + place)


def _worked(of: Stretches, names: pa.Array) -> pa.Table:
    rows = np.flatnonzero(of.job != NONE)
    kind, minutes = of.kind[rows], of.minutes[rows]
    is_quoted = kind == QUOTED
    columns = {name: np.where(kind == code, minutes, 0) for code, name in enumerate(_WORKED)}
    columns["wages_quoted_minor"] = np.where(is_quoted, of.wages_minor[rows], 0)
    columns["without_wage_quoted"] = np.where(is_quoted & ~of.is_told[rows], minutes, 0)
    return _pieces(of.job[rows], _recoded(of.task.code[rows], of.task.names, names), columns)


def _told(of: QuotedTasks, names: pa.Array) -> pa.Table:
    rows = np.flatnonzero(of.job != NONE)
    is_later, minutes = of.is_found_later[rows], of.minutes[rows]
    columns = {
        "quoted_minutes": np.where(is_later, 0, minutes),
        "found_later_quoted_minutes": np.where(is_later, minutes, 0),
    }
    return _pieces(of.job[rows], _recoded(of.task.code[rows], of.task.names, names), columns)


def _recoded(code: Integers, names: tuple[str, ...], among: pa.Array) -> Integers:
    place = codes_in(pa.array(names, pa.string()), among)
    return np.append(place, NONE)[code]


def _pieces(row: Integers, code: Integers, columns: dict[str, Integers]) -> pa.Table:
    empty = np.zeros(len(row), dtype=np.int64)
    every = {name: columns.get(name, empty) for name in (*_QUOTED, *_WORKED, *_WAGES)}
    return pa.table({"row": row, "code": code, **every})


def day_table(of: Stretches, bike: pa.ChunkedArray) -> pa.Table:
    """Give `JobLedger.days`; `bike` is that of each stretch."""
    is_charged = (of.kind == QUOTED) | (of.kind == FOUND_LATER)
    encoded = bike.combine_chunks().dictionary_encode()
    pieces = pa.table(
        {
            "code": encoded.indices,
            "day": of.day,
            "bench_minutes": of.minutes,
            "charged_minutes": np.where(is_charged, of.minutes, 0),
            "minutes_with_wage": np.where(of.is_told, of.minutes, 0),
            "wage_minutes": np.where(of.is_told, of.minutes * of.wage, 0),
            "fixed_minor": of.fixed_minor,
        }
    )
    names = pieces.column_names[2:]
    found = pieces.group_by(["code", "day"]).aggregate([(name, "sum") for name in names])
    found = found.rename_columns(["code", "day", *names])
    bikes = encoded.dictionary.take(found["code"].combine_chunks())
    return found.drop_columns(["code"]).add_column(0, "bike", bikes)
