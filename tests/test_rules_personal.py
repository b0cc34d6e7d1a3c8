"""Contacts stand in the register: where one is written into an event, a warning says so."""

from __future__ import annotations

from datetime import UTC, date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.book import Book
from ledger.rules.personal_words import personal_in
from tests.rule_shorthand import BORN, E, problems

TELEPHONES = (
    "0612349876",
    "bel 0612349876",
    "whatsapp 0612349876",
    "0031612349876",
    "tel:0612349876",
    "Tel.0612349876",
    "phone:0612349876",
    "1-800-555-0199",
    "+351 912 345 678",
    "+44 (0)20 7946 0958",
    "+1-202-555-0143",
    "+351912345678",
    "0033 1 23 45 67 89",
    "00 351 912 345 678",
    "(020) 7946 0958",
    "020-7946-0958",
    "0171/2345678",
    "0171 2345678",
    "01 23 45 67 89",
    "01.23.45.67.89",
    "06-12345678",
    "(202) 555-0143",
    "202-555-0143",
    "202.555.0143",
    "tel. 0171234567",
    "phone 555-0107",
    "call her on 5550107",
    "mobile: 912 345 678",
    "Telefon 12 34 56 78",
)
EMAILS = (
    "jürgen@mühle.example",
    "_inge@quay.example",
    "inge＠quay.example",
    "inge@quay.example",
    "inge.marsh+bike@mail.quay.example",
    "Inge_Marsh@QUAY.EXAMPLE",
    "i@163.example",
    "inge @ quay.example",
)
NEITHER = (
    "bar code 0012345678905",
    "5012345678900",
    "0123456789012",
    "serial 0001234567",
    "0000000000",
    "torqued to 5.5 Nm, then 6 Nm",
    "M5@4.Nm and M6 @ 8 Nm",
    "M5@4.5 Nm",
    "5-7 Nm, 12-14 Nm, 38-42 Nm",
    "serial 0123456789012",
    "EAN 4012345678901",
    "EAN 0012345678905",
    "GTIN 00012345678905",
    "part 00.4318.012.003",
    "part 105-7001-22",
    "12-345-6789",
    "2026-03-01",
    "01-02-2026 10:30",
    "01.02.2026",
    "01/02/2026 to 08/02/2026",
    "01 02 2026",
    "2026-03-01T09:12:00.000000Z",
    "open 09:00-17:30, 0900-1730",
    "7K3M9QXA",
    "01234567",
    "0123-4567",
    "11-13-15-17-19-21-24-28",
    "11 13 15 17 19 21 24 28",
    "01 02 03 04 05 06",
    "spokes 905 910 915 920 N",
    "112 114 116 links",
    "tyre 37-622, rim 622-19, 50/559",
    "0.50 0.75 0.50 0.75",
    "0.05 0.10 0.15",
    "2.0 / 2.2 / 2.4 bar",
    "700x35C 28 x 1 5/8",
    "12,345,678 km",
    "odometer 1 234 567",
    "firmware 4.12.0.1023",
    "018f22e2-7900-7003-9004-000000000001",
    "p-018f22e2-7900-7003-9004-000000000001",
    "52x36 11-34 12s",
    "bearing 6902-2RS",
    "-0.25 +0.50",
    "recall 20261234",
    "call at 14:30",
    "@ 5 bar",
    "6 V / 3 W",
    "3/32 x 1/2 x 116",
    "hub 100 x 15 110 x 15 148 x 12",
    "invoice 2026/000123",
    "b-2026-03-0001",
)


@pytest.mark.parametrize("text", TELEPHONES)
def test_a_telephone_number_is_seen_in_every_usual_form(text: str) -> None:
    """In a sentence and alone."""
    for said in (text, f"Front pads squeal, {text}.", f"{text} after five"):
        found = personal_in(said)
        assert found is not None, said
        assert found.looks == "a telephone number"


@pytest.mark.parametrize("text", EMAILS)
def test_an_email_address_is_seen(text: str) -> None:
    """In a sentence and alone."""
    for said in (text, f"Bill to <{text}>, please", f"ask ({text})"):
        found = personal_in(said)
        assert found is not None, said
        assert found.looks == "an email address"


@pytest.mark.parametrize("text", NEITHER)
def test_figures_dates_and_codes_of_a_bench_are_no_contact(text: str) -> None:
    """Nobody is warned of a torque."""
    assert personal_in(text) is None
    assert personal_in(f"Set {text}, then ridden.") is None


def test_a_field_for_a_makers_number_is_warned_of_only_where_it_can_be_nothing_else() -> None:
    """A serial may have any gaps."""
    for serial in ("0123-4567-89", "202-555-0143", "tel 0171234567"):
        assert personal_in(serial, is_numbered=True) is None
    assert personal_in("+351 912 345 678", is_numbered=True) is not None
    assert personal_in("inge@quay.example", is_numbered=True) is not None


@pytest.mark.parametrize("text", TELEPHONES + EMAILS)
def test_a_warning_repeats_next_to_nothing_of_what_it_found(text: str) -> None:
    """At most two digits, or the first letter and the last part of an address."""
    found = personal_in(text)
    assert found is not None
    assert sum(map(str.isdigit, found.masked)) <= 2
    assert "quay" not in found.masked.lower()


figures = st.decimals(min_value=-9999, max_value=9999, places=2, allow_nan=False).map(str)
wholes = st.integers(min_value=0, max_value=999_999).map(str)
units = st.sampled_from([" Nm", " bar", " mm", " km", " %", "", " N", " °C", " V"])


@given(
    st.lists(st.tuples(figures | wholes, units).map("".join), min_size=1, max_size=8),
    st.sampled_from([" ", ", ", "; ", " / ", " and ", " then ", " x "]),
)
def test_no_row_of_figures_is_taken_for_a_contact(row: list[str], between: str) -> None:
    """However many, whatever their unit."""
    assert personal_in(between.join(row)) is None


@given(
    st.dates(date(1950, 1, 1), date(2100, 12, 31)),
    st.sampled_from(["%Y-%m-%d", "%d.%m.%Y", "%d/%m/%Y", "%m/%d/%Y", "%d-%m-%Y", "%Y/%m/%d"]),
    st.times(),
    st.sampled_from(["", " %H:%M", " %H:%M:%S", " %H"]),
)
def test_no_date_is_taken_for_a_contact(day, form, at, clock) -> None:
    """With a time of day or without."""
    moment = datetime.combine(day, at, UTC)
    assert personal_in(moment.strftime(form + clock)) is None
    assert personal_in(f"{moment.strftime(form)} - {moment.strftime(form + clock)}") is None


@given(st.text(alphabet="0123456789ABCDEFGHJKMNPQRSTVWXYZ", min_size=8, max_size=8))
def test_no_tag_is_taken_for_a_contact(tag: str) -> None:
    """As printed, and as people write it."""
    assert personal_in(tag) is None
    assert personal_in(f"see {tag[:4]}-{tag[4:]}") is None


@given(st.text(max_size=200))
def test_any_text_is_looked_at(text: str) -> None:
    """Nothing that is typed makes the look fail."""
    personal_in(text)


FIELDS = (
    ("noted", {"position": "chain", "text": "her mail is inge@quay.example"}, "data.text"),
    ("part_fitted", {"position": "chain", "model": "0171 2345678"}, "data.model"),
    ("part_fitted", {"position": "chain", "batch": "+351 912 345 678"}, "data.batch"),
    ("part_fitted", {"position": "chain", "serial": "inge@quay.example"}, "data.serial"),
    (
        "measured",
        {
            "position": "chain",
            "quantity": "elongation",
            "value": {"value": "0.5", "unit": "%"},
            "point": "inge@quay.example",
        },
        "data.point",
    ),
)


@pytest.mark.parametrize(("kind", "data", "field"), FIELDS)
def test_a_contact_in_a_field_of_an_event_warns_and_is_recorded(kind, data, field) -> None:
    """The warning names event, field and what is right; it does not say the contact again."""
    found = [
        one
        for one in problems([BORN], [E("2024-02-02", kind, data)])
        if one.rule == "personal_data"
    ]
    assert [(one.field, one.severity) for one in found] == [(field, "warning")]
    assert kind in found[0].event
    assert "register" in found[0].right
    for told in ("inge@quay", "2345678", "912 345"):
        assert told not in str(found[0])


SHOPS = (
    (
        {"kind": "gauge_registered", "data": {"gauge": "g1", "label": "lent by inge@quay.example",
                                              "quantities": ["elongation"]}},
        "data.label",
    ),
    (
        {"kind": "terms_set", "data": {"from_on": "2026-01-01", "tiers": [
            {"code": "a", "label": "quick check"}, {"code": "b", "label": "call 0171 2345678"}]}},
        "data.tiers[1].label",
    ),
    ({"kind": "job_opened", "bike": "7K3M9QXA", "job": "0171-2345678", "data": {}}, "job"),
    (
        {"kind": "quote_given", "bike": "7K3M9QXA", "job": "J1", "data": {
            "quote": "Q1", "form": "fixed", "currency": "EUR", "lines": [
                {"line": "1", "line_type": "part", "code": "+351 912 345 678", "net_minor": 100}]}},
        "data.lines[0].code",
    ),
    (
        {"kind": "gauge_registered", "data": {
            "gauge": "0171-2345678", "label": "wrench", "quantities": ["torque"]}},
        "data.gauge",
    ),
)  # fmt: skip


@pytest.mark.parametrize(("draft", "field"), SHOPS, ids=[field for _, field in SHOPS])
def test_a_field_that_is_never_sealed_warns_too(draft, field, tmp_path) -> None:
    """Labels of gauges and tiers, codes of jobs, parts and tools: all in the clear for good."""
    book = Book.init(tmp_path / "book", shop="quay", currency="EUR")
    born = {"kind": "bike_registered", "bike": "7K3M9QXA", "data": {}}
    opened = {"kind": "job_opened", "bike": "7K3M9QXA", "job": "J1", "data": {}}
    book.append([{**one, "actor": "m1"} for one in (born, opened)])
    receipt = book.append([{**draft, "actor": "m1"}])
    found = [one.field for one in receipt.warnings if one.rule == "personal_data"]
    assert found == [field]
    assert receipt.events[0].is_new
