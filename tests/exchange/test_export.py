from __future__ import annotations

import csv
import io
import json
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from hypothesis import HealthCheck, given, settings
from makers import TAG, new_book

from ledger.book import Book
from ledger.errors import BookExists, Refused, UnreadableInput
from ledger.events import Event, plain
from ledger.exchange.export import CSV_COLUMNS, ROOTS_NOT_KEPT, Form, export_book, neutral
from ledger.exchange.own import import_own
from ledger.queries import bike_view
from ledger.state import fold
from ledger.view import BikeView
from tests.strategies import BIKES, GAUGES, MECHANICS, SHOP, Life, event_id, lives


def exported(book: Book, form: Form, *, clear: bool = False) -> bytes:
    out = io.BytesIO()
    export_book(book, out, form, clear=clear)
    return out.getvalue()


def a_small_book(folder: Path) -> Book:
    """A book of two commits, with text, a strike, money and a formula-like model."""
    book = new_book(folder, "small")
    at = "2024-03-01T10:00:00Z"
    of_bike: dict[str, Any] = {"bike": TAG, "actor": "mia", "occurred_at": at}
    model = {"position": "chain", "model": "=HYPERLINK(1)", "note": "found rusty"}
    line = {"line": "1", "line_type": "part", "code": "chain", "net_minor": 2500}
    closed = {"currency": "EUR", "lines": [{**line, "tax_rate": "0.21"}]}
    receipt = book.append(
        [
            {**of_bike, "kind": "bike_registered", "data": {"description": "blue"}},
            {**of_bike, "kind": "job_opened", "job": "j1", "data": {"complaint": "it squeals"}},
            {**of_bike, "kind": "part_fitted", "job": "j1", "data": model},
        ]
    )
    closing = {**of_bike, "kind": "job_closed", "job": "j1", "data": closed}
    book.append([closing], is_brought_in=True)
    book.strike(receipt.events[2].id, "wrong chain", "mia")
    return book


def copied(book: Book, folder: Path, form: Form, *, clear: bool = False, keys: bool = True) -> Book:
    """Export a book and bring it into an empty one; with `keys`, its register comes along."""
    name = f"{form}-{clear}"
    path = folder / f"{name}.{'parquet' if form == 'parquet' else 'jsonl'}"
    path.write_bytes(exported(book, form, clear=clear))
    other = new_book(folder, f"book-{name}", book.settings.shop)
    if keys:
        (other.path / "riders.sqlite").write_bytes((book.path / "riders.sqlite").read_bytes())
        other = Book.open(other.path)
    import_own(other, path)
    return other


def test_lines_are_cloudevents_in_order(tmp_path: Path) -> None:
    """Each line is one event with the required attributes, in seq order, its commit named."""
    lines = [json.loads(line) for line in exported(a_small_book(tmp_path), "cloudevents").split(
        b"\n") if line]  # fmt: skip
    assert [line["seq"] for line in lines] == [1, 2, 3, 4, 5]
    assert [line["commit"] for line in lines] == [1, 1, 1, 2, 3]
    assert {line["specversion"] for line in lines} == {"1.0"}
    assert {line["source"] for line in lines} == {"/shops/harbour"}
    assert lines[2]["type"] == "lockring.part_fitted.v1"
    assert lines[2]["data"]["note"].keys() == {"key", "sealed"}


def test_text_is_opened_only_when_asked_for(tmp_path: Path) -> None:
    """Sealed as stored by default; `clear` opens it and says that roots are not kept."""
    book = a_small_book(tmp_path)
    out = io.BytesIO()
    done = export_book(book, out, "cloudevents", clear=True)
    assert b"it squeals" in out.getvalue()
    assert done.notes == (ROOTS_NOT_KEPT,)
    for form in ("cloudevents", "csv", "parquet"):
        assert b"it squeals" not in exported(book, form)


@pytest.mark.parametrize("form", ["cloudevents", "parquet"])
def test_an_export_with_its_keys_keeps_everything(tmp_path: Path, form: Form) -> None:
    """Sealed, with the keys there, every byte that is hashed comes back, and so do the roots."""
    book = a_small_book(tmp_path)
    other = copied(book, tmp_path, form)
    assert list(other.rows()) == list(book.rows())
    assert (other.head.root, other.head.commit) == (book.head.root, book.head.commit)
    assert other.reveal(other.bike_events(TAG)[1])["data"]["complaint"] == "it squeals"


def test_a_parquet_export_says_whether_the_root_came_back(tmp_path: Path) -> None:
    """The root in a Parquet export is compared with that of the book it was brought into."""
    book = a_small_book(tmp_path)
    path = tmp_path / "own.parquet"
    path.write_bytes(exported(book, "parquet"))
    done = import_own(new_book(tmp_path, "again"), path)
    assert (done.count_events, done.count_commits, done.is_same_root) == (5, 3, True)
    assert done.root == book.head.root


@pytest.mark.parametrize("form", ["cloudevents", "parquet"])
def test_an_export_in_the_clear_keeps_ids_times_and_text(tmp_path: Path, form: Form) -> None:
    """In the clear, ids, seq, commits and times come back, and the text can be read again."""
    book = a_small_book(tmp_path)
    other = copied(book, tmp_path, form, clear=True, keys=False)
    assert [opened(other, e) for e in other.events()] == [opened(book, e) for e in book.events()]
    assert [commit for _, commit, _ in other.rows()] == [commit for _, commit, _ in book.rows()]


def test_text_whose_key_is_gone_reads_as_forgotten(tmp_path: Path) -> None:
    """Without its keys a sealed export keeps its roots, and in the clear its text is gone."""
    book = a_small_book(tmp_path)
    other = copied(book, tmp_path, "cloudevents", keys=False)
    assert other.head.root == book.head.root
    lines = exported(other, "cloudevents", clear=True)
    assert b"it squeals" not in lines
    assert lines.count(b'"(forgotten)"') == 4


def opened(book: Book, event: Event) -> dict[str, Any]:
    return book.reveal(event)


def test_csv_is_as_rfc_4180_has_it(tmp_path: Path) -> None:
    """CSV has CR LF line ends, one row an event, and payloads that are JSON."""
    content = exported(a_small_book(tmp_path), "csv", clear=True)
    assert content.count(b"\r\n") == content.count(b"\n") == 6
    rows = list(csv.DictReader(io.StringIO(content.decode(), newline="")))
    assert list(rows[0]) == list(CSV_COLUMNS)
    assert json.loads(rows[3]["data"])["lines"][0]["net_minor"] == 2500
    assert rows[2]["model"] == "'=HYPERLINK(1)"
    assert (rows[4]["kind"], rows[4]["target_id"]) == ("event_struck", rows[2]["id"])


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "-", "+1.5"])
def test_formula_like_cells_are_neutralised(text: str) -> None:
    """What a spreadsheet would run begins with an apostrophe."""
    assert neutral(text) == f"'{text}"


@pytest.mark.parametrize("text", ["-12.5", "12", "chain", "", "a=b", "2024-01-01T00:00:00Z"])
def test_other_cells_stay_as_they_are(text: str) -> None:
    """Plain words, dates and negative figures are written unchanged."""
    assert neutral(text) == text


def test_a_parquet_export_is_read_by_column(tmp_path: Path) -> None:
    """A Parquet export has the book's own columns; in the clear, the event itself in JSON."""
    book = a_small_book(tmp_path)
    sealed = pq.read_table(io.BytesIO(exported(book, "parquet")))
    assert sealed["canonical"].to_pylist() == [row[2] for row in book.rows()]
    clear = pq.read_table(io.BytesIO(exported(book, "parquet", clear=True)))
    assert sealed.drop_columns(["canonical"]).equals(clear.drop_columns(["event"]))
    assert json.loads(clear["event"][1].as_py())["data"]["complaint"] == "it squeals"


def a_book_of(life: Life, folder: Path) -> Book:
    """Give a book that holds a life as it was recorded, after the shop's own registrations."""
    start = life.events[0].occurred_at
    common = {"actor": MECHANICS[0], "shop": SHOP, "occurred_at": start, "recorded_at": start}
    tiers = [{"code": code, "label": code} for code in ("quick_check", "full_service")]
    own = [
        {"kind": "terms_set", "data": {"from_on": "2024-01-01", "tiers": tiers}},
        *({"kind": "mechanic_registered", "data": {"mechanic": name}} for name in MECHANICS),
        *({"kind": "gauge_registered", "data": plain(gauge)} for gauge in GAUGES.values()),
    ]
    first = [
        {**common, "id": event_id(10**6 + n), "seq": n, **raw} for n, raw in enumerate(own, start=1)
    ]
    rest = [{**plain(event), "seq": (event.seq or 0) + len(own)} for event in life.events]
    book = Book.init(folder / "life", shop=SHOP, currency="EUR", time_zone="Europe/Amsterdam")
    book.import_own([first, *([raw] for raw in rest)])
    return book


@settings(max_examples=8, deadline=None, derandomize=True, suppress_health_check=list(HealthCheck))
@given(life=lives(25))
def test_what_is_exported_and_brought_back_has_the_same_states(
    life: Life, tmp_path_factory: pytest.TempPathFactory
) -> None:
    """For any life of two bikes, export and import give the same states at every instant."""
    folder = tmp_path_factory.mktemp("lives")
    book = a_book_of(life, folder)
    forms: list[tuple[Form, bool]] = [("cloudevents", False), ("parquet", True)]
    for form, clear in forms:
        other = copied(book, folder, form, clear=clear, keys=not clear)
        assert clear or other.head.root == book.head.root
        for bike in BIKES:
            known = (book.head.size, book.head.size // 2 + 4)
            assert states(other, bike, life, known) == states(book, bike, life, known)
            last = life.instants()[-1]
            assert bike_view(other, bike, last) == bike_view(book, bike, last)


def states(book: Book, bike: str, life: Life, known: tuple[int, ...]) -> list[BikeView]:
    """Fold a bike in plain Python at every instant, as known at each seq."""
    events = book.bike_events(bike)
    about: dict[str, Any] = {"shop": SHOP, "bike": bike, "vocabulary": book.vocabulary}
    return [
        fold(events, as_at=moment, known_seq=seq, **about)
        for moment in life.instants()
        for seq in known
    ]


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda lines: lines[1:], "event 1 has seq 2"),
        (lambda lines: [*lines[:2], lines[1], *lines[2:]], "event 3 has seq 2"),
        (lambda lines: [line.replace(b"/shops/harbour", b"/shops/quay") for line in lines], "quay"),
        (lambda lines: [line.replace(b"recordedtime", b"recordingtime") for line in lines], "line"),
        (lambda lines: [*lines[:4], b"{"], "line 5: line: is not JSON"),
        (lambda lines: [*lines[:2], lines[2].replace(b'"chain"', b'"chian"'), *lines[3:]], "chian"),
    ],
)
def test_what_is_no_whole_export_is_refused(tmp_path: Path, change: Any, why: str) -> None:
    """An export with a gap, a repeat, another shop or a bad event is refused; the book is empty."""
    book = a_small_book(tmp_path)
    lines = exported(book, "cloudevents").splitlines()
    path = tmp_path / "own.jsonl"
    path.write_bytes(b"\n".join(change(lines)))
    other = new_book(tmp_path, "other")
    with pytest.raises((UnreadableInput, Refused), match=why):
        import_own(other, path)
    assert other.head.size == 0


def test_a_book_that_holds_something_takes_no_export(tmp_path: Path) -> None:
    """An export goes into an empty book only."""
    book = a_small_book(tmp_path)
    path = tmp_path / "own.jsonl"
    path.write_bytes(exported(book, "cloudevents"))
    with pytest.raises(BookExists):
        import_own(book, path)


@pytest.mark.parametrize(
    ("name", "content"),
    [
        ("own.parquet", b"PAR1 and then nothing"),
        ("own.csv", b"seq,commit\r\n"),
        ("gone.jsonl", None),
    ],
)
def test_what_is_no_export_is_refused(tmp_path: Path, name: str, content: bytes | None) -> None:
    """A damaged file, a CSV export and a missing file are each refused, saying what to do."""
    path = tmp_path / name
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(UnreadableInput):
        import_own(new_book(tmp_path), path)
