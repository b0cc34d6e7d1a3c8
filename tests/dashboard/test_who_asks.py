"""Every function of the ledger that pages call is told who asks, or stands here with a reason."""

from __future__ import annotations

import ast
import importlib
import inspect
import typing
from collections.abc import Iterator
from pathlib import Path

import pytest
import streamlit as st

from ledger.asking import OWNER, Asker, NotForRole

DASHBOARD = Path(__file__).parents[2] / "dashboard"
WITHOUT_ASKER = {
    "ledger.queries.bike_view": "what is fitted, read and open: no money, nobody's minutes",
    "ledger.queries.bikes": "tags, makes and when they were seen",
    "ledger.clocks.open_jobs": "bike, job and tier of what is on the bench",
    "ledger.clocks.job_of": "the open job of a bike",
    "ledger.bench.measuring.item_named": "what is measured there, its last reading and limit",
    "ledger.bench.visits.earlier_visits": "jobs of a bike, their tier and day",
    "ledger.figures.wear.wear_of": "readings and how parts wear",
    "ledger.figures.part_lives.lives_of_family": "how long parts last",
    "ledger.figures.due.due_ready": "makes what is kept, gives nothing",
    "ledger.figures.due_day.is_great": "whether a book is great",
    "ledger.figures.due.due_list": "what is due and whom to call: every role calls riders",
    "ledger.figures.chains.chain_book": "what a choice is worked out from; no page shows any of it "
    "by itself",
    "ledger.figures.chain_keep.book_chains": "all of it; pages show what shown_to gives of it",
    "ledger.figures.chain_keep.last_chains": "all of it; pages show what shown_to gives of it",
    "ledger.figures.chain_keep.choice_on": "what a keeper would be charged: a quote",
    "ledger.figures.wear.wear_as_at": "readings and how parts wear",
    "ledger.figures.worn.last_stood": "readings and how parts wear",
    "ledger.figures.worn.worn_of": "readings and how parts wear",
    "ledger.figures.home_keeps.waiting_keep": "what is kept of all that waits",
    "ledger.figures.kept_jobs.jobs_ready": "makes what is kept, gives nothing",
    "ledger.kept.keep_ready": "makes what is kept, gives nothing",
    "ledger.kept.mark.recorded_at": "when a commit was recorded",
    "ledger.figures.fault_behind.first_found_at": "when the first fault was found",
    "ledger.figures.fault_behind.come_backs_behind": "BookFaults holds who asked for it",
    "ledger.figures.fault_behind.newest_carried": "faults, no money",
    "ledger.figures.fault_behind.newest_gone": "faults, no money",
    "ledger.figures.fault_behind.newest_immature": "repairs not to be judged yet, no money",
    "ledger.figures.home_bench.count_open": "how many jobs are open",
    "ledger.figures.home_bikes.bike_lines": "makes and models by tag",
    "ledger.figures.home_bikes.bikes_like": "makes and models by tag",
    "ledger.figures.home_bikes.first_seen_at": "when the first thing was recorded",
    "ledger.figures.home_bikes.has_jobs": "whether there is any job",
    "ledger.figures.home_month.month_span": "a month's days",
    "ledger.figures.terms_in_force.terms_of": "the bench takes the tax rate and a tier's price",
    "ledger.quotes.quotes_of": "what was quoted; the bench shows no cost of it",
    "ledger.photos.add_photo": "a picture",
    "ledger.photos.read_photo": "a picture",
    "ledger.reports.gather.report_of": "the rider's page: what is handed to the rider",
    "ledger.bench.finding.look_for": "tags, makes and models",
    "ledger.bench.handing_back.charge_lines": "lines to charge, as quoted",
    "ledger.bench.measuring.judged": "a verdict on what is being typed",
    "ledger.bench.reading.came_back": "faults found again, no money",
    "ledger.bench.since.never_unseen": "who looked at the same place meanwhile",
}
"""What takes a book, or something worked out from one, and need not know who asks."""
OF_A_BOOK = (
    "Book",
    "ChainBook",
    "ChainsReport",
    "BookFaults",
    "BookMargin",
    "BookLabour",
    "BookWear",
)


def functions() -> Iterator[tuple[str, typing.Any]]:
    """Give every public function of the ledger that any page names, by its whole name."""
    seen = set[str]()
    for file in sorted(DASHBOARD.rglob("*.py")):
        tree = ast.parse(file.read_text(encoding="utf-8"))
        modules: dict[str, str] = {}
        for node in ast.walk(tree):
            if isinstance(node, ast.ImportFrom) and (node.module or "").startswith("ledger"):
                for name in node.names:
                    modules[name.asname or name.name] = f"{node.module}.{name.name}"
        names = set(modules.values())
        for node in ast.walk(tree):
            if isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name):
                names.add(f"{modules.get(node.value.id, '')}.{node.attr}")
        seen |= names
    for whole in sorted(seen):
        module, _, name = whole.rpartition(".")
        if not module.startswith("ledger"):
            continue
        try:
            found = getattr(importlib.import_module(module), name, None)
        except ModuleNotFoundError:
            continue
        if inspect.isfunction(found) and found.__module__.startswith("ledger"):
            yield f"{found.__module__}.{found.__name__}", found


def takes(function: typing.Any) -> set[str]:
    """Give the names of the types of a function's arguments."""
    told = inspect.signature(function).parameters.values()
    return {str(one.annotation).split(".")[-1] for one in told}


def test_whatever_reads_a_book_is_told_who_asks_or_says_why_not() -> None:
    """A function that pages begin to call is held to this without being named here."""
    untold, needless = [], dict(WITHOUT_ASKER)
    for whole, function in functions():
        if not takes(function) & set(OF_A_BOOK):
            continue
        if "Asker" in takes(function):
            asker = inspect.signature(function).parameters["asker"]
            assert asker.default is inspect.Parameter.empty, f"{whole}: nobody asks by default"
            assert asker.kind is inspect.Parameter.KEYWORD_ONLY, whole
        elif needless.pop(whole, None) is None:
            untold.append(whole)
    assert untold == []


@pytest.mark.parametrize(
    "whole",
    ["ledger.queries.timeline", "ledger.clocks.running", "ledger.figures.margin.margin_of",
     "ledger.figures.labour.labour_of", "ledger.figures.faults.faults_of",
     "ledger.figures.fault_bike.bike_faults", "ledger.figures.chains.shown_to",
     "ledger.figures.foresee.foresee", "ledger.figures.foresee.calibration",
     "ledger.figures.foresee.service_or_replace"],
)  # fmt: skip
def test_those_that_give_money_or_minutes_are_found(whole: str) -> None:
    """The search above does find what pages call; these are told who asks."""
    assert "Asker" in takes(dict(functions())[whole])


def test_who_asks_is_part_of_what_is_kept() -> None:
    """The server's caches tell two roles, and two mechanics, apart, and the same one not."""
    calls: list[Asker] = []

    @st.cache_data(show_spinner=False)
    def kept(asker: Asker) -> int:
        calls.append(asker)
        return len(calls)

    askers = [OWNER, Asker("mechanic", "m1"), Asker("mechanic", "m2"), Asker("desk")]
    assert [kept(one) for one in askers] == [1, 2, 3, 4]
    assert [kept(Asker(one.role, one.mechanic)) for one in askers] == [1, 2, 3, 4]


def test_what_is_asked_for_in_vain_says_whom_to_ask() -> None:
    """The refusal names what was asked for, and the role."""
    from ledger.asking import require

    with pytest.raises(NotForRole, match=r"What the shop earns is not shown to the desk\. Ask the"):
        require(Asker("desk"), "money", "What the shop earns")
