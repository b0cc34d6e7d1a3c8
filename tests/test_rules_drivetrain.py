from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest

from ledger.book import Book
from tests.rule_cases_drivetrain import CASSETTE, teeth
from tests.rule_shorthand import (
    BIKE,
    BORN,
    CHAIN,
    FACTS,
    OPEN,
    E,
    amount,
    found,
    job,
    march,
    part,
    problems,
    recorded,
)

RULE = "new_chain_on_worn_sprockets"
WORN = E("2024-02-02", "measured", teeth("0.95"))
NEW_CHAIN = march("part_fitted", part("chain", "c9"), **job())
NEW_CASSETTE = march("part_fitted", part("cassette", "k2", replaces="k1"), **job())


@pytest.mark.parametrize(
    ("position", "value", "is_warned"),
    [("cassette", "0.89", False), ("chainring.outer", "1.2", True), ("chainring", "1.19", False)],
)
def test_only_teeth_at_or_past_their_limit_count(
    position: str, value: str, is_warned: bool
) -> None:
    """A figure at the limit is past it; one short of it is let pass."""
    history = [BORN, OPEN, E("2024-02-02", "measured", teeth(value, position))]
    assert (RULE in found(history, [NEW_CHAIN])) is is_warned


def test_sprockets_fitted_in_the_same_commit_settle_it_in_either_order() -> None:
    """Whether cassette or chain is written down first, both are new."""
    history = [BORN, OPEN, CASSETTE, WORN]
    assert RULE in found(history, [NEW_CHAIN])
    assert RULE not in found(history, [NEW_CASSETTE, NEW_CHAIN])
    assert RULE not in found(history, [NEW_CHAIN, NEW_CASSETTE])


def test_another_worn_ring_is_not_settled_by_a_new_cassette() -> None:
    """Each worn position is told, unless it is replaced itself."""
    ring = E("2024-02-02", "measured", teeth("1.3", "chainring.outer"))
    (one,) = [
        p
        for p in problems([BORN, OPEN, CASSETTE, WORN, ring], [NEW_CHAIN, NEW_CASSETTE])
        if p.rule == RULE
    ]
    assert "chainring.outer" in one.wrong
    assert one.severity == "warning"


def test_a_chain_found_on_the_bike_is_no_new_chain() -> None:
    """Writing down what came with the bike warns of nothing."""
    there = march("part_fitted", part("chain", "c9", is_found=True))
    assert RULE not in found([BORN, CASSETTE, WORN], [there])


def test_a_chain_put_back_on_is_no_new_chain() -> None:
    """A chain of a rotation has run on these sprockets before."""
    history = [BORN, CASSETTE, CHAIN, E("2024-02-10", "part_removed", part("chain", "c1")), WORN]
    back = march("part_fitted", part("chain", "c1"))
    assert RULE in found(history, [back])
    facts = replace(FACTS, part_events={"c1": recorded(history)[2:4]})
    assert RULE not in found(history, [back], facts)


@pytest.mark.parametrize(("where", "is_warned"), [("j1", True), ("j2", False)])
def test_a_reading_after_the_new_chain_warns_in_the_same_job(where: str, is_warned: bool) -> None:
    """Teeth measured only once the chain is on are told while the bike is still in the stand."""
    other = E("2024-02-20", "job_opened", {}, job("j2"))
    reading = E("2024-03-02", "measured", teeth("0.95"), job(where))
    assert (RULE in found([BORN, OPEN, other, CASSETTE, NEW_CHAIN], [reading])) is is_warned


def test_a_reading_of_the_cassette_that_came_off_warns_of_nothing() -> None:
    """The old sprockets may be measured on the bench after the new ones are on."""
    old = E("2024-03-02", "measured", teeth("0.95", part="k1"), job())
    assert RULE not in found([BORN, OPEN, CASSETTE, NEW_CASSETTE, NEW_CHAIN], [old])


def test_other_wear_warns_of_nothing() -> None:
    """A worn brake pad has nothing to do with the chain."""
    pad = {"position": "rear_brake.pads", "quantity": "thickness", "with_backing_plate": False}
    worn = E("2024-02-02", "measured", {**pad, "value": amount("0.9", "mm")})
    assert RULE not in found([BORN, OPEN, worn], [NEW_CHAIN])


def entry(kind: str, day: int, **data: object) -> dict[str, object]:
    at = f"2024-03-{day:02}T10:00:00Z"
    more = {"job": "j1"} if kind != "bike_registered" else {}
    return {"kind": kind, "bike": BIKE, "actor": "mia", "occurred_at": at, "data": data, **more}


def test_a_book_records_the_new_chain_and_tells_the_warning(tmp_path: Path) -> None:
    """Nothing is refused; the receipt carries the warning, and a new cassette beside it ends it."""
    book = Book.init(
        tmp_path / "book", shop="quay", currency="EUR", time_zone="Europe/Lisbon",
        clock=lambda: datetime(2024, 4, 1, tzinfo=UTC),
    )  # fmt: skip
    book.append([entry("bike_registered", 1), entry("job_opened", 1)])
    book.append([entry("part_fitted", 1, position="cassette", is_found=True)])
    book.append([entry("measured", 2, **teeth("0.95"))])
    chain = entry("part_fitted", 3, position="chain")
    cassette = entry("part_fitted", 3, position="cassette", replaces=_cassette(book))
    assert RULE not in {one.rule for one in book.check([chain, cassette]).warnings}
    receipt = book.append([chain])
    assert RULE in {one.rule for one in receipt.warnings}
    assert book.head.size == 5


def _cassette(book: Book) -> str:
    from ledger.queries import bike_view

    return next(part.part for part in bike_view(book, BIKE).fitted if part.position == "cassette")
