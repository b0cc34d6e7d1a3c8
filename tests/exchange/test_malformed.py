"""A thousand malformed inputs: each is clearly refused, and nothing on disk changes."""

from __future__ import annotations

import json
import random
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from makers import EVENT_ID, TAG, a_file, new_book, on_disk, reading_line

from ledger.book import Book
from ledger.errors import LedgerError, Refused
from ledger.exchange.cloudevents import read
from ledger.exchange.importer import import_log
from ledger.exchange.mapping import parse_mapping

Line = dict[str, Any]
SEED = 20260301
JUNK: tuple[Any, ...] = (7, -1, 0.5, True, [], {}, [1], {"a": 1}, "", " ", "\x00", "é" * 300, "a b")


def of_data(line: Line, **changes: Any) -> Line:
    data = {**line["data"], **changes}
    return {**line, "data": {name: value for name, value in data.items() if value is not None}}


def cut(line: Line, draw: random.Random) -> str:
    text = json.dumps(line)
    return text[: draw.randrange(1, len(text) - 1)]


def bad_bytes(line: Line, draw: random.Random) -> bytes:
    raw = bytearray(json.dumps(line).encode())
    raw[draw.randrange(len(raw))] = draw.choice((0xFF, 0xC0, 0x80))
    return bytes(raw)


def misspelt(name: str, draw: random.Random) -> str:
    at = draw.randrange(len(name))
    return name[:at] + draw.choice("qxz") + name[at:]


def without_attribute(line: Line, draw: random.Random) -> Line:
    name = draw.choice(("specversion", "id", "source", "type", "actor", "subject", "data"))
    return {key: value for key, value in line.items() if key != name}


def odd_attribute(line: Line, draw: random.Random) -> Line:
    name = draw.choice(("specversion", "id", "source", "type", "actor", "subject", "time"))
    return {**line, name: draw.choice(JUNK)}


def misspelt_attribute(line: Line, draw: random.Random) -> Line:
    return {**line, misspelt(draw.choice(list(line)), draw): "x"}


def misspelt_kind(line: Line, draw: random.Random) -> Line:
    return {**line, "type": f"lockring.{misspelt('measured', draw)}.v1"}


def misspelt_field(line: Line, draw: random.Random) -> Line:
    return of_data(line, **{misspelt(draw.choice(list(line["data"])), draw): "x"})


def odd_field(line: Line, draw: random.Random) -> Line:
    name = draw.choice(("position", "quantity", "value", "gauge", "verdict", "over_pitches"))
    junk = [value for value in JUNK if not (name == "over_pitches" and value == 7)]
    return of_data(line, **{name: draw.choice(junk)})


def missing_field(line: Line, draw: random.Random) -> Line:
    return of_data(line, **{draw.choice(list(line["data"])): None})


def odd_figure(line: Line, draw: random.Random) -> Line:
    figure = draw.choice(("1e3", "half", "", "1,5", "--1", "9" * 20, 0.5, None, "NaN", "٣"))
    return of_data(line, value={"value": figure, "unit": "%"})


def wrong_dimension(line: Line, draw: random.Random) -> Line:
    unit = draw.choice(("psi", "km", "N·m", "banana", "V", "kg", "h", "€"))
    return of_data(line, value={"value": "0.5", "unit": unit})


def impossible_figure(line: Line, draw: random.Random) -> Line:
    value = draw.choice((-1, 1)) * draw.uniform(9, 10_000)
    return of_data(line, value={"value": f"{value:.2f}", "unit": "%"})


def unknown_word(line: Line, draw: random.Random) -> Line:
    name = draw.choice(("position", "quantity"))
    return of_data(line, **{name: misspelt(line["data"][name], draw)})


def wrong_time(line: Line, draw: random.Random) -> Line:
    times = ("2024-02-30T10:00:00Z", "2099-01-01T00:00:00Z", "1890-01-01T00:00:00Z", "now")
    return {**line, "time": draw.choice((*times, "2019-01-01T10:00:00Z", "24-01-01", 1700000000))}


def unknown_bike(line: Line, draw: random.Random) -> Line:
    return {**line, "subject": "".join(draw.choice("0123456789ABCDEF") for _ in range(8))}


def unknown_gauge_or_job(line: Line, draw: random.Random) -> Line:
    if draw.random() < 0.5:
        return {**line, "job": f"j{draw.randrange(100)}"}
    return of_data(line, gauge=f"g{draw.randrange(100)}")


def other_shop(line: Line, draw: random.Random) -> Line:
    return {**line, "source": f"/shops/quay-{draw.randrange(100)}"}


def impossible_work(line: Line, draw: random.Random) -> Line:
    kind, data = draw.choice(
        (
            ("part_removed", {"position": "chain"}),
            ("part_fitted", {"position": "chain", "replaces": "p1"}),
            ("labour_logged", {"task": "chain", "minutes": 5}),
            ("job_closed", {}),
            ("bike_registered", {}),
            ("advice_answered", {"advice": EVENT_ID, "answer": "yes", "how": "phone"}),
            ("event_struck", {"target": EVENT_ID, "reason": "never recorded"}),
        )
    )
    return {**line, "type": f"lockring.{kind}.v1", "data": data}


SPOILERS: tuple[Callable[[Line, random.Random], Line | str | bytes], ...] = (
    cut, bad_bytes, without_attribute, odd_attribute, misspelt_attribute, misspelt_kind,
    misspelt_field, odd_field, missing_field, odd_figure, wrong_dimension, impossible_figure,
    unknown_word, wrong_time, unknown_bike, unknown_gauge_or_job, other_shop, impossible_work,
)  # fmt: skip


@pytest.fixture
def book(tmp_path: Path) -> Book:
    """A book with one bike, registered in 2020, and something written about it."""
    book = new_book(tmp_path)
    data = {"speeds": 11, "description": "blue"}
    raw = {"kind": "bike_registered", "bike": TAG, "actor": "mia", "data": data}
    book.append([{**raw, "occurred_at": "2020-01-01T10:00:00Z"}])
    return book


def refusal_of(book: Book, raw: str | bytes) -> str | None:
    """Try to record one line as `record` does; give what it was refused with."""
    try:
        lines = list(read([raw], book.settings.zone, shop=book.settings.shop))
        problems = [problem for line in lines for problem in line.problems]
        if problems:
            raise Refused(problems)
        book.append([line.draft for line in lines if line.draft is not None])
    except LedgerError as error:
        return str(error)
    return None


def test_five_hundred_malformed_lines(book: Book) -> None:
    """500 spoilt lines give 500 refusals that name a field and what would be right."""
    draw = random.Random(SEED)
    good = reading_line()
    before = on_disk(book.path)
    for number in range(500):
        spoiler = SPOILERS[number % len(SPOILERS)]
        spoilt = spoiler(good, draw)
        raw = json.dumps(spoilt) if isinstance(spoilt, dict) else spoilt
        refusal = refusal_of(book, raw)
        assert refusal is not None, (spoiler.__name__, raw)
        head, first, *_ = refusal.splitlines()
        assert head.startswith("Nothing was recorded: ")
        assert first.count(": ") >= 2 and first.rstrip()[-1] != ":", (spoiler.__name__, refusal)
        assert "Traceback" not in refusal
    assert on_disk(book.path) == before
    assert refusal_of(book, json.dumps(good)) is None


MAPPING = parse_mapping(
    """
[when]
column = "Date"
formats = ["%d/%m/%Y"]
[bike]
tag = "Tag"
[actor]
column = "Who"
[[event]]
kind = "distance_read"
needs = ["km"]
[event.fields]
odometer = { column = "km", unit = "km" }
[[event]]
kind = "measured"
[event.fields]
position = { column = "Part", find = "positions" }
quantity = { value = "elongation" }
value = { column = "Wear", unit = "%" }
[[event]]
kind = "job_closed"
needs = ["Price"]
[event.fields]
"lines.net_minor" = "Price"
"lines.minutes" = "Min"
"""
)
COLUMNS = ("Date", "Tag", "Who", "km", "Part", "Wear", "Price", "Min")
GOOD_ROW = ("03/04/2023", TAG, "mia", "100", "chain", "0.4", "12.50", "30")
BAD_CELLS: dict[str, tuple[str, ...]] = {
    "Date": ("", "31/02/2023", "04/13/2023", "soon", "1/1/1800", "01/01/2150", "2023-13-01", "0"),
    "Tag": ("", "ÄÖÜ", "7K3M9QX", "7K3M9QXAA", "bike one", "=1+1", "7K3M9QU@"),
    "Who": ("", "a b", "-x", "é", "x" * 65, "=cmd|' /C calc'!A0", "\x07"),
    "km": ("many", "1,5", "1.2.3", "-5", "9999999999", "1e9", "100 psi", "1 000 x", "NaN", "٣"),
    "Part": ("", "widget", "pads", "12", "...", "?", "\x00x".replace("\x00", "\x01")),
    "Wear": ("", "worn", "0,4", "99", "-50", "0.4 bar", "0.4.4", "1/0", "%"),
    "Price": ("free", "12.505", "1,2,3", "€€", "12 12", "ten", "-", "1e2"),
    "Min": ("long", "1:99", "-5", "99999999", "1h2h", "half", "0x10"),
}


def test_five_hundred_malformed_rows(book: Book, tmp_path: Path) -> None:
    """500 rows with one bad cell each give 500 reasons that name it, and nothing is recorded."""
    draw = random.Random(SEED)
    rows = [COLUMNS]
    for number in range(500):
        column = COLUMNS[number % len(COLUMNS)]
        cell = draw.choice(BAD_CELLS[column])
        good = dict(zip(COLUMNS, GOOD_ROW, strict=True))
        rows.append(tuple({**good, column: cell}.values()))
    log = a_file(tmp_path, "\n".join("\t".join(row) for row in rows) + "\n")
    before = on_disk(book.path)
    done = import_log(book, log, MAPPING)
    assert (done.count_rows, done.count_rejected, done.count_recorded) == (500, 500, 0)
    assert on_disk(book.path) == before
    assert done.rejected_file is not None
    content = done.rejected_file.read_text(encoding="utf-8-sig")
    assert content.count("row ") >= 500
    assert all(": " in reason and ". " in reason for _, reason in done.rejected)
    good_log = a_file(tmp_path, f"{chr(9).join(COLUMNS)}\n{chr(9).join(GOOD_ROW)}\n", "good.csv")
    assert import_log(book, good_log, MAPPING).count_recorded == 1


def test_two_hundred_files_of_noise(book: Book, tmp_path: Path) -> None:
    """Files of random bytes, cut workbooks and broken text are refused or wholly rejected."""
    draw = random.Random(SEED)
    before = on_disk(book.path)
    head = ",".join(COLUMNS).encode() + b"\n"
    for number in range(200):
        noise = draw.randbytes(draw.randrange(0, 400))
        content = [noise, head + noise, head + noise.replace(b"\x00", b'"')][number % 3]
        path = tmp_path / ("noise.xlsx" if number % 10 == 9 else "noise.csv")
        path.write_bytes(content)
        try:
            done = import_log(book, path, MAPPING)
        except LedgerError as error:
            assert str(error)
        else:
            assert done.count_rejected == done.count_rows
    assert on_disk(book.path) == before
