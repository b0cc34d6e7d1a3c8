"""`lockring labour`: minutes against quote, the jobs behind a row, one job step by step."""

from __future__ import annotations

import csv
import io
import re
from dataclasses import asdict, fields
from datetime import datetime
from decimal import Decimal
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from costed_shop import AS_AT, PERIOD, a_quarter, agreed, bike, draft, line, terms
from workbench import TAG, Ended, Run
from worn_bikes import OTHER, quay, recorded, strict

from ledger import kept
from ledger.asking import OWNER
from ledger.figures import labour_shapes as shapes

__all__ = ["quay"]
BEFORE = ("--as-known", "2")


def flat(done: Ended) -> str:
    assert done.code == 0, done.err
    return " ".join(done.out.split())


def holds(found: dict[str, Any], shape: type, *, but: tuple[str, ...] = ()) -> None:
    """Assert that JSON has every field and property of a shape, and no more."""
    derived = {name for name, one in vars(shape).items() if isinstance(one, property)}
    assert set(found) == {field.name for field in fields(shape)} | derived - set(but)


# -- the front ---------------------------------------------------------------------------------


def test_the_finding_comes_first_and_the_rows_follow(quay: Run) -> None:
    """Eight services of 150 minutes quoted at 120: 1.25 times, and 96.00 of wages too much."""
    a_quarter(TAG)
    done = quay("labour", *PERIOD, *AS_AT)
    said = flat(done)
    first = done.out.splitlines()[0]
    assert "jobs" in first and "%" in first
    assert "Jobs closed Jan 1, 2026 to Mar 31, 2026, as at Apr 1, 2026." in said
    assert re.search(r"full service full_service 8 960 1,200 1,200 0 % 1.25 \(1.25 to 1.25\)", said)
    assert re.search(r"none 1 30 30 45 33.3 % too few to judge", said), said
    wages = r"full_service €480.00 €384.00 €96.00 €0.00 €96.00 €48.00 €60.00"
    assert re.search(wages, said), said


@pytest.mark.parametrize(
    ("by", "row"),
    [
        ("task", r"drivetrain drivetrain 8 640 880 880 0 % 1.38"),
        ("task", r"brakes brakes 9 320 320 335 4.5 % 1 \(1 to 1\)"),
        ("month", r"January 2026 2026-01 4 480 600 600 0 % too few to judge"),
        ("kind", r"cargo bike cargo 9 990 1,230 1,245 1.2 % 1.25"),
    ],
)
def test_rows_by_another_dimension(quay: Run, by: str, row: str) -> None:
    """A tier's minutes are shared out over its tasks; a month has few jobs; all are cargo bikes."""
    a_quarter(TAG)
    said = flat(quay("labour", "--by", by, *PERIOD, *AS_AT))
    assert re.search(row, said), said


def test_the_jobs_behind_a_row(quay: Run) -> None:
    """Of one tier, of none, and as many as asked for; JSON has the same ones."""
    a_quarter(TAG)
    said = flat(quay("labour", "--jobs", "--key", "none", *PERIOD, *AS_AT))
    assert re.search(r"k1 2B4D6F8H no tier told Mar 2, 2026 30 30 15 0 0 1 €0.00", said), said
    assert "s1" not in said.split()
    said = flat(quay("labour", "--key", "full_service", "--limit", "3", *PERIOD, *AS_AT))
    assert len(re.findall(r"\bs\d 7K3M9QXA", said)) == 3
    assert "--limit 0 lists every job." in said
    found = strict(quay("labour", "--key", "full_service", "--json", *PERIOD, *AS_AT))
    assert {job["job"] for job in found["jobs"]} == {f"s{at}" for at in range(1, 9)}


# -- one job -----------------------------------------------------------------------------------


def test_one_job_from_quoted_to_actual(quay: Run) -> None:
    """45 minutes of 30 quoted, 25.00 of pads on top; every quoted line with its answer."""
    a_quarter(TAG)
    said = flat(quay("labour", "--job", "k1", *AS_AT))
    assert "Job k1 of bike 2B4D6F8H, no tier told, closed Mar 2, 2026." in said
    assert "Minutes, from quoted to the bench" in said and "+15 45" in said
    assert "+€25.00 €55.00" in said
    assert re.search(r"k1.s k1.s.0 bearings \(labour\) fixed 50 €50.00 no Mar 2, 2026 found later",
                     said), said  # fmt: skip
    assert re.search(r"k1.q.0 gears \(labour\) fixed 30 €30.00 yes Mar 2, 2026 €30.00", said), said


def test_one_job_as_json(quay: Run) -> None:
    """Steps and lines with all their fields; the steps end at what was worked and charged."""
    a_quarter(TAG)
    found = strict(quay("labour", "--job", "k1", "--bike", OTHER, "--json", *AS_AT))
    of_book = {"as_at", "as_known", "currency", "minor_digits"}
    assert set(found) == of_book | {field.name for field in fields(shapes.JobWaterfall)}
    holds(found["minutes"][0], shapes.WaterfallStep)
    holds(found["lines"][0], shapes.QuotedLine)
    assert (found["minutes"][-1]["stop"], found["money"][-1]["stop"]) == (45, 5500)
    answers = {one["line"]: (one["answer"], one["charged_minor"]) for one in found["lines"]}
    assert answers == {"k1.q.0": ("yes", 3000), "k1.r.0": ("yes", 2500), "k1.s.0": ("no", None)}


# -- for other programs ------------------------------------------------------------------------


def test_json_has_every_field_of_the_shapes(quay: Run) -> None:
    """No figure of the shapes is forgotten, by all four dimensions; jobs where they are asked."""
    a_quarter(TAG)
    found = strict(quay("labour", "--jobs", "--json", *PERIOD, *AS_AT))
    assert list(found["by"]) == list(shapes.LABOUR_BY)
    for row in (found["total"], *(row for rows in found["by"].values() for row in rows)):
        holds(row, shapes.LabourRow)
        holds(row["ratio"], shapes.RatioSpread)
        holds(row["minutes"], shapes.KindMinutes)
        holds(row["variances"], shapes.LabourVariances)
    holds(found["cover"], shapes.LabourCover)
    holds(found["found_later"], shapes.FoundLater)
    holds(found["found_later"]["rows"][0], shapes.FoundLaterRow)
    holds(found["jobs"][0], shapes.LabourJob)
    holds(found["period"], shapes.Period)
    assert (found["currency"], found["minor_digits"]) == ("EUR", 2)
    assert found["period"] == {"since": "2026-01-01", "until": "2026-03-31", "days": 90}
    assert strict(quay("labour", "--json", *PERIOD, *AS_AT))["jobs"] is None


def test_json_rounds_nothing(quay: Run) -> None:
    """Amounts are whole minor units; a rate and a share keep every digit."""
    a_quarter(TAG)
    found = strict(quay("labour", "--json", *PERIOD, *AS_AT))
    assert found["total"]["effective_rate_minor"] == 99_000 * 60 / 1245
    assert found["total"]["found_later_share"] == 15 / 1245
    (tier,) = (row for row in found["by"]["tier"] if row["key"] == "full_service")
    assert tier["variances"]["total_minor"] == 9600
    assert tier["minutes"] == {
        "quoted": 1200, "found_later": 0, "come_back": 0, "goodwill": 0, "bench": 1200
    }  # fmt: skip


@pytest.mark.xdist_group("harbour")
def test_json_is_what_the_figures_give(harbour: Run) -> None:
    """On a workshop of the demo, every figure of rows and jobs is that of its shape, exactly."""
    from ledger.book import Book
    from ledger.figures.labour import labour_of

    found = strict(harbour("labour", "--json", "--jobs"))
    of = labour_of(Book.open("book"), as_at=datetime.fromisoformat(found["as_at"]), asker=OWNER)
    assert found["cover"] == asdict(of.cover)
    for by in shapes.LABOUR_BY:
        rows = of.by(by)
        assert len(rows) == len(found["by"][by]) > 1
        for row, told in zip(rows, found["by"][by], strict=True):
            assert subset(told, asdict(row)) == asdict(row)
            assert told["minutes"]["bench"] == row.minutes.bench
    for job, told in zip(of.jobs(), found["jobs"], strict=True):
        assert (told["bike"], told["job"], told["ratio"]) == (job.bike, job.job, job.ratio)
        assert datetime.fromisoformat(told["closed_at"]) == job.closed_at
    assert len(found["jobs"]) == found["cover"]["count_closed"]


def subset(told: Any, wanted: Any) -> Any:
    """Give what was told without the keys that are not wanted."""
    if isinstance(wanted, dict):
        return {name: subset(told[name], one) for name, one in wanted.items()}
    return told


# -- files -------------------------------------------------------------------------------------


def test_csv_is_the_table_asked_for(quay: Run) -> None:
    """The rows with all of them last, or the jobs; amounts in euros, to the cent."""
    a_quarter(TAG)
    rows = list(csv.DictReader(io.StringIO(quay("labour", "--csv", "-", *PERIOD, *AS_AT).out)))
    assert [row["key"] for row in rows] == ["full_service", "", ""]
    assert rows[0]["variances total (EUR)"] == "96.00" and rows[0]["minutes bench"] == "1200"
    done = quay("labour", "--jobs", "--csv", "jobs.csv", *PERIOD, *AS_AT)
    assert done.out == "Wrote 9 rows of jobs to jobs.csv.\n"
    jobs = list(csv.DictReader(io.StringIO(Path("jobs.csv").read_text(encoding="utf-8"))))
    assert {row["job"] for row in jobs} == {"k1", *(f"s{at}" for at in range(1, 9))}
    assert next(row for row in jobs if row["job"] == "k1")["closed at"] == (
        "2026-03-02T16:00:00+00:00"
    )


def test_xlsx_holds_every_table_as_figures(quay: Run) -> None:
    """A sheet a dimension, what was found later, and what they are of; money is a number."""
    a_quarter(TAG)
    assert quay("labour", "--xlsx", "l.xlsx", *PERIOD, *AS_AT).code == 0
    book = openpyxl.load_workbook("l.xlsx")
    assert book.sheetnames == ["about", "by tier", "by task", "by month", "by kind", "found later"]
    head, first, *_ = book["by tier"].iter_rows(values_only=True)
    row = dict(zip(head, first, strict=True))
    assert (row["label"], row["jobs"], row["ratio median"]) == ("full service", 8, 1.25)
    assert Decimal(str(row["variances total (EUR)"])) == Decimal("96")
    about = dict(book["about"].iter_rows(values_only=True))
    assert about["found later net not yes (EUR)"] == 50
    assert (about["since"].date().isoformat(), about["days"]) == ("2026-01-01", 90)


def test_one_jobs_tables_are_written_too(quay: Run) -> None:
    """CSV has its quoted lines; XLSX its steps in minutes and in euros as well."""
    a_quarter(TAG)
    lines = quay("labour", "--job", "k1", "--csv", "-", *AS_AT).out.splitlines()
    assert len(lines) == 4 and "net (EUR)" in lines[0]
    assert quay("labour", "--job", "k1", "--xlsx", "k1.xlsx", *AS_AT).code == 0
    book = openpyxl.load_workbook("k1.xlsx")
    assert book.sheetnames == ["minutes", "money", "quoted lines"]
    *_, last = book["money"].iter_rows(values_only=True)
    head = next(book["money"].iter_rows(values_only=True))
    assert dict(zip(head, last, strict=True))["stop (EUR)"] == 55


def test_a_file_that_is_there_is_not_written_over(quay: Run) -> None:
    """Unless --replace says so."""
    a_quarter(TAG)
    Path("mine.csv").write_text("mine")
    done = quay("labour", "--csv", "mine.csv", *AS_AT)
    assert done.code == 1 and "already there" in done.err
    assert Path("mine.csv").read_text() == "mine"
    assert quay("labour", "--csv", "mine.csv", "--replace", *AS_AT).code == 0
    assert Path("mine.csv").read_text().startswith("key,label")
    assert sorted(path.name for path in Path().iterdir()) == ["book", "mine.csv"]


# -- little or nothing -------------------------------------------------------------------------


def test_an_empty_book_says_so(quay: Run) -> None:
    """No job, no figure, and where minutes come from; JSON has no rows."""
    said = flat(quay("labour"))
    assert "No job was closed" in said and "labour_logged" in said
    found = strict(quay("labour", "--json"))
    assert found["by"] == {by: [] for by in shapes.LABOUR_BY}
    assert (found["total"]["count_jobs"], found["total"]["ratio"]["median"]) == (0, None)
    assert quay("labour", "--csv", "-").code == 0
    assert quay("labour", "--xlsx", "none.xlsx").code == 0


def test_without_terms_minutes_cost_nothing_and_it_is_said(quay: Run) -> None:
    """No wage told: the minutes without one are counted, in words and in JSON."""
    gears = line("gears", 3000, 30)
    recorded(bike(TAG), draft("job_opened", "2026-02-01T09:00", TAG, "j1"),
             *agreed("2026-02-01", TAG, "j1", "q", gears),
             draft("labour_logged", "2026-02-01T12:00", TAG, "j1", task="gears", minutes=40),
             draft("job_closed", "2026-02-01T16:00", TAG, "j1", currency="EUR",
                   lines=[{**gears, "quote_line": "q.0"}]))  # fmt: skip
    said = flat(quay("labour", *PERIOD, *AS_AT))
    assert re.search(r"no wage", said), said
    found = strict(quay("labour", "--json", *PERIOD, *AS_AT))
    assert found["cover"]["minutes_without_wage"] == 40
    assert found["total"]["variances"]["actual_minor"] == 0
    assert found["total"]["posted_rate_minor"] is None


def test_what_was_known_before_is_told_again(quay: Run) -> None:
    """As known to the event before the jobs, there are none."""
    recorded(terms(), bike(TAG), bike(OTHER))
    known = quay("labour", "--json").json["as_known"]
    a_job = [draft("job_opened", "2026-02-01T09:00", TAG, "j1"),
             draft("job_closed", "2026-02-01T16:00", TAG, "j1")]  # fmt: skip
    recorded(*a_job)
    now = strict(quay("labour", "--json", *PERIOD, *AS_AT))
    before = strict(quay("labour", "--json", *PERIOD, *AS_AT, "--as-known", str(known)))
    assert (now["cover"]["count_closed"], before["cover"]["count_closed"]) == (1, 0)


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("--since", "x"), "--since: 'x' is no day; write it as 2026-03-01."),
        (("--since", "2026-02-01", "--until", "2026-01-01"), "before it begins"),
        (("--key", "full_servic"), "Did you mean full_service?"),
        (("--key", "x", "--by", "month"), "There are: 2026-01, 2026-02, 2026-03."),
        (("--job", "k1", "--by", "task"), "--job shows one job whole: leave out --by."),
        (("--bike", OTHER), "--bike goes with --job"),
        (("--json", "--csv", "-"), "Choose --json, or files"),
        (("--replace",), "--replace goes with --csv or --xlsx."),
        (("--xlsx", "-"), "--xlsx needs a file"),
        (("--csv", "a", "--xlsx", "a"), "need files of their own"),
        (("--job", "nope"), "nope"),
    ],
)
def test_wrong_use_says_what_is_right(quay: Run, arguments: tuple[str, ...], said: str) -> None:
    """Each ends with 2 and one line on stderr; nothing is printed or written."""
    a_quarter(TAG)
    until = () if "--until" in arguments else ("--until", "2026-03-31")
    if {"--job", "--bike"} & set(arguments):
        until = ()
    done = quay("labour", *arguments, *until, *AS_AT)
    assert done.code in (1, 2) and said in done.err and not done.out
    assert [path.name for path in Path().iterdir()] == ["book"]


@pytest.mark.parametrize(
    "arguments",
    [("labour",), ("margin",), ("foresee", "--task", "brakes=30"), ("foresee", "--backtest")],
)
def test_making_what_is_kept_of_a_great_book_is_said(
    quay: Run, arguments: tuple[str, ...], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Once, beside the answer and not in it; as known before nothing is kept, or made."""
    a_quarter(TAG)
    monkeypatch.setattr(kept, "FEWEST_EVENTS", 1)
    said = "Preparing the book's figures: this takes a while."
    past, first, again = (quay(*arguments, "--json", *more) for more in (BEFORE, (), ()))
    assert [ended.code for ended in (past, first, again)] == [0, 0, 0]
    assert [said in ended.err for ended in (past, first, again)] == [False, True, False]
    assert "Preparing" not in first.out


def test_a_tier_whose_tasks_are_untold_has_its_name_in_the_steps(quay: Run) -> None:
    """Quoted in a job of no tier, its minutes stand as one, under what was quoted."""
    tier = {"code": "rescue", "label": "roadside rescue"}
    told = draft("terms_set", "2025-01-01T11:00", from_on="2025-01-01", tiers=[tier])
    opened = draft("job_opened", "2026-02-01T09:00", TAG, "j1")
    quoted = agreed("2026-02-01", TAG, "j1", "q", line("rescue", 4000, 30))
    worked = draft("labour_logged", "2026-02-01T12:00", TAG, "j1", task="brakes", minutes=1040)
    recorded(terms(), told, bike(TAG), opened, *quoted, worked)
    steps = quay("labour", "--job", "j1", "--json").json["minutes"]
    (step,) = steps[1:-1]
    assert (step["label"], step["key"], step["change"]) == ("roadside rescue", "rescue", 1010)
    assert step["note"] == "quoted 30, worked 1,040"
