from __future__ import annotations

import csv
import dataclasses
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from makers import TAG, a_file, new_book, on_disk

from ledger.book import Book
from ledger.errors import Refused, UnreadableInput
from ledger.exchange.ids import tag_from, uuid7
from ledger.exchange.importer import Imported, import_log
from ledger.exchange.mapping import Mapping, parse_mapping
from ledger.exchange.rejected import REASON
from ledger.state import state_after

MAPPING = parse_mapping(
    """
[when]
column = "Date"
formats = ["%d.%m.%Y"]
[numbers]
decimal = ","
thousands = "."
[bike]
tag = "Tag"
[actor]
column = "Who"
words = { Ute = "m1" }
otherwise = "m2"
[[event]]
kind = "distance_read"
needs = ["km"]
[event.fields]
odometer = { column = "km", unit = "km" }
[[event]]
kind = "part_fitted"
each = "Parts"
[event.fields]
position = { column = "Parts", find = "positions" }
model = "Parts"
[[event]]
kind = "measured"
needs = ["Wear"]
[event.fields]
position = { value = "chain" }
quantity = { value = "elongation" }
value = { column = "Wear", unit = "%" }
"""
)
HEAD = "Date,Tag,Who,km,Parts,Wear\n"
LOG = (
    HEAD
    + f'01.03.2023,{TAG},Ute,"1.000,5",,"0,2"\n'
    + f'01.04.2023,{TAG},Jan,1200,chain + cassette,"0,6"\n'
    + f"01.05.2023,{TAG},,1300,chain,\n"
)


def bring_in(book: Book, folder: Path, text: str, **options: Any) -> Imported:
    mapping = options.pop("mapping", MAPPING)
    return import_log(book, a_file(folder, text), mapping, **options)


def mapping_with(**changes: Any) -> Mapping:
    return MAPPING.model_copy(update=changes)


def rejected_rows(done: Imported) -> list[dict[str, str]]:
    assert done.rejected_file is not None
    with done.rejected_file.open(encoding="utf-8-sig", newline="") as file:
        return list(csv.DictReader(file))


def told(book: Book) -> list[tuple[str, str]]:
    return [(event.kind, event.occurred_at.date().isoformat()) for event in book.events()]


def test_rows_become_events_in_order_of_time(tmp_path: Path) -> None:
    """Each row gives its events at its time; the bike is registered at its first."""
    book = new_book(tmp_path)
    done = bring_in(book, tmp_path, LOG)
    assert (done.count_rows, done.count_recorded, done.count_commits) == (3, 3, 1)
    assert told(book) == [
        ("bike_registered", "2023-03-01"),
        ("distance_read", "2023-03-01"),
        ("measured", "2023-03-01"),
        ("distance_read", "2023-04-01"),
        ("part_fitted", "2023-04-01"),
        ("part_fitted", "2023-04-01"),
        ("measured", "2023-04-01"),
        ("distance_read", "2023-05-01"),
        ("part_fitted", "2023-05-01"),
    ]
    events = book.bike_events(TAG)
    assert [events[1].data.odometer.canonical, events[1].actor] == ["1000.500", "m1"]
    assert [events[3].actor, events[7].actor] == ["Jan", "m2"]
    assert events[8].data.replaces == events[4].data.part


def test_a_log_is_recorded_once_however_often_it_is_brought_in(tmp_path: Path) -> None:
    """The second time every row is known, and nothing at all changes on disk."""
    book = new_book(tmp_path)
    bring_in(book, tmp_path, LOG)
    before = on_disk(book.path)
    done = bring_in(Book.open(book.path), tmp_path, LOG)
    assert (done.count_recorded, done.count_known, done.rejected_file) == (0, 3, None)
    assert on_disk(book.path) == before


def test_a_longer_log_adds_what_is_new_whatever_its_name_and_order(tmp_path: Path) -> None:
    """The same rows under another name, in another order of columns and rows, are known."""
    book = new_book(tmp_path)
    bring_in(book, tmp_path, LOG)
    rows = [*csv.DictReader(LOG.splitlines()), {"Date": "02.05.2023", "Tag": TAG, "km": "1400"}]
    path = tmp_path / "newer.csv"
    with path.open("w", newline="") as file:
        writer = csv.DictWriter(file, ["km", "Tag", "Wear", "Parts", "Who", "Date"], delimiter=";")
        writer.writeheader()
        writer.writerows(reversed(rows))
    done = import_log(book, path, MAPPING)
    assert (done.count_known, done.count_recorded) == (3, 1)


def test_identical_rows_are_each_a_fact(tmp_path: Path) -> None:
    """Two identical rows are two facts, the first time and every time after."""
    book = new_book(tmp_path)
    text = f'{HEAD}01.03.2023,{TAG},,,,"0,2"\n01.03.2023,{TAG},,,,"0,2"\n'
    assert bring_in(book, tmp_path, text).count_recorded == 2
    assert bring_in(book, tmp_path, text).count_known == 2
    assert [kind for kind, _ in told(book)] == ["bike_registered", "measured", "measured"]


def test_a_row_that_was_struck_does_not_come_back(tmp_path: Path) -> None:
    """What somebody struck after an import stays struck when the log is brought in again."""
    book = new_book(tmp_path)
    bring_in(book, tmp_path, LOG)
    book.strike(book.bike_events(TAG)[2].id, "another bike's", "m1")
    assert bring_in(book, tmp_path, LOG).count_recorded == 0


def test_one_bad_row_leaves_its_neighbours(tmp_path: Path) -> None:
    """A row that falls back in distance is set aside whole; the rows around it are recorded."""
    book = new_book(tmp_path)
    bad = f'15.04.2023,{TAG},,900,saddle,"0,7"\n'
    done = bring_in(book, tmp_path, LOG + bad)
    assert (done.count_recorded, done.count_rejected) == (3, 1)
    (row,) = rejected_rows(done)
    assert row["Date"] == "15.04.2023"
    assert row[REASON].startswith("row 5: distance_read data.odometer: 900")
    assert not any(event.kind == "part_fitted" and event.data.position == "saddle"
                   for event in book.events())  # fmt: skip


def test_a_mended_row_is_taken_from_the_rejected_file(tmp_path: Path) -> None:
    """The file of rejected rows can be mended and brought in itself; its reasons are no column."""
    book = new_book(tmp_path)
    done = bring_in(book, tmp_path, LOG + f"15.04.2023,{TAG},,lots,,\n")
    assert done.rejected_file is not None
    text = done.rejected_file.read_text(encoding="utf-8-sig")
    done.rejected_file.write_text(text.replace("lots", "1250"))
    again = import_log(book, done.rejected_file, MAPPING)
    assert (again.count_recorded, again.count_rejected) == (1, 0)
    whole = bring_in(book, tmp_path, LOG + f"15.04.2023,{TAG},,1250,,\n")
    assert (whole.count_known, whole.count_recorded) == (4, 0)


def test_a_bad_row_is_not_made_good_by_what_comes_after(tmp_path: Path) -> None:
    """Of two rows of a bike that cannot both be, the first in time is recorded."""
    book = new_book(tmp_path)
    text = f"{HEAD}01.03.2023,{TAG},,5000,,\n02.03.2023,{TAG},,100,,\n03.03.2023,{TAG},,5100,,\n"
    done = bring_in(book, tmp_path, text)
    assert [number for number, _ in done.rejected] == [3]


def test_every_reason_of_a_row_is_given(tmp_path: Path) -> None:
    """A row with three mistakes names all three, each by its column."""
    book = new_book(tmp_path)
    done = bring_in(book, tmp_path, f"{HEAD}01.03.2023,{TAG},,many,widget,worn\n")
    ((_, reason),) = done.rejected
    assert reason == (
        "km: 'many' is not a figure. Write it such as 72,5; "
        "Parts: 'widget' names no part that is known. Add a word for it; "
        "Wear: 'worn' is not a figure. Write it such as 72,5"
    )


@pytest.mark.parametrize(
    ("row", "reason"),
    [
        ("31.02.2023,7K3M9QXA,,1,,", "Date: '31.02.2023' is not a date"),
        (",7K3M9QXA,,1,,", "Date: '' is not a date"),
        ("01.03.2023,bike one,,1,,", "Tag: 'bike one' is not a bike tag"),
        ("01.03.2023,,,1,,", "Tag: is empty. Write the bike's tag"),
        ("01.03.2023,7K3M9QXA,,,,", "row: says nothing in km, Parts, Wear"),
        ("01.03.2023,7K3M9QXA,Ute Meier,1,,", "actor: 'Ute Meier' cannot stand here"),
        ("01.03.2099,7K3M9QXA,,1,,", "occurred_at: "),
        ('01.03.2023,7K3M9QXA,,1,,"90,5"', "measured data.value: "),
        ("01.03.2023,7K3M9QXA,,1 psi,,", "distance_read data.odometer"),
    ],
)
def test_reasons(tmp_path: Path, row: str, reason: str) -> None:
    """What is wrong with a row is said by its column and in words."""
    book = new_book(tmp_path)
    done = bring_in(book, tmp_path, f"{HEAD}{row}\n")
    assert done.count_recorded == 0
    assert reason in done.rejected[0][1]
    assert book.head.size == 0


def test_a_dry_run_records_nothing_and_says_the_same(tmp_path: Path) -> None:
    """A dry run changes no file, and reports what the import then does."""
    book = new_book(tmp_path)
    bring_in(book, tmp_path, LOG)
    text = LOG + f"01.06.2023,{TAG},,1500,chain,\n02.06.2023,{TAG},,20,,\n"
    before = on_disk(tmp_path)
    dry = bring_in(book, tmp_path, text, dry_run=True)
    assert on_disk(tmp_path) == {**before, "log.csv": on_disk(tmp_path)["log.csv"]}
    assert (dry.count_known, dry.count_recorded, dry.count_rejected) == (3, 1, 1)
    real = bring_in(book, tmp_path, text)
    assert dataclasses.replace(dry, is_dry=False, rejected_file=real.rejected_file) == real


def test_a_dry_run_sees_across_commits(tmp_path: Path) -> None:
    """Rows of a later commit meet, in a dry run too, what earlier ones would have recorded."""
    book = new_book(tmp_path)
    start = datetime(2020, 1, 1)
    rows = [f"{start + timedelta(hours=9 * i):%d.%m.%Y},{TAG},,{i},,\n" for i in range(2500)]
    done = bring_in(book, tmp_path, HEAD + "".join(rows), dry_run=True)
    assert (done.count_recorded, done.count_rejected, book.head.size) == (2500, 0, 0)
    assert done.count_commits >= 2


def test_the_newest_row_may_come_first(tmp_path: Path) -> None:
    """A log kept with the newest row on top is recorded as it happened, also within one day."""
    days = [
        f"01.03.2023,{TAG},,100,chain,\n",
        f"01.03.2023,{TAG},,150,,\n",
        f"02.03.2023,{TAG},,200,chain,\n",
        f"03.03.2023,{TAG},,300,,\n",
    ]
    book = new_book(tmp_path)
    done = bring_in(book, tmp_path, HEAD + "".join(reversed(days)))
    assert done.rejected == []
    shown = [e.data.odometer.value for e in book.bike_events(TAG) if e.kind == "distance_read"]
    assert shown == ["100", "150", "200", "300"]


def test_older_rows_may_come_later(tmp_path: Path) -> None:
    """An older log of a bike fits in before what is there, with the part that sat there then."""
    book = new_book(tmp_path)
    bring_in(book, tmp_path, f"{HEAD}01.01.2023,{TAG},,0,chain,\n01.06.2023,{TAG},,900,saddle,\n")
    done = bring_in(book, tmp_path, f'{HEAD}01.03.2023,{TAG},,400,,"0,3"\n')
    assert done.rejected == []
    state = state_after(sorted(book.bike_events(TAG), key=lambda e: e.occurred_at), "harbour", TAG,
                        book.vocabulary)  # fmt: skip
    assert set(state.fitted) == {"chain", "saddle"}


def test_a_row_that_would_break_what_is_there_is_found_among_others(tmp_path: Path) -> None:
    """An older reading above one in the book is the only row of 40 that is set aside."""
    book = new_book(tmp_path)
    bring_in(book, tmp_path, f"{HEAD}01.01.2023,{TAG},,10,,\n01.06.2023,{TAG},,500,,\n")
    others = [f"0{1 + i % 9}.03.2023,7K3M9Q{i:02d},,{i},,\n" for i in range(39)]
    others.insert(23, f"05.03.2023,{TAG},,800,,\n")
    done = bring_in(book, tmp_path, HEAD + "".join(others))
    assert (done.count_recorded, done.count_rejected) == (39, 1)
    ((number, reason),) = done.rejected
    assert number == 25
    assert reason.startswith("would break ")
    assert "500.000 km is less than 800.000 km read before" in reason


def test_a_part_nobody_saw_fitted_is_found_first(tmp_path: Path) -> None:
    """A reading that names a part is preceded by finding it there, at no known fitting date."""
    text = """
[when]
column = "Date"
[bike]
tag = "Tag"
[actor]
value = "m1"
[[event]]
kind = "measured"
contains = { Work = ["read"] }
[event.fields]
position = { value = "chain" }
quantity = { value = "elongation" }
part = { column = "Part" }
value = { column = "Wear", unit = "%" }
[[event]]
kind = "part_removed"
contains = { Work = ["off"] }
[event.fields]
position = { column = "Part", find = "positions" }
"""
    log = f"Date,Tag,Work,Part,Wear\n2023-01-01,{TAG},read,c1,0.4\n2023-01-02,{TAG},off,saddle,\n"
    book = new_book(tmp_path)
    done = bring_in(book, tmp_path, log, mapping=parse_mapping(text))
    assert done.rejected == []
    fitted = [event.data for event in book.events() if event.kind == "part_fitted"]
    assert [(data.position, data.is_found, data.origin) for data in fitted] == [
        ("chain", True, "unknown"),
        ("saddle", True, "unknown"),
    ]
    assert fitted[0].part == "c1"


KEYED = """
[when]
column = "Date"
[bike]
key = ["Make", "Owner"]
[bike.fields]
make = "Make"
[actor]
value = "m1"
[[event]]
kind = "distance_read"
[event.fields]
odometer = { column = "km", unit = "km" }
"""


def test_bikes_are_told_by_make_and_owner(tmp_path: Path) -> None:
    """The same make and owner, however spelt in case and space, is the same bike every time."""
    log = "Date,Make,Owner,km\n2023-01-01,Brise,Rider 1,1\n2023-01-02,BRISE,rider  1,2\n"
    mapping = parse_mapping(KEYED)
    first, second = new_book(tmp_path, "one"), new_book(tmp_path, "two")
    for book in (first, second):
        bring_in(book, tmp_path, log + "2023-01-03,Brise,Rider 2,3\n", mapping=mapping)
    assert len(first.bikes()) == 2
    assert first.bikes() == second.bikes()
    later = bring_in(first, tmp_path, "Date,Make,Owner,km\n2023-02-01,brise,RIDER 1,9\n",
                     mapping=mapping)  # fmt: skip
    assert later.count_recorded == 1
    assert len(first.bikes()) == 2


def test_a_tag_that_another_bike_has_is_not_shared(tmp_path: Path) -> None:
    """Where the tag a key would get is another bike's, the next one is taken, every time."""
    book = new_book(tmp_path)
    taken = tag_from("harbour", "brise\x1frider 1", 0)
    book.append([{"kind": "bike_registered", "bike": taken, "actor": "m1", "data": {},
                  "occurred_at": "2022-01-01T10:00:00Z"}])  # fmt: skip
    mapping = parse_mapping(KEYED)
    for day in ("2023-01-01", "2023-01-02"):
        log = f"Date,Make,Owner,km\n{day},Brise,Rider 1,5\n"
        assert bring_in(book, tmp_path, log, mapping=mapping).count_recorded == 1
    expected = sorted([taken, tag_from("harbour", "brise\x1frider 1", 1)])
    assert book.bikes() == expected


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "cp1252"])
def test_encodings_make_no_difference(tmp_path: Path, encoding: str) -> None:
    """The same log in four encodings is the same log: it is recorded once."""
    book = new_book(tmp_path)
    log = f"{HEAD}01.03.2023,{TAG},,100,Kettenblätter,\n"
    bring_in(book, tmp_path, log)
    done = import_log(book, a_file(tmp_path, log, "other.csv", encoding), MAPPING)
    assert (done.count_known, done.count_recorded) == (1, 0)


def test_a_workbook_is_brought_in_as_typed(tmp_path: Path) -> None:
    """Typed dates and figures of a workbook are read as they are; its text as the file writes."""
    sheet = openpyxl.Workbook()
    assert sheet.active is not None
    sheet.active.append(["Date", "Tag", "Who", "km", "Parts", "Wear"])
    sheet.active.append([date(2023, 3, 1), TAG, "Ute", 1000.5, None, "0,2"])
    sheet.active.append(["02.03.2023", TAG, "Ute", "1.001,5", None, 0.3])
    path = tmp_path / "log.xlsx"
    sheet.save(path)
    book = new_book(tmp_path)
    assert import_log(book, path, MAPPING).rejected == []
    data = [e.data for e in book.events() if e.kind in ("distance_read", "measured")]
    figures = [getattr(one, "odometer", None) or one.value for one in data]
    assert [figure.value for figure in figures] == ["1000.5", "0.2", "1001.5", "0.3"]
    assert import_log(book, path, MAPPING).count_known == 2


def test_miles_psi_and_currency(tmp_path: Path) -> None:
    """Miles and psi are kept as written beside exact kilometres and bar; money is net of its tax.

    1 mi is 1.609344 km and 1 psi 6894.757 Pa exactly rounded (SI brochure, NIST SP 811).
    """
    text = """
[when]
column = "Date"
[money]
tax_rate = "0.21"
[bike]
tag = "Tag"
[actor]
value = "m1"
[[event]]
kind = "distance_read"
[event.fields]
odometer = { column = "Miles", unit = "mi" }
[[event]]
kind = "adjusted"
[event.fields]
position = { value = "rear_wheel.tyre" }
quantity = { value = "pressure" }
after = { column = "Tyre", unit = "psi" }
[[event]]
kind = "job_closed"
[event.fields]
"lines.net_minor" = "Price"
"""
    log = f'Date,Tag,Miles,Tyre,Price\n2023-01-01,{TAG},"100",72,"€ 121.00"\n'
    book = new_book(tmp_path)
    assert bring_in(book, tmp_path, log, mapping=parse_mapping(text)).rejected == []
    by_kind = {event.kind: event.data for event in book.events()}
    odometer, after = by_kind["distance_read"].odometer, by_kind["adjusted"].after
    assert (odometer.value, odometer.unit, odometer.canonical) == ("100", "mi", "160.934")
    assert (after.value, after.unit, after.canonical) == ("72", "psi", "4.964")
    (line,) = by_kind["job_closed"].lines
    assert (line.net_minor, line.tax_minor, by_kind["job_closed"].currency) == (10000, 2100, "EUR")


def test_rows_of_one_job_open_it_once(tmp_path: Path) -> None:
    """Rows with one job number are one visit, opened by the first of them."""
    text = (
        KEYED
        + """
[[event]]
kind = "labour_logged"
[event.fields]
task = { value = "chain" }
minutes = "Min"
[job]
column = "Job"
"""
    )
    log = "Date,Make,Owner,km,Min,Job\n" + "".join(
        f"2023-01-0{day},Brise,Rider 1,{day},{day}0,A7\n" for day in (1, 2, 3)
    )
    book = new_book(tmp_path)
    assert bring_in(book, tmp_path, log, mapping=parse_mapping(text)).rejected == []
    assert [e.kind for e in book.events()].count("job_opened") == 1
    assert {e.job for e in book.events() if e.kind != "bike_registered"} == {"A7"}


def test_columns_the_file_does_not_have_are_named(tmp_path: Path) -> None:
    """A mapping for other columns is refused, with the nearest ones there are."""
    with pytest.raises(Refused, match=r"the file has no column 'km'\. Did you mean 'kms'"):
        bring_in(new_book(tmp_path), tmp_path, LOG.replace("km", "kms"))


def test_a_mapping_for_no_place_on_earth_is_refused(tmp_path: Path) -> None:
    """An unknown time zone and an unknown currency are refused before any row is read."""
    book = new_book(tmp_path)
    nowhere = mapping_with(when=MAPPING.when.model_copy(update={"time_zone": "Europe/Atlantis"}))
    with pytest.raises(Refused, match="'Europe/Atlantis' is no time zone"):
        bring_in(book, tmp_path, LOG, mapping=nowhere)
    shells = mapping_with(money=MAPPING.money.model_copy(update={"currency": "SHL"}))
    with pytest.raises(Refused, match="'SHL' is not an ISO 4217 currency"):
        bring_in(book, tmp_path, LOG, mapping=shells)


def test_rejected_rows_that_cannot_be_written_stop_the_import(tmp_path: Path) -> None:
    """Where the file of rejected rows cannot be made, the import says so and can be run again."""
    book = new_book(tmp_path)
    (tmp_path / "log.csv.rejected.csv").mkdir()
    with pytest.raises(UnreadableInput, match="not recorded twice"):
        bring_in(book, tmp_path, LOG + "soon,,,,,\n")
    (tmp_path / "log.csv.rejected.csv").rmdir()
    assert bring_in(book, tmp_path, LOG + "soon,,,,,\n").count_recorded == 3


def test_todays_rows_are_not_ahead_of_the_clock(tmp_path: Path) -> None:
    """A row of today without a time is taken as now where midday is still to come."""
    book = new_book(tmp_path)
    today = datetime.now(UTC).astimezone(book.settings.zone)
    late = mapping_with(when=MAPPING.when.model_copy(update={"time_of_day": "23:59"}))
    done = bring_in(book, tmp_path, f"{HEAD}{today:%d.%m.%Y},{TAG},,1,,\n", mapping=late)
    assert done.rejected == []


def test_ids_are_of_version_7() -> None:
    """An id made from a time and a digest has version 7, its variant, and that time in it.

    RFC 9562: 017F22E2-79B0-7CC3-98C4-DC0C0C07398F is of 1645557742000 ms.
    """
    moment = datetime(2022, 2, 22, 19, 22, 22, tzinfo=UTC)
    random = 0xCC3 << 68 | 0x18C4DC0C0C07398F << 2
    assert uuid7(moment, random.to_bytes(10, "big")) == "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
