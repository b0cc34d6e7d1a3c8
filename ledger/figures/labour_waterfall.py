"""One job from quoted to actual: in minutes, in money, and line by line."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from ledger.errors import WrongUse
from ledger.figures.fault_arrays import flags
from ledger.figures.labour_shapes import JobWaterfall, QuotedLine, WaterfallStep
from ledger.figures.labour_words import LabourWords
from ledger.queries import bike_tables

if TYPE_CHECKING:
    from ledger.figures.labour import BookLabour

Row = Mapping[str, Any]
Change = tuple[str, str, str | None, int, str]
"""kind, label, key, change, note."""


def waterfall(labour: BookLabour, job: str, bike: str | None) -> JobWaterfall:
    """Give one job; raises WrongUse where it is not there, or is one of several of its name."""
    place = _place_of(labour, job, bike)
    row = labour.ledger.jobs.slice(place, 1).to_pylist()[0]
    is_its = np.equal(labour.ledger.row_of_job, place)
    tasks = labour.ledger.tasks.take(pa.array(np.flatnonzero(is_its))).to_pylist()
    bike = row["bike"]
    read = bike_tables(
        labour.book, bike, ("quote_lines", "charged_lines"), labour.as_at, labour.known_seq
    )
    quoted, charged = _of(read["quote_lines"], job), _of(read["charged_lines"], job)
    words, is_closed = labour.words, row["closed_at"] is not None
    minutes = _steps(row["quoted_minutes"], "quoted", _minutes(row, tasks, words), "worked")
    net = row["quoted_net_yes_minor"]
    money = _steps(net, "quoted", _money(row, quoted, charged, words), _ends_in(is_closed))
    return JobWaterfall(
        bike=bike,
        job=job,
        tier=row["tier"],
        tier_label=words.tier(row["tier"]),
        closed_at=row["closed_at"],
        minutes=minutes,
        money=money,
        lines=tuple(_line(line, charged, words) for line in _in_order(quoted)),
        front=_front(row, minutes[-1].stop, money[-1].stop, words),
        notes=tuple(_notes(row, tasks, words)),
    )


def _ends_in(is_closed: bool) -> str:
    return "charged" if is_closed else "agreed so far"


def _of(table: pa.Table, job: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = table.filter(pc.equal(table["job"], job)).to_pylist()
    return found


def _in_order(lines: Iterable[Row]) -> list[Row]:
    return sorted(lines, key=lambda line: (line["occurred_at"], line["seq"], line["line"]))


def _place_of(labour: BookLabour, job: str, bike: str | None) -> int:
    """Give the row of a job."""
    jobs = labour.ledger.jobs
    places = np.flatnonzero(flags(pc.equal(jobs["job"], job)))
    tags = jobs["bike"].take(pa.array(places)).to_pylist()
    if bike is not None:
        known = labour.book.aliases(labour.known_seq).get(bike, frozenset({bike}))
        places = places[[tag in known for tag in tags]]
    if not len(places):
        whose = "in this book" if bike is None else f"of bike {bike}"
        raise WrongUse(f"There is no job {job} {whose}. A bike's jobs are in its history.")
    if len(places) > 1:
        raise WrongUse(f"Job {job} is one of several bikes: {', '.join(tags)}. Say which bike.")
    return int(places[0])


# -- minutes --------------------------------------------------------------------------------------


def _minutes(row: Row, tasks: list[dict[str, Any]], words: LabourWords) -> list[Change]:
    worked = (
        ("found later", row["minutes_found_later"], row["found_later_quoted_minutes"]),
        ("come-back", row["minutes_come_back"], 0),
        ("goodwill", row["minutes_goodwill"], 0),
    )
    later: list[Change] = [
        (kind, kind, None, minutes, _quoted_worked(quoted, minutes, words) if quoted else "")
        for kind, minutes, quoted in worked
        if minutes or quoted
    ]
    return [*_task_changes(row, tasks, words), *later]


def _quoted_worked(quoted: int, worked: int, words: LabourWords) -> str:
    return f"quoted {words.figure(quoted)}, worked {words.figure(worked)}"


def _task_changes(row: Row, tasks: list[dict[str, Any]], words: LabourWords) -> list[Change]:
    """Give how far each task went off its quote; where a tier's tasks are untold, all as one."""
    whole = sorted(task["task"] for task in tasks if task["is_unsplit"])
    if whole:
        quoted, worked = row["quoted_minutes"], row["minutes_quoted"]
        note = _quoted_worked(quoted, worked, words)
        named = " and ".join(map(words.tier, whole))
        return [("task", named, whole[0], worked - quoted, note)]
    found: list[Change] = [
        (
            "task",
            words.task(task["task"]),
            task["task"],
            task["minutes_quoted"] - task["quoted_minutes"],
            _quoted_worked(task["quoted_minutes"], task["minutes_quoted"], words),
        )
        for task in tasks
        if task["quoted_minutes"] or task["minutes_quoted"]
    ]
    return sorted(found, key=lambda change: (-abs(change[3]), change[1]))


# -- money ----------------------------------------------------------------------------------------


def _money(
    row: Row, quoted: Sequence[Row], charged: Sequence[Row], words: LabourWords
) -> list[Change]:
    """Give what was agreed to later, and where what was charged is not what was agreed to."""
    later = row["found_later_net_yes_minor"]
    found: list[Change] = []
    if later:
        found.append(("found later", "found later, agreed to", None, later, ""))
    if row["closed_at"] is None:
        return found
    agreed = {
        line["line"]: line for line in quoted if line["is_standing"] and line["answer"] == "yes"
    }
    by_line = _charged_by_line(charged)
    for name, line in agreed.items():
        change = by_line.pop(name, None)
        label = _label(line, words)
        if change is None:
            found.append(("charge", label, line["code"], -line["net"], "agreed to, not charged"))
        elif change != line["net"]:
            found.append(("charge", label, line["code"], change - line["net"], "charged otherwise"))
    found += [
        ("charge", _label(line, words), line["code"], line["net"], "charged without a yes")
        for line in charged
        if line["net"] and line["quote_line"] not in agreed
    ]
    return found


def _charged_by_line(charged: Iterable[Row]) -> dict[str, int]:
    found: dict[str, int] = {}
    for line in charged:
        if line["quote_line"] is not None:
            found[line["quote_line"]] = found.get(line["quote_line"], 0) + line["net"]
    return found


def _label(line: Row, words: LabourWords) -> str:
    return words.task(line["code"]) if line["line_type"] == "labour" else str(line["code"])


def _line(line: Row, charged: Iterable[Row], words: LabourWords) -> QuotedLine:
    return QuotedLine(
        quote=line["quote"],
        line=line["line"],
        line_type=line["line_type"],
        code=line["code"],
        label=_label(line, words),
        position=line["position"],
        minutes=line["minutes"],
        net_minor=line["net"],
        form=line["form"],
        is_found_later=line["is_found_later"],
        is_standing=line["is_standing"],
        answer=line["answer"],
        answered_at=line["answered_at"],
        charged_minor=_charged_by_line(charged).get(line["line"]),
    )


# -- steps ----------------------------------------------------------------------------------------


def _steps(
    start: int, label: str, changes: Iterable[Change], end: str
) -> tuple[WaterfallStep, ...]:
    """Give bars one after another, from a whole to a whole."""
    steps = [WaterfallStep(label, "start", None, start, 0, start, "")]
    at = start
    for kind, name, key, change, note in changes:
        # The kinds are those of WaterfallStep, which a tuple cannot say.
        steps.append(WaterfallStep(name, kind, key, change, at, at + change, note))  # type: ignore[arg-type]
        at += change
    return (*steps, WaterfallStep(end, "end", None, at, 0, at, ""))


def _front(row: Row, minutes: int, money: int, words: LabourWords) -> str:
    quoted = row["quoted_minutes"]
    worked = words.count(minutes, "minute")
    said = f"Quoted {words.count(quoted, 'minute')}, worked {worked}" if quoted else (
        f"No minutes quoted and agreed to, {worked} worked"
    )  # fmt: skip
    done = "charged" if row["closed_at"] is not None else "agreed to so far"
    net = words.money(row["quoted_net_yes_minor"])
    return f"{said}; quoted {net}, {done} {words.money(money)}."


def _notes(row: Row, tasks: list[dict[str, Any]], words: LabourWords) -> Iterable[str]:
    if any(task["is_unsplit"] for task in tasks):
        yield "No terms told this tier's tasks on the day of the quote: its minutes stand as one."
    if row["minutes_without_wage"]:
        yield words.without_wage(row["minutes_without_wage"])
