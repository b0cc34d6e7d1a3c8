"""`lockring due`: the list on a terminal, as JSON and as CSV, and how it says no."""

from __future__ import annotations

import csv
import io
import re

import pytest
from workbench import TAG, Run
from worn_bikes import AS_AT, OTHER, draft, quay, recorded, strict, worn

__all__ = ["quay"]


def test_an_empty_book_says_so(quay: Run) -> None:
    """Nothing to call about, and why, with exit code 0."""
    done = quay("due")
    assert (done.code, done.err) == (0, "")
    assert "The book holds no bikes yet." in done.out
    assert strict(quay("due", "--json"))["calls"] == []


def test_nothing_due_is_said(quay: Run) -> None:
    """A book whose parts are all far from their limits calls nobody."""
    recorded(*worn(TAG, "0.1"))
    done = quay("due", *AS_AT)
    assert (done.code, "Nothing is due." in done.out) == (0, True)


def test_a_worn_chain_is_listed_in_the_benchs_words(
    quay: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What, last read, limit, how sure, and since when the bike was not seen."""
    monkeypatch.setenv("COLUMNS", "300")
    recorded(*worn(TAG, "0.7", "r1"))
    done = quay("due", *AS_AT)
    assert done.code == 0, done.err
    flat = " ".join(done.out.split())
    for said in ("1 call", TAG, "chain wear", "0.7 %", "limit 0.75 %", "no consent", "estimates"):
        assert said in flat
    assert "elongation" not in done.out


def test_json_names_units_and_dates(quay: Run) -> None:
    """Plain names, ISO dates, and every figure a number or null."""
    recorded(*worn(TAG, "0.7", "r1"))
    found = strict(quay("due", *AS_AT, "--json"))
    assert (found["count_calls"], found["within_days"]) == (1, 28)
    assert found["as_at"] == "2026-06-01T22:59:59.999999Z"
    (call,) = found["calls"]
    assert call["keeper"]["rider"] == "r1" and call["message"] is None
    (part,) = call["bikes"][0]["parts"]
    assert (part["position"], part["quantity"], part["limit"]) == ("chain", "elongation", 0.75)
    assert part["last_reading"]["value"] == 0.7
    assert re.fullmatch(r"\d{4}-\d\d-\d\d", part["due_on"]["middle"])
    assert part["beyond_km"] > 0 and 0.5 <= part["chance_past"] <= 1


def test_a_keeper_who_agreed_gets_a_message(quay: Run) -> None:
    """The message names them, and is printed only where it is asked for."""
    added = quay("riders", "add", "--name", "Inge Marsh", "--consent", "--id", "r1")
    assert added.code == 0, added.err
    recorded(*worn(TAG, "0.7", "r1"))
    assert "Hello Inge Marsh," not in quay("due", *AS_AT).out
    done = quay("due", *AS_AT, "--messages")
    assert "Hello Inge Marsh," in done.out and not re.search(r"\bsafe", done.out.casefold())


def test_without_consent_neither_table_json_nor_csv_names_anybody(quay: Run) -> None:
    """Only the opaque id of who did not agree is ever printed."""
    added = quay("riders", "add", "--name", "Inge Marsh", "--phone", "555-0107", "--id", "r1")
    assert added.code == 0, added.err
    recorded(*worn(TAG, "0.7", "r1"))
    for form in ((), ("--json",), ("--csv",), ("--messages",)):
        done = quay("due", *AS_AT, *form)
        assert "r1" in done.out and "Inge" not in done.out and "555" not in done.out


def test_a_bike_on_the_bench_stands_apart(quay: Run) -> None:
    """With a job open it is no call, and the mechanic is told."""
    opened = {**draft("2026-05-30", "job_opened", TAG, {}), "job": "J1"}
    recorded(*worn(TAG, "0.7"), opened)
    done = quay("due", *AS_AT)
    assert "0 calls" in done.out and "On the bench: tell the mechanic" in done.out
    found = strict(quay("due", *AS_AT, "--json"))
    assert (found["calls"], found["on_the_bench"][0]["jobs_open"][0]["job"]) == ([], "J1")


def test_csv_has_one_row_a_part_and_no_formula(quay: Run) -> None:
    """Every row has every column; a name that a spreadsheet would run is kept as text."""
    added = quay("riders", "add", "--name", "=1+1", "--consent", "--id", "r1")
    assert added.code == 0, added.err
    recorded(*worn(TAG, "0.7", "r1"), *worn(OTHER, "0.9"))
    rows = list(csv.DictReader(io.StringIO(quay("due", *AS_AT, "--csv").out)))
    assert {row["bike"] for row in rows} == {TAG, OTHER}
    assert {row["name"] for row in rows} == {"'=1+1", ""}
    assert all(None not in row and None not in row.values() for row in rows)


def test_rider_bike_and_limit_keep_what_is_asked_for(quay: Run) -> None:
    """By an id that is only on a bike, by a name in the register, by a tag, by number."""
    quay("riders", "add", "--name", "Ada Reed", "--id", "r2")
    recorded(*worn(TAG, "0.7", "r1"), *worn(OTHER, "0.9", "r2"))

    def asked(*more: str) -> list[str]:
        calls = strict(quay("due", *AS_AT, "--json", *more))["calls"]
        return [bike["bike"] for call in calls for bike in call["bikes"]]

    assert asked("--rider", "r1") == [TAG]
    assert asked("--rider", "reed") == [OTHER]
    assert asked("--bike", TAG.lower()) == [TAG]
    assert asked("--limit", "1") == [OTHER]


def test_people_see_the_first_forty_and_how_to_list_the_rest(quay: Run) -> None:
    """42 calls and 41 bikes on the bench: 40 of each, and one line at the end about the rest."""
    away, bench = (
        [f"{name}0000{n:03}" for n in range(count)] for name, count in (("A", 42), ("B", 41))
    )
    jobs = [{**draft("2026-05-30", "job_opened", bike, {}), "job": f"J-{bike}"} for bike in bench]
    recorded(*(made for bike in (*away, *bench) for made in worn(bike, "0.8")), *jobs)

    def listed(*more: str) -> tuple[int, int]:
        out = quay("due", *AS_AT, *more).out
        return tuple(sum(bike in out for bike in some) for some in (away, bench))

    usual = quay("due", *AS_AT)
    assert "42 calls, the first 40 here." in usual.out
    last = "Not listed: 2 more calls and 1 more bike on the bench. --limit 0 lists everything."
    assert usual.out.splitlines()[-1] == last
    assert (listed(), listed("--limit", "1"), listed("--limit", "42")) == (
        (40, 40),
        (1, 40),
        (42, 40),
    )
    for everything in (("--limit", "0"), ("--messages",), ("--json",)):
        assert listed(*everything) == (42, 41)
        assert "Not listed" not in quay("due", *AS_AT, *everything).out
    assert listed("--csv") == (42, 0)


def test_bikes_not_seen_for_long_are_one_line_and_all_lists_them(quay: Run) -> None:
    """Last seen on 2 January 2026: a year and a half later it is counted, and --all calls."""
    recorded(*worn(TAG, "0.7", "r1"))
    later = ("--as-at", "2027-08-01")
    done = quay("due", *later)
    assert "1 more bike was not seen since Feb 7, 2026: --all lists it." in done.out
    assert "0 calls" in done.out and "Nothing else is due." in done.out and TAG not in done.out
    found = strict(quay("due", *later, "--json"))
    assert (found["calls"], found["seen_within_days"], found["count_long_unseen"]) == ([], 540, 1)
    for more in (("--all",), ("--seen-within", "600")):
        assert TAG in quay("due", *later, *more).out
    every = strict(quay("due", *later, "--all", "--json"))
    assert (every["seen_within_days"], every["count_long_unseen"]) == (None, 0)


@pytest.mark.parametrize(
    ("given", "code", "said"),
    [
        (("--bike", "9ZZZZZZZ"), 1, "9ZZZZZZZ"),
        (("--rider", "nobody"), 2, "nobody in the register"),
        (("--rider", "Reed"), 2, "write one id"),
        (("--as-at", "soon"), 2, "'soon' is not a date"),
        (("--csv", "--json"), 2, "Choose one"),
        (("--within", "-1"), 2, "within"),
        (("--all", "--seen-within", "9"), 2, "Choose one"),
        (("--book", "none"), 1, "There is no book"),
    ],
)
def test_wrong_use_is_said_in_one_line(
    quay: Run, given: tuple[str, ...], code: int, said: str
) -> None:
    """An unknown tag, rider, date or book ends with its code and says what is wrong."""
    for name in ("Ada Reed", "Bo Reed"):
        quay("riders", "add", "--name", name)
    recorded(*worn(TAG, "0.7", "r1"))
    done = quay("due", *given)
    assert (done.code, done.out) == (code, "")
    assert said in done.err
