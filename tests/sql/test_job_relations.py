"""Quotes, charges, holds, advice and visits as relations, on rows written out."""

from __future__ import annotations

import random
from datetime import timedelta
from typing import Any

import pytest
from lives import BIKES, START, event_id, literal
from shelf import EVERYTHING, rows_of
from test_keys import broken_keys

from ledger import sql
from tests.independent.job_books import book_events

Row = dict[str, Any]


def line(name: str, net: int = 100, **more: Any) -> Row:
    """Give a line of labour."""
    return {"line": name, "line_type": "labour", "code": "brakes", "net_minor": net, **more}


def quote(name: str, *lines: Row, **more: Any) -> Row:
    """Give a quote."""
    return {"quote": name, "form": "fixed", "currency": "EUR", "lines": list(lines), **more}


def answered(name: str, **answers: str) -> Row:
    """Give answers to lines of a quote."""
    every = [{"line": of, "answer": answer} for of, answer in answers.items()]
    return {"quote": name, "how": "phone", "answers": every}


def struck(seq: int) -> Row:
    """Give a strike of the event of that seq."""
    return {"target": event_id(seq), "reason": "typo"}


def test_the_last_live_answer_to_a_line_counts() -> None:
    """Answers go line by line, by when they were given; one that was struck is none."""
    events = literal(
        (0, "quote_given", quote("q1", line("a"), line("b"), line("c"))),
        (2, "quote_answered", answered("q1", a="yes", b="no")),
        (1, "quote_answered", answered("q1", a="no", b="later")),
        (3, "quote_answered", answered("q1", b="yes")),
        (4, "event_struck", struck(4)),
    )
    found = rows_of("quote_lines", events)
    said = {row["line"]: (row["answer"], row["answered_at"]) for row in found}
    at = START + timedelta(hours=2)
    assert said == {"a": ("yes", at), "b": ("no", at), "c": (None, None)}


def test_a_replaced_quote_stands_again_when_the_newer_one_is_struck() -> None:
    """A quote stands unless a live quote of its job replaces it."""
    rows = [
        (0, "quote_given", quote("q1", line("a"))),
        (1, "quote_given", quote("q2", line("b"), replaces="q1")),
        (2, "quote_given", quote("q3", line("c"), replaces="q2", is_found_later=True)),
    ]
    standing = {r["quote"]: r["is_standing"] for r in rows_of("quote_lines", literal(*rows))}
    assert standing == {"q1": False, "q2": False, "q3": True}
    later = {r["quote"]: r["is_found_later"] for r in rows_of("quote_lines", literal(*rows))}
    assert later == {"q1": False, "q2": False, "q3": True}
    events = literal(*rows, (3, "event_struck", struck(3)))
    standing = {r["quote"]: r["is_standing"] for r in rows_of("quote_lines", events)}
    assert standing == {"q1": False, "q2": True}


def test_charged_lines_are_those_of_live_closings() -> None:
    """Each line of a bill is a row, with what it answers and whether it was given away."""
    lines = [line("x", 500, quote_line="a", cost_minor=20), line("y", 0, is_goodwill=True)]
    events = literal((0, "job_closed", {"currency": "EUR", "lines": lines}))
    found = rows_of("charged_lines", events)
    named = {r["line"]: (r["net"], r["cost"], r["quote_line"], r["is_goodwill"]) for r in found}
    assert named == {"x": (500, 20, "a", False), "y": (0, None, None, True)}
    assert rows_of("charged_lines", [*events, *literal_after(events, struck(1))]) == []


def literal_after(events: list[Any], data: Row) -> list[Any]:
    """Give one strike after events."""
    filler = [(0, "noted", {"position": "chain", "text": "x"}) for _ in events]
    return literal(*filler, (9, "event_struck", data))[len(events) :]


def test_a_hold_lasts_until_the_next_turn_of_its_job() -> None:
    """It ends with a resumption, another hold or the closing; the last may still go on."""
    events = literal(
        (0, "job_held", {"waiting_for": "part"}),
        (2, "job_held", {"waiting_for": "answer"}),
        (3, "job_resumed", {}),
        (5, "job_held", {"waiting_for": "payment"}),
    )
    found = rows_of("held_spells", events)
    hours = {
        r["waiting_for"]: r["ended_at"] and (r["ended_at"] - r["held_at"]) / timedelta(hours=1)
        for r in found
    }
    assert hours == {"part": 2.0, "answer": 1.0, "payment": None}


def test_advice_without_a_price_is_not_told_advice() -> None:
    """Of advice that named a price the last answer stands beside it."""
    advice = {"position": "chain", "verdict": "due", "urgency": "soon"}
    priced = {**advice, "price_minor": 4200, "currency": "EUR"}
    said = {"advice": event_id(2), "how": "phone"}
    events = literal(
        (0, "advised", advice),
        (1, "advised", priced),
        (2, "advice_answered", {**said, "answer": "later"}),
        (3, "advice_answered", {**said, "answer": "no"}),
    )
    (found,) = rows_of("told_advice", events)
    assert (found["position"], found["price"], found["answer"]) == ("chain", 4200, "no")


def test_a_bike_is_known_by_its_last_registration() -> None:
    """Its kind, and the day it was first used, where anybody knows."""
    first = {"bike_kind": "city", "first_used_on": "2024-05-01"}
    rows = [(0, "bike_registered", first), (1, "bike_registered", {"bike_kind": "road"})]
    (found,) = rows_of("bike_histories", literal(*rows))
    assert (found["bike"], found["bike_kind"], found["first_used_on"]) == (BIKES[0], "road", None)
    (found,) = rows_of("bike_histories", literal(rows[0]))
    assert found["first_used_on"] == "2024-05-01"


@pytest.mark.parametrize("seed", range(4))
def test_keys_hold_on_books_of_jobs(seed: int) -> None:
    """Keys of every relation are unique and not null on books with quotes and bills."""
    events = book_events(random.Random(seed))
    assert {"quote_lines", "charged_lines", "job_visits"} <= set(sql.relations())
    assert broken_keys(events, EVERYTHING) == []
