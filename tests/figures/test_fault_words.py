"""Sentences about faults that come back."""

from __future__ import annotations

from pathlib import Path

import pytest

from ledger.book import Book
from ledger.figures.come_backs import WindowAsked
from ledger.figures.fault_shapes import FaultCounts, Unpaid
from ledger.figures.fault_words import FaultWords
from ledger.vocabulary import standard

ONE = FaultCounts(count_found=2, count_put_right=2, count_did_not_hold=1, count_come_back=1)


@pytest.fixture
def say(tmp_path: Path) -> FaultWords:
    """An empty book's words."""
    return FaultWords(Book.init(tmp_path / "book", shop="quay").settings, standard())


def test_what_came_back_in_no_job_is_not_said_to_be_in_none(say: FaultWords) -> None:
    """Found again by somebody outside of any job: that is said, not that it was in 0 jobs."""
    start = "Of 2 faults put right, 1 came back, "
    assert say.front(ONE, Unpaid(), 0).startswith(f"{start}found outside any job: 0 minutes")
    assert say.front(ONE, Unpaid(), 1).startswith(f"{start}in 1 job: 0 minutes")


@pytest.mark.parametrize(
    ("asked", "said"),
    [
        (WindowAsked(30, 500), "within 30 days or 500 km, whichever ends later, as asked for"),
        (WindowAsked(30), "within 30 days or its fault's own km, whichever ends later"),
        (WindowAsked(None, 500), "within its fault's own days or 500 km, whichever ends later"),
    ],
)
def test_an_end_of_the_window_that_nobody_asked_for_is_said_to_be_the_faults_own(
    say: FaultWords, asked: WindowAsked, said: str
) -> None:
    """Both ends are told, whoever set them."""
    assert said in say.windows(asked)


def test_where_nothing_was_followed_no_share_of_it_is_told(say: FaultWords) -> None:
    """All repairs too recent: said in words, and not as 0 % of 0."""
    recent = FaultCounts(count_found=2, count_put_right=2, count_immature=2)
    said = " ".join(say.how_sure(recent))
    assert "none was followed to the end of its window" in said
    assert "of the 0 " not in said
