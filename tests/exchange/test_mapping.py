from __future__ import annotations

import pytest

from ledger.errors import Refused, UnreadableInput
from ledger.exchange import mapping
from ledger.exchange.mapping import parse_mapping
from ledger.exchange.words import standard_position

START = """
[when]
column = "Date"
[bike]
tag = "Tag"
[actor]
value = "mia"
"""
READING = """
[[event]]
kind = "distance_read"
[event.fields]
odometer = { column = "km", unit = "km" }
"""


def said(text: str) -> str:
    with pytest.raises(Refused) as refused:
        parse_mapping(text, "log.toml")
    return str(refused.value)


def test_the_example_in_the_documentation_is_a_mapping() -> None:
    """The mapping that the module shows is read without a problem."""
    assert mapping.__doc__ is not None
    shown = mapping.__doc__.split("::\n", 1)[1].split("\nA field is", 1)[0]
    text = "\n".join(line.removeprefix("    ") for line in shown.splitlines())
    found = parse_mapping(text)
    assert [rule.kind for rule in found.event] == ["distance_read", "treated", "part_fitted"]
    assert found.bike.key == ("Marke", "Kunde")


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (START, "event: is missing"),
        (
            START + READING.replace("distance_read", "distance_raed"),
            "event 1: kind: 'distance_raed' is not a kind of event a row can give. "
            "Did you mean 'distance_read'?",
        ),
        (
            START + READING.replace("odometer", "odometr"),
            "event 1 (distance_read): odometr: is not a field of this kind. "
            "Did you mean 'odometer'?",
        ),
        (
            START + READING.replace("[event.f", "needz = ['km']\n[event.f"),
            "event.1.needz: is not known here. Did you mean 'needs'?",
        ),
        (
            START + READING + "needs = ['km']",
            "event.1.fields.needs: is not a column's name or a table",
        ),
        (START.replace("column", "colum") + READING, "when.colum: is not known here"),
        (START.replace("tag =", "key = []\nmake =") + READING, "bike"),
        (START + "[numbers]\ndecimal = ','\nthousands = ','\n" + READING, "the same sign"),
        (
            START + READING.replace('column = "km"', 'column = "km", value = "1"'),
            "needs either a column or a value",
        ),
        (
            START.replace('"Date"', '"Date"\nformats = ["%d/%m/%Y", "%m/%d/%Y"]') + READING,
            "read the same text as two days; keep the right one",
        ),
        (
            START.replace('"Date"', '"Date"\nformats = ["%d.%m."]') + READING,
            "'%d.%m.' has no year; write one such as %d.%m.%Y",
        ),
        (
            START.replace('"Date"', '"Date"\nformats = ["%d.%m.%Q"]') + READING,
            "'%d.%m.%Q' is not a form of dates",
        ),
        (
            START.replace('"Date"', '"Date"\nformats = ["%d.%d.%Y"]') + READING,
            "'%d.%d.%Y' has a part twice",
        ),
        (
            START + '[[event]]\nkind = "treated"\n[event.fields]\n'
            'position = { column = "Work", find = "position" }\n',
            "there is no list 'position'. Did you mean 'positions'?",
        ),
        (
            START + '[[event]]\nkind = "treated"\n[event.fields]\n'
            'position = { column = "Work", unit = "mm" }\n',
            "position: is no figure with a unit",
        ),
    ],
)
def test_mistakes_are_named_with_what_is_near(text: str, expected: str) -> None:
    """A mistake in a mapping is named by its place, with the nearest words there are."""
    assert expected in said(text)


def test_what_is_no_toml_is_refused() -> None:
    """A mapping that is no TOML is refused as a whole."""
    with pytest.raises(UnreadableInput, match=r"log\.toml is not TOML"):
        parse_mapping("[when\n", "log.toml")


@pytest.mark.parametrize(
    ("text", "position"),
    [
        ("KMK 11s chain", "chain"),
        ("Kettenblätter 42 T", "chainring"),
        ("Kette", "chain"),
        ("rear brake pads, organic", "rear_brake.pads"),
        ("Bremsbeläge hinten", "rear_brake.pads"),
        ("Hinterradbremse", "rear_brake"),
        ("achterlicht", "rear_light"),
        ("plaquettes arrière", "rear_brake.pads"),
        ("pneu avant", "front_wheel.tyre"),
        ("binnenband voor", "front_wheel.tube"),
    ],
)
def test_free_text_names_parts_in_four_languages(text: str, position: str) -> None:
    """The longest word that names a part tells the position, with the side where one is needed."""
    assert standard_position(text) == position


def test_every_word_for_a_part_is_a_position_of_the_vocabulary() -> None:
    """Each position that free text can be read as is one that the vocabulary has."""
    from ledger.exchange.words import _standard
    from ledger.vocabulary import standard

    words, sided, _ = _standard()
    for position in set(words._values.values()):
        names = [f"{s}_{position}" for s in ("front", "rear")] if position in sided else [position]
        assert set(names) <= set(standard().positions)
