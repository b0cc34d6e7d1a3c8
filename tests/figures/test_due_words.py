"""What is said of a due part, and what is never said."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.figures.calls import DueBike, DuePart, Person, Standing
from ledger.figures.due_words import CAUTION, DueWords, person_words
from ledger.figures.wear import DueDates, WearReading
from ledger.figures.written import made, percent
from ledger.settings import BookSettings

READ_AT = datetime(2026, 3, 3, 12, tzinfo=UTC)
INGE = Person("r1", True, True, "Inge Marsh", "555-0107", None)


def words(locale: str = "en") -> DueWords:
    return DueWords(BookSettings("quay", "Quay Bench", "EUR", "Europe/Lisbon", locale))


def reading(value: float | None = 0.6, low: float | None = None, high: float | None = None) -> Any:
    return WearReading("e1", READ_AT, 3000.0, 0.0, value, low, high, "G1", None)


PART = DuePart(
    part="A", position="chain", place="chain", point=None, quantity="elongation",
    quantity_label="chain wear", make="Quay", model="Nine", unit="%", limit=0.75, direction=1,
    standing="coming", was_past=False, fitted_at=READ_AT, decides_safety=False,
    reading=reading(), count_readings=2, exposure_unit="km", chance_past=0.3, now=None,
    on=DueDates(date(2026, 6, 1), date(2026, 6, 20), date(2026, 9, 1)), beyond=None,
    days_beyond=None,
)  # fmt: skip


def bike(*parts: DuePart, tag: str = "7K3M9QXA") -> DueBike:
    return DueBike(tag, "Tern", "Tern Dory", INGE, INGE, READ_AT, (), parts)


def test_a_date_comes_with_its_interval() -> None:
    """The middle day, and between which days it lies at 80 %."""
    assert words().when(PART) == "Jun 20, 2026 (80 %: Jun 1, 2026 to Sep 1, 2026)"
    late = replace(PART, on=DueDates(date(2026, 6, 1), date(2026, 6, 20), None))
    assert words().when(late).endswith("to more than three years from now)")


def test_dates_and_figures_are_those_of_the_books_locale() -> None:
    """A German book writes its days and decimals as Germans do."""
    said = words("de_DE").told(PART)
    assert "0,6 % on 03.03.2026" in said
    assert "between 01.06.2026 and 01.09.2026" in said


def test_what_was_not_read_for_long_has_no_date() -> None:
    """Since when it was not read, and that they should be asked in."""
    part = replace(PART, standing="unclear")
    assert words().when(part) == "not read since Mar 3, 2026: ask them in for a look"
    assert "2026-0" not in words().told(part) and "Jun" not in words().told(part)


def test_one_reading_alone_is_called_wide() -> None:
    """How sure: the chance, and that a single reading stands behind it."""
    assert words().sure(PART) == "30 % that it is past now"
    first = replace(PART, count_readings=1)
    assert words().sure(first) == "30 % that it is past now; first reading only, wide"


@pytest.mark.parametrize(
    ("read", "said"),
    [(reading(0.6), "0.6 %"), (reading(None, 0.5, 0.75), "0.5 to 0.75 %"),
     (reading(None, 0.75), "over 0.75 %"), (reading(None, None, 0.5), "under 0.5 %"),
     (reading(None, None, 0.0), "under 0 %")],
)  # fmt: skip
def test_a_mark_that_went_in_or_not_is_an_interval(read: Any, said: str) -> None:
    """A go/no-go gauge tells no figure, and none is made up."""
    assert words().reading(replace(PART, reading=read)) == f"{said} on Mar 3, 2026"


def test_one_message_tells_all_bikes_and_what_it_rests_on() -> None:
    """Greeting, shop, each bike with make, model and tag, the reading's day, and an estimate."""
    message = words().message(INGE, [bike(PART), bike(PART, tag="2B4D6F8H")])
    assert message.startswith("Hello Inge Marsh,\nthis is Quay Bench, about your bikes.")
    assert "Tern Dory (7K3M9QXA):" in message and "Tern Dory (2B4D6F8H):" in message
    assert "estimated" in message and "Mar 3, 2026" in message
    assert "between Jun 1, 2026 and Sep 1, 2026" in message


def test_the_caution_stands_where_somebody_may_get_hurt_and_nowhere_else() -> None:
    """Pads and tyres come with it, a chain does not."""
    assert CAUTION not in words().message(INGE, [bike(PART)])
    assert CAUTION in words().message(INGE, [bike(PART, replace(PART, decides_safety=True))])
    assert "maker's figure decides" in CAUTION and "qualified mechanic" in CAUTION


def test_who_did_not_agree_is_an_id_and_no_more() -> None:
    """Neither name nor contact, and why."""
    assert person_words(Person("r1", True, False)) == "r1: no consent to be contacted"
    assert person_words(Person("r1", False, False)).startswith("r1: not in the register")
    assert person_words(INGE) == "Inge Marsh, 555-0107"
    assert person_words(Person(None, False, False)) == "nobody is known"


parts = st.builds(
    lambda standing, chance, count, beyond, hurts, past, value: replace(
        PART, standing=standing, chance_past=chance, count_readings=count, beyond=beyond,
        decides_safety=hurts, was_past=past, reading=reading(value),
    ),
    st.sampled_from(("past", "unclear", "coming")),
    st.none() | st.floats(0, 1),
    st.integers(1, 3),
    st.none() | st.floats(0, 1e5),
    st.booleans(),
    st.booleans(),
    st.floats(0, 10),
)  # fmt: skip


@given(part=parts)
def test_nothing_is_ever_called_safe_and_nobody_is_pressed(part: DuePart) -> None:
    """Whatever is due, and how: none of these words, and no shouting."""
    said = words()
    text = "\n".join(
        [said.message(INGE, [bike(part)]), said.when(part), said.sure(part), said.told(part)]
    ).casefold()
    assert not re.search(r"\bsafe|\bmust\b|urgent|immediately|!|nan\b|\binf\b", text)


def test_a_chance_is_never_rounded_to_certainty() -> None:
    """Nearly nought and nearly one are said as such."""
    assert [percent(each) for each in (0.0, 0.004, 0.5, 0.996, 1.0)] == [
        "0 %", "under 1 %", "50 %", "over 99 %", "100 %",
    ]  # fmt: skip


def test_a_make_is_not_said_twice() -> None:
    """A model that begins with its make is enough."""
    assert [made("Tern", "Tern Dory"), made("Quay", "Nine"), made(None, "Nine"), made("Quay", None),
            made(None, None)] == ["Tern Dory", "Quay Nine", "Nine", "Quay", ""]  # fmt: skip


def test_what_is_past_comes_first_and_what_is_coming_goes_by_date() -> None:
    """The order of parts: by chance, then how long past; coming ones by day."""

    def one(standing: Standing, chance: float, days: float | None, on: date) -> DuePart:
        return replace(PART, standing=standing, chance_past=chance, days_beyond=days,
                       on=DueDates(on, on, on))  # fmt: skip

    june, july = date(2026, 6, 8), date(2026, 7, 6)
    right = [
        one("past", 0.9, 50, june), one("past", 0.9, 10, june), one("past", 0.6, 90, june),
        one("unclear", 0.55, None, june), one("coming", 0.1, None, june),
        one("coming", 0.4, None, july),
    ]  # fmt: skip
    mixed = [right[place] for place in (4, 2, 5, 0, 3, 1)]
    assert sorted(mixed, key=lambda part: part.order) == right
    assert [part.week for part in right[3:]] == [None, june, july]
