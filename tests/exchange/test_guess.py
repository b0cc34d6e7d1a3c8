from __future__ import annotations

from pathlib import Path

import pytest
from makers import a_file, new_book

from ledger.errors import Refused
from ledger.exchange.guess import guess_mapping
from ledger.exchange.importer import import_log
from ledger.exchange.mapping import parse_mapping
from ledger.exchange.tables import open_table

GERMAN = """Datum;Kunde;Marke;Modell;km-Stand;Beanstandung;Arbeiten;Teile;Arbeitszeit;Preis;Wer
15.04.2016;Frau 1;Brise;Deich;1.234,5;quietscht;Kette gereinigt, Vorderrad zentriert;;45;€ 5,50;Ute
31.05.2016;Kunde 2;Watt;Ebbe;2.234,5;;;Bremsbeläge hinten;1:10;€ 1.045,50;Jan
"""
DUTCH = """Datum\tKlant\tFiets\tKilometerstand\tWerkzaamheden\tPrijs
13-04-2016\tKlant 1\tGolf 3\t1200\tketting gesmeerd\t12,50
"""
FRENCH = """Date,Client,Vélo,Compteur (km),Travaux,Prix,Usure chaîne
2016-04-13,Client 1,Marée 2,1200,chaîne nettoyée,"12,50","0,4"
"""


@pytest.mark.parametrize(
    ("text", "kinds", "distance"),
    [
        (
            GERMAN,
            {
                "bike_registered": 2,
                "job_opened": 2,
                "distance_read": 2,
                "treated": 2,
                "part_fitted": 1,
                "labour_logged": 2,
                "job_closed": 2,
            },
            "1234.500",
        ),
        (
            DUTCH,
            {
                "bike_registered": 1,
                "job_opened": 1,
                "distance_read": 1,
                "treated": 1,
                "job_closed": 1,
            },
            "1200.000",
        ),
        (
            FRENCH,
            {
                "bike_registered": 1,
                "job_opened": 1,
                "distance_read": 1,
                "measured": 1,
                "treated": 1,
                "job_closed": 1,
            },
            "1200.000",
        ),
    ],
    ids=["german", "dutch", "french"],
)
def test_a_guessed_mapping_brings_the_log_in(
    tmp_path: Path, text: str, kinds: dict[str, int], distance: str
) -> None:
    """A guess from German, Dutch and French heads records every row without a question."""
    book = new_book(tmp_path)
    log = a_file(tmp_path, text)
    guess = guess_mapping(open_table(log), book.settings)
    assert guess.questions == ()
    done = import_log(book, log, parse_mapping(guess.toml))
    assert (dict(done.events_by_kind), done.rejected) == (kinds, [])
    reading = next(event for event in book.events() if event.kind == "distance_read")
    assert reading.data.odometer.canonical == distance


def test_day_or_month_first_is_asked(tmp_path: Path) -> None:
    """Where every date reads both ways it is asked, and the mapping refused until answered."""
    book = new_book(tmp_path)
    text = "Date,Owner,Mileage\n01/02/2020,Rider 1,1200\n03/04/2020,Rider 2,1300\n"
    guess = guess_mapping(open_table(a_file(tmp_path, text)), book.settings)
    assert guess.questions == (
        "Day before month, or after it? Both read all 2 rows. Keep one form.",
    )
    with pytest.raises(Refused, match="keep the right one"):
        parse_mapping(guess.toml)
    answered = guess.toml.replace('"%d/%m/%Y", ', "")
    assert parse_mapping(answered).when.formats == ("%m/%d/%Y",)


def test_one_row_decides_over_all_others(tmp_path: Path) -> None:
    """A single 31st among thousands of doubtful dates says that the day comes first."""
    book = new_book(tmp_path)
    rows = "01/02/2020,Rider,1\n" * 3000 + "31/01/2020,Rider,1\n"
    log = a_file(tmp_path, f"Date,Owner,Mileage\n{rows}")
    guess = guess_mapping(open_table(log), book.settings)
    assert guess.questions == ()
    assert parse_mapping(guess.toml).when.formats == ("%d/%m/%Y",)


def test_units_are_seen_in_heads_and_cells(tmp_path: Path) -> None:
    """Miles and psi are taken from the head of a column or from its cells."""
    book = new_book(tmp_path)
    text = "Date,Tag,Mileage,Pressure front,Pressure rear (bar)\n2020-01-02,7K3M9QXA,12,72 psi,5\n"
    toml = guess_mapping(open_table(a_file(tmp_path, text)), book.settings).toml
    fields = [rule.fields for rule in parse_mapping(toml).event]
    assert [found.get("odometer", found.get("after")).unit for found in fields] == [
        "mi",
        "psi",
        "bar",
    ]


def test_mechanics_names_become_ids(tmp_path: Path) -> None:
    """Names in the column of who did it are given ids, so that no name enters the book."""
    book = new_book(tmp_path)
    log = a_file(tmp_path, GERMAN)
    mapping = parse_mapping(guess_mapping(open_table(log), book.settings).toml)
    import_log(book, log, mapping)
    assert {event.actor for event in book.events()} == {"m1", "m2"}


def test_a_file_without_a_date_is_asked_about(tmp_path: Path) -> None:
    """A file whose heads say nothing gives questions and a mapping that is refused."""
    book = new_book(tmp_path)
    guess = guess_mapping(open_table(a_file(tmp_path, "x,y\n1,2\n")), book.settings)
    assert len(guess.questions) == 2
    with pytest.raises(Refused):
        parse_mapping(guess.toml)


def test_columns_that_are_not_used_are_named(tmp_path: Path) -> None:
    """A guess says which filled columns it leaves out, with an example of what is lost."""
    text = "Datum;Fahrrad;km-Stand;Wetter;Leer\n03.02.2025;Rad A;1200;nass;\n"
    path = a_file(tmp_path, text)
    toml = guess_mapping(open_table(path), new_book(tmp_path).settings).toml
    left_out = toml[toml.index("# Not used") :]
    assert '"Wetter", such as nass' in left_out
    assert "Leer" not in left_out and "km-Stand" not in left_out
