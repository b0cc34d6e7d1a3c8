"""A book with the life of another one, whose every free word is written to do harm."""

from __future__ import annotations

import hashlib
from itertools import groupby
from pathlib import Path
from typing import Any

from home_book import ON_THE_BENCH, ago, home_book
from paid_book import TAGS
from pydantic import ValidationError
from small_book import amount, event

from ledger.book import Book
from ledger.events import payload_class
from ledger.riders import Rider

WORDS = "\"><lkx onx=1>'</lkx>`${1}`{{7*7}}[a](javascript:1)</script>-->;--"
"""Markup, a script's end, a template, a link, a statement's end: all of it is text."""
FORMULA = '=HYPERLINK("http://harm.invalid","x")'
MORE = (FORMULA, '#read("/etc/hostname") #{1+1} $x^2$ *b* _i_ \\u{41}', "' or 1=1; drop table x;")


def harmful(said: str) -> str:
    """Give harmful words in the place of others: the same for the same."""
    number = int(hashlib.sha256(said.encode()).hexdigest()[:6], 16)
    return f"{(WORDS, *MORE)[number % 4]} {number % 997}"


def _paths(value: Any, at: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    if isinstance(value, dict):
        return [path for key, one in value.items() for path in _paths(one, (*at, key))]
    if isinstance(value, list):
        return [path for key, one in enumerate(value) for path in _paths(one, (*at, key))]
    return [at] if isinstance(value, str) else []


def _with(value: Any, path: tuple[Any, ...], said: str) -> Any:
    if not path:
        return said
    copy = dict(value) if isinstance(value, dict) else list(value)
    copy[path[0]] = _with(value[path[0]], path[1:], said)
    return copy


def spoilt(kind: str, data: dict[str, Any]) -> dict[str, Any]:
    """Give a payload with harmful words wherever its fields take any words."""
    model = payload_class(kind)
    for path in _paths(data):
        said = data
        for step in path:
            said = said[step]
        changed = _with(data, path, harmful(str(said)))
        try:
            model.model_validate(changed, strict=False)
        except ValidationError:
            continue
        data = changed
    return data


def hostile_book(path: Path, source: Path) -> Book:
    """Make the book, at `path`, of one that is made at `source`."""
    usual = home_book(source)
    book = Book.init(
        path, shop="quayside", name=WORDS, time_zone="Europe/Copenhagen", locale="en_GB"
    )
    book.riders.add(
        [Rider("r-1", name=WORDS, email="x@y.invalid", phone=FORMULA, may_contact=True)]
    )
    for _, events in groupby(usual.events(), key=lambda one: one.recorded_at):
        drafts = []
        for one in events:
            told = usual.reveal(one)
            kept = ("kind", "bike", "job", "actor", "occurred_at")
            draft = {name: told[name] for name in kept if told.get(name) is not None}
            drafts.append({**draft, "data": spoilt(one.kind, told["data"])})
        book.append(drafts)
    book.append(more_words(ON_THE_BENCH, "open-1", ago(0.01)))
    return book


def more_words(tag: str, job: str, at: str) -> list[dict[str, Any]]:
    """Give entries of the kinds that are mostly words."""
    told = [
        ("noted", {"position": "fork", "text": harmful("a")}),
        ("inspected", {"position": "rear_brake", "verdict": "unsafe", "fault": "squeal",
                       "note": harmful("b")}),
        ("part_fitted", {"position": "chain", "make": harmful("c"), "model": harmful("d"),
                         "batch": harmful("e"), "is_found": True}),
        ("measured", {"position": "chain", "quantity": "elongation", "value": amount("0.8 %"),
                      "note": harmful("f")}),
        ("advised", {"position": "fork", "verdict": "watch", "urgency": "soon",
                     "advice": harmful("g")}),
    ]  # fmt: skip
    mostly = [event(kind, at, tag, job, **data) for kind, data in told]
    return [*mostly, event("job_opened", at, TAGS[5], "open-9", complaint=harmful("h"))]
