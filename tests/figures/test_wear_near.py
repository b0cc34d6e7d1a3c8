"""What may be due soon is picked from all parts without working all of them out."""

from __future__ import annotations

from datetime import timedelta

import pytest
from due_books import NOW, book_of, km, ridden

from ledger.figures.due_parts import LIKELY, was_past
from ledger.figures.wear import BookWear, PartWear, wear_of

TAGS = ("7K3M9QXA", "2B4D6F8H", "4T2N8RWE", "5W7X9Y2Z", "6A8C4E2G", "8H6J4K2M")
READ = ("0.1", "0.3", "0.45", "0.6", "0.75", "1.2")


@pytest.fixture(scope="module")
def wear(tmp_path_factory: pytest.TempPathFactory) -> BookWear:
    """Six bikes whose chains were read well within their limit of 0.75 % up to well past it."""
    entries = [one for tag, read in zip(TAGS, READ, strict=True) for one in ridden(tag, read)]
    book = book_of(tmp_path_factory.mktemp("six"), *entries, km("2026-05-31", TAGS[0], 4000))
    return wear_of(book, NOW)


def is_near(part: PartWear, wear: BookWear, days: int) -> bool:
    """Say by the whole part whether it is past its limit, or reaches it within the days."""
    chance, on = part.chance_past, part.due_on
    is_soon = on and on.middle and on.middle <= wear.today + timedelta(days=days)
    return was_past(part) or chance is None or chance >= LIKELY or bool(is_soon)


@pytest.mark.parametrize("days", [0, 1, 28, 200, 400, 1095])
def test_what_is_near_is_what_the_whole_parts_say(wear: BookWear, days: int) -> None:
    """The same parts as those of all that are past it or reach it by then, with the same dates."""
    found = {part.series: part for part in wear.near(days, LIKELY)}
    expected = {part.series: part for part in wear.parts if is_near(part, wear, days)}
    assert found.keys() == expected.keys()
    for series, part in found.items():
        whole = expected[series]
        assert (part.due_on, part.readings) == (whole.due_on, whole.readings)
        assert part.chance_past == pytest.approx(whole.chance_past, abs=1e-12)


def test_the_longer_one_looks_ahead_the_more_is_near(wear: BookWear) -> None:
    """Few of the six now, and more within three years."""
    counts = [len(list(wear.near(days, LIKELY))) for days in (0, 200, 1095)]
    assert counts == sorted(counts) and 0 < counts[0] < counts[2]
