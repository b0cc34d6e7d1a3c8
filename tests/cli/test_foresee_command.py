"""`lockring foresee`: minutes and a price of a planned job, and servicing against replacing."""

from __future__ import annotations

import re
from dataclasses import fields
from typing import Any

import pytest
from costed_shop import a_quarter, bike, terms
from workbench import TAG, Ended, Run
from worn_bikes import quay, recorded, strict

from ledger.figures import foresee_shapes as shapes

__all__ = ["quay"]

OF_BOOK = {"as_at", "as_known", "currency", "minor_digits"}
AS_AT = ("--as-at", "2026-06-01")


def flat(done: Ended) -> str:
    assert done.code == 0, done.err
    return " ".join(done.out.split())


def holds(
    found: dict[str, Any], shape: type, more: frozenset[str] | set[str] = frozenset()
) -> None:
    """Assert that JSON has every field and property of a shape, and what is named besides."""
    derived = {name for name, one in vars(shape).items() if isinstance(one, property)}
    assert set(found) == {field.name for field in fields(shape)} | derived | set(more)


# -- a planned job -----------------------------------------------------------------------------


@pytest.mark.xdist_group("harbour")
def test_a_plan_of_tasks_is_foreseen(harbour: Run) -> None:
    """The answer first; the minutes planned, asked and usual; P50, P80 and a price at the risk."""
    done = harbour("foresee", "--task", "drivetrain", "--task", "brakes=45", "--kind", "cargo")
    assert re.search(r"\d+ minutes", done.out.splitlines()[0])
    said = flat(done)
    assert re.search(r"brakes 45 as asked", said), said
    assert re.search(r"\(P50\) \d+ not passed in four of five \(P80\) \d+", said), said
    assert re.search(r"passed with a chance of 20 % \d+ €[\d.]+", said), said
    assert "Today's bench" in said


@pytest.mark.xdist_group("harbour")
def test_json_of_a_plan_has_every_field(harbour: Run) -> None:
    """The shapes whole; the price at the risk pays for its minutes at the posted rate."""
    found = strict(
        harbour("foresee", "--task", "drivetrain", "--task", "brakes=45", "--risk", "0.1",
                "--price", "90", "--years", "4", "--old", "--json")
    )  # fmt: skip
    holds(found, shapes.JobForecast, OF_BOOK)
    holds(found["bench"], shapes.BenchToday)
    for task in found["tasks"]:
        holds(task, shapes.PlannedTask)
    assert {task["task"]: task["minutes"] for task in found["tasks"]}["brakes"] == 45
    assert (found["risk"], found["price_minor"], found["years"], found["is_old"]) == (
        0.1, 9000, 4.0, True
    )  # fmt: skip
    assert found["p50_minutes"] < found["p80_minutes"] < found["risk_minutes"]
    at_rate = found["risk_minutes"] / 60 * found["rate_minor"]
    assert at_rate <= found["risk_price_minor"] < at_rate + 1
    assert 0 <= found["chance_not_enough"] <= 1


@pytest.mark.xdist_group("harbour")
def test_a_tier_on_a_bike_of_the_book(harbour: Run) -> None:
    """The kind and age are the bike's; a smaller risk asks for more minutes."""
    tag = harbour("bikes", "--limit", "1", "--json").json[0]["bike"]
    usual, careful = (
        strict(harbour("foresee", tag.lower(), "--tier", "full_service", "--risk", risk, "--json"))
        for risk in ("0.5", "0.05")
    )
    assert (usual["bike"], usual["tier"]) == (tag, "full_service")
    assert usual["bike_kind"] is not None
    assert usual["risk_minutes"] < careful["risk_minutes"]


@pytest.mark.xdist_group("harbour")
def test_backtest_says_how_it_would_have_fared(harbour: Run) -> None:
    """Each step with what it was fitted on; JSON has every field."""
    said = flat(harbour("foresee", "--backtest"))
    assert "P50" in said and "P80" in said
    found = strict(harbour("foresee", "--backtest", "--json"))
    holds(found, shapes.Calibration, OF_BOOK)
    assert found["count_scored"] == sum(fold["count_scored"] for fold in found["folds"])
    for fold in found["folds"]:
        holds(fold, shapes.FoldScore)
    if found["pinball_minutes"] is not None:
        assert "Mean loss in minutes" in said


# -- service or replace ------------------------------------------------------------------------


@pytest.mark.xdist_group("harbour")
def test_service_or_replace_shows_both_with_what_they_assume(harbour: Run) -> None:
    """Both costs, km and costs per km, or that they are not known; every assumption is printed."""
    tag = harbour("bikes", "--limit", "1", "--json").json[0]["bike"]
    said = flat(harbour("foresee", tag, "--position", "chain"))
    assert f"Chain of {tag}" in said and "service" in said and "replace" in said
    found = strict(harbour("foresee", tag, "--position", "chain", "--json"))
    holds(found, shapes.ServiceOrReplace, OF_BOOK)
    for side, km in (("service", "service_km"), ("replace", "replace_km")):
        if found[side] is not None:
            holds(found[side], shapes.CostPerKm)
        if found[km] is not None:
            holds(found[km], shapes.KmExpected)
    assert found["assumptions"]
    assert all(" ".join(one.split()) in said for one in found["assumptions"] + found["cautions"])


@pytest.mark.xdist_group("harbour")
def test_what_decides_safety_is_never_called_good(harbour: Run) -> None:
    """A brake's pads come with the caution, in words and in JSON."""
    for one in harbour("bikes", "--limit", "40", "--json").json:
        done = harbour("foresee", one["bike"], "--position", "rear_brake.pads", "--json")
        if done.code == 0:
            said = flat(harbour("foresee", one["bike"], "--position", "rear_brake.pads"))
            assert done.json["cautions"]
            assert all(caution in said for caution in done.json["cautions"])
            return
    pytest.fail("no bike of the workshop has rear pads fitted")


# -- little or nothing -------------------------------------------------------------------------


def test_an_empty_book_is_too_few_to_judge(quay: Run) -> None:
    """A plan with its minutes rests on nothing, and says so; one without has no minutes."""
    said = flat(quay("foresee", "--task", "brakes=45"))
    assert said.startswith("Too few to judge: 0 closed jobs to foresee from.")
    assert strict(quay("foresee", "--task", "brakes=45", "--json"))["count_jobs"] == 0
    done = quay("foresee", "--task", "brakes")
    assert done.code == 2 and "brakes=45" in done.err and not done.out
    found = strict(quay("foresee", "--backtest", "--json"))
    assert found["is_too_few"] is True and found["share_under_p50"] is None
    assert "Too few jobs" in flat(quay("foresee", "--backtest"))


def test_a_shop_of_few_jobs_is_foreseen_from_its_terms(quay: Run) -> None:
    """Nine jobs: the tier's own minutes are planned, and how few it rests on is told."""
    a_quarter(TAG)
    found = strict(quay("foresee", "--tier", "full_service", "--json", *AS_AT))
    assert found["planned_minutes"] == 120
    assert found["count_jobs"] <= 9


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        ((), "Say what is planned, with --tier or --task"),
        ((TAG,), "Say what is planned, with --tier or --task"),
        (("--task", "brakes="), "write it as brakes, or brakes=45"),
        (("--task", "brakes=-4"), "'-4' are no minutes; brakes=45 is right."),
        (("--task", "brakes=nan"), "'nan' are no minutes"),
        (("--task", "brakes", "--task", "brakes=4"), "given twice"),
        (("--task", "brakes", "--price", "9.995"), "write an amount of EUR such as 85.00."),
        (("--task", "brakes", "--price", "inf"), "is no price"),
        (("--task", "brakes", "--risk", "1.5"), "risk"),
        (("--task", "braks"), "braks"),
        (("--tier", "nope"), "nope"),
        (("--task", "brakes", "--kind", "zeppelin"), "zeppelin"),
        (("--position", "chain"), "--position goes with a tag"),
        ((TAG, "--position", "chain", "--task", "brakes"), "leave out --task"),
        ((TAG, "--position", "chian"), "chian"),
        ((TAG, "--position", "chain"), "Nothing is fitted at chain"),
        (("--backtest", "--tier", "full_service"), "--backtest is of the whole book"),
        (("ZZZZZZZZ", "--task", "brakes"), "No bike has the tag ZZZZZZZZ"),
    ],
)
def test_wrong_use_says_what_is_right(quay: Run, arguments: tuple[str, ...], said: str) -> None:
    """Each ends with one line on stderr that says what would be right, and prints nothing."""
    recorded(terms(), bike(TAG))
    done = quay("foresee", *arguments)
    assert done.code in (1, 2) and said in done.err and not done.out, done
