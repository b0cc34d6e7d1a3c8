"""What to do about a worn chain, in one line on the bike's page."""

from __future__ import annotations

import html
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from app_page import Opener, shown
from small_book import amount, empty_book, event, shop_events

TAG = "7K3M9QXA"
DAY = "2025-06-30"


def line(number: int, position: str, net: int) -> dict[str, Any]:
    """Give a part charged on a bill."""
    return {
        "line": str(number), "line_type": "part", "code": position, "position": position,
        "net_minor": net,
    }  # fmt: skip


def drivetrain() -> Iterator[dict]:
    """Give a bike of ten speeds with a new chain at 40.00 and cassette at 70.00."""
    at = "2024-05-02T09:0{}:00+02:00"
    yield event("bike_registered", at.format(0), TAG, speeds=10)
    yield event("distance_read", at.format(1), TAG, odometer=amount("0 km"))
    yield event("job_opened", at.format(2), TAG, job="j1")
    for place in ("chain", "cassette"):
        yield event("part_fitted", at.format(3), TAG, job="j1", position=place, origin="shop")
    lines = [line(1, "chain", 4000), line(2, "cassette", 7000)]
    yield event("job_closed", at.format(4), TAG, job="j1", currency="EUR", lines=lines)


def read(wear: str) -> Iterator[dict]:
    """Give a visit a year later, at 4,000 km: chain wear, and 0.2 mm on one sprocket."""
    at = "2025-05-02T09:0{}:00+02:00"
    chain = {"position": "chain", "quantity": "elongation", "value": amount(wear)}
    tooth = {"position": "cassette", "quantity": "tooth_wear", "value": amount("0.2 mm")}
    yield event("distance_read", at.format(1), TAG, odometer=amount("4000 km"))
    yield event("measured", at.format(2), TAG, **chain)
    yield event("measured", at.format(3), TAG, point="19T", **tooth)


def bench(page: str) -> str | None:
    """Give the words of the line, None where there is none."""
    found = re.search(r'<section class="lk-bench".*?</section>', page, re.S)
    return found and re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", found[0]))).strip()


def made(path: Path, wear: str) -> Path:
    """Make the book of one bike whose chain was read at a figure."""
    book = empty_book(path / "book")
    # The bill is of before anything had to be quoted.
    book.append([*shop_events(), *drivetrain(), *read(wear)], is_brought_in=True)
    return book.path


def test_a_worn_chain_has_its_choice_priced_by_the_answer(tmp_path: Path, opened: Opener) -> None:
    """The three ways at this shop's prices, and what they assume behind them; never a safe one."""
    page = shown(opened(made(tmp_path, "0.7 %"), tag=TAG, as_at=DAY))
    said = bench(page)
    assert said is not None
    assert said.startswith("Worn chain: chain only €40.00 now, ")
    assert "chain and sprockets €110.00 now; run it out €110.00 later, chance of skipping" in said
    assert "What this assumes Assumes the chain as read on 2 May 2025" in said
    assert "a qualified mechanic decides" in said and "safe" not in said


@pytest.mark.parametrize(("wear", "day"), [("0.1 %", DAY), ("0.7 %", "2025-01-31")])
def test_where_the_chain_is_not_worn_nothing_is_asked(
    tmp_path: Path, opened: Opener, wear: str, day: str
) -> None:
    """A chain well within its limit, or as at a day before it was read, has no such line."""
    assert bench(shown(opened(made(tmp_path, wear), tag=TAG, as_at=day))) is None
