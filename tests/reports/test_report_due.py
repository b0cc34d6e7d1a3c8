"""When the next thing is due, on the rider's page."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from visit_book import NOW, TAG, amount, draft, new_book, visited

from ledger.book import Book
from ledger.figures.bike_wear import bike_wear
from ledger.figures.wear import wear_of
from ledger.reports import report_of
from ledger.reports.due import READ_PAST, TOO_FEW, wear_of_bike

SEED = 20260402
FLEET = [f"{number:04d}AAAA" for number in range(12)]


@pytest.fixture
def worn(tmp_path: Path) -> Book:
    """The bike with chain and pads, and a small fleet with chains, pads and rotors."""
    book = new_book(tmp_path / "book")
    chance = random.Random(SEED)
    drafts = []
    for tag in (TAG, *FLEET):
        if tag != TAG:
            at = "2026-01-05 09:00"
            drafts.append({**draft("bike_registered", at, {"speeds": 11}, None), "bike": tag})
        drafts += [{**each, "bike": tag} for each in _life(chance, has_rotor=tag != TAG)]
    book.append(drafts)
    return visited(book)


def _life(chance: random.Random, *, has_rotor: bool) -> list[dict]:
    """Give parts fitted in January and read three times, each wearing at a rate of its own."""
    places = {
        "chain": ("elongation", 0.0, 0.1, "%"),
        "rear_brake.pads": ("thickness", 3.5, -0.4, "mm"),
    }
    if has_rotor:
        places["rear_brake.rotor"] = ("thickness", 1.85, -0.05, "mm")
    drafts = [draft("distance_read", "2026-01-05 10:00", {"odometer": amount("100 km")}, None)]
    drafts += [
        draft("part_fitted", "2026-01-05 10:00", {"position": place}, None) for place in places
    ]
    rates = {place: figure[2] * chance.uniform(0.7, 1.4) for place, figure in places.items()}
    for visit, day in enumerate(("2026-01-25", "2026-02-10", "2026-02-25"), start=1):
        read = {"odometer": amount(f"{100 + 450 * visit} km")}
        drafts.append(draft("distance_read", f"{day} 10:00", read, None))
        for place, (quantity, new, _, unit) in places.items():
            value = new + rates[place] * 0.45 * visit
            data = {"position": place, "quantity": quantity, "value": amount(f"{value:.3f} {unit}")}
            drafts.append(draft("measured", f"{day} 10:10", data, None))
    return drafts


def test_only_what_wears_alike_is_fitted_and_every_figure_is_the_same(worn: Book) -> None:
    """Leaving out the fleet's rotors changes no figure of a bike that has none."""
    whole = wear_of(worn, NOW)
    alike = wear_of(worn, NOW, bikes={TAG})
    assert {part.quantity + part.position for part in whole.parts} > {
        part.quantity + part.position for part in alike.parts
    }
    ours = [part for part in whole.parts if part.bike == TAG]
    for few, all_of_them in zip(alike.on_bikes({TAG}), ours, strict=True):
        assert few.due_on == all_of_them.due_on
        for (name, one), (_, other) in zip(_flat(few), _flat(all_of_them), strict=True):
            # sums over fewer rows may differ in their last bits, and in nothing else
            is_figure = isinstance(one, float) and isinstance(other, float)
            assert one == (pytest.approx(other, rel=1e-9) if is_figure else other), name
    assert [part.due_on for part in wear_of_bike(worn, TAG, NOW, None).parts] == [
        part.due_on for part in bike_wear(worn, TAG, NOW, wear=whole).parts
    ]


def _flat(value: object, name: str = "") -> Iterator[tuple[str, object]]:
    """Give every plain value inside, with the name it has there."""
    if is_dataclass(value):
        for field in fields(value):
            yield from _flat(getattr(value, field.name), f"{name}.{field.name}")
    elif isinstance(value, tuple):
        for each in value:
            yield from _flat(each, name)
    else:
        yield name, value


def test_the_days_are_those_of_the_figures(worn: Book) -> None:
    """Each part has the day of even odds and the 80 % range that `wear` gives for it."""
    figures = {part.position: part for part in wear_of(worn, NOW).on_bikes({TAG})}
    rows = {row.what: row for row in report_of(worn, TAG, None, NOW).due}
    assert rows.keys() == {"Chain wear", "Rear brake pads, thickness"}
    on = figures["chain"].due_on
    assert on and on.early and on.middle and on.late
    said = rows["Chain wear"]
    assert said.when == f"{on.middle.day} {on.middle:%b %Y}"
    assert said.between == f"{on.early.day} {on.early:%b %Y} to {on.late.day} {on.late:%b %Y}"
    days = [figures[place].due_on.middle for place in ("chain", "rear_brake.pads")]
    first = "Chain wear" if days[0] <= days[1] else "Rear brake pads, thickness"
    assert next(iter(rows)) == first


def test_what_was_read_past_its_limit_is_due_now(worn: Book) -> None:
    """No day in months to come, nor a chance, beside a reading that is past its limit."""
    worn.append([
        draft("job_opened", "2026-03-20 09:00", {}, "J-2"),
        draft("measured", "2026-03-20 10:00", {
            "position": "chain", "quantity": "elongation", "low": amount("0.5 %"),
        }, "J-2"),
        draft("measured", "2026-03-20 10:05", {
            "position": "rear_brake.pads", "quantity": "thickness", "value": amount("0.45 mm"),
        }, "J-2"),
    ])  # fmt: skip
    found = report_of(worn, TAG, None, NOW)
    assert {row.verdict for row in found.measured} == {"due", "unsafe"}
    assert [(row.when, row.between) for row in found.due] == [(READ_PAST, ""), (READ_PAST, "")]


def test_a_part_without_readings_is_said_to_have_none(worn: Book) -> None:
    """A new tyre has no forecast, and the page says there is nothing to say it from."""
    tyre = draft("part_fitted", "2026-03-20 10:00", {"position": "rear_wheel.tyre"}, "J-2")
    worn.append([draft("job_opened", "2026-03-20 09:00", {}, "J-2"), tyre])
    assert report_of(worn, TAG, None, NOW).unread == ("rear tyre",)


def test_one_reading_with_nothing_to_lean_on_is_not_enough(book: Book) -> None:
    """A part nobody knows the start of, read once, in an empty fleet, gets no day."""
    at = datetime(2026, 3, 1, 10, 0, tzinfo=UTC)
    found = {"position": "rear_brake.pads", "is_found": True}
    book.append([
        draft("part_fitted", f"{at - timedelta(hours=1):%Y-%m-%d %H:%M}", found, None),
        draft("measured", f"{at:%Y-%m-%d %H:%M}", {
            "position": "rear_brake.pads", "quantity": "thickness", "value": amount("2.1 mm"),
        }, None),
    ])  # fmt: skip
    (row,) = report_of(visited(book), TAG, None, NOW).due
    assert (row.when, row.between) == (TOO_FEW, "")
