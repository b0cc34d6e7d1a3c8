"""What a rider is given about themselves: all of it, and nothing of anybody else."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ledger.book import Book
from ledger.exchange.rider import SOMEBODY, THEIR_WORDS, export_rider
from ledger.riders import Rider
from ledger.unsent import FormKey, Unsent

TAG, OTHER = "7K3M9QXA", "2B4D6F8H"
NOW = datetime(2026, 3, 2, 10, 0, tzinfo=UTC)
PEOPLE = ("r-a", "r-b", None)


def of(kind: str, bike: str | None = TAG, /, **data) -> dict:
    told = {"kind": kind, "actor": "m1", "data": data}
    return told if bike is None else told | {"bike": bike}


def new_book(path: Path) -> Book:
    book = Book.init(path, shop="quay", clock=lambda: NOW)
    book.riders.add([Rider("r-a", "Ada Reed", "555-0101"), Rider("r-b", "Bram Next", "555-0102")])
    return book


steps = st.lists(
    st.one_of(
        st.tuples(st.just("rider"), st.sampled_from(PEOPLE), st.sampled_from(PEOPLE)),
        st.just(("note",)),
    ),
    max_size=8,
)


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(steps)
def test_each_word_is_given_to_whom_it_was_about_and_to_nobody_else(
    tmp_path_factory: pytest.TempPathFactory, walked: list[tuple]
) -> None:
    """Over random changes of rider and keeper: a note is the rider's; with none, the keeper's."""
    book = new_book(tmp_path_factory.mktemp("walk") / "book")
    drafts, said, rider, keeper = [of("bike_registered")], [], None, None
    was_named = False
    for place, step in enumerate(walked):
        if step[0] == "rider":
            rider, keeper = step[1], step[2] or step[1]
            was_named = True
            people = {"rider": rider, "keeper": keeper}
            drafts.append(of("rider_changed", **{k: v for k, v in people.items() if v}))
        elif was_named:
            said.append((f"words {place} of it", rider or keeper))
            drafts.append(of("noted", position="chain", text=said[-1][0]))
    book.append(drafts)
    for person in ("r-a", "r-b"):
        text = json.dumps(export_rider(book, person, now=NOW).document)
        for words, whose in said:
            assert (words in text) == (whose == person)
        other = {"r-a": "r-b", "r-b": "r-a"}[person]
        assert f'"{other}"' not in text and "555-0101" not in text.replace(
            book.riders.get(person).phone, ""
        )


def test_words_about_somebody_else_are_said_to_be_that(tmp_path: Path) -> None:
    """Where a rider keeps a bike that somebody else rides, or is named on theirs."""
    book = new_book(tmp_path / "book")
    book.append(
        [
            of("bike_registered"),
            of("rider_changed", rider="r-b", keeper="r-a"),
            of("noted", position="chain", text="Bram stands on the pedals"),
        ]
    )
    found = export_rider(book, "r-a", now=NOW).document
    assert found["events"][-1]["data"]["text"] == THEIR_WORDS
    assert found["events"][-2]["data"]["rider"] == SOMEBODY
    assert found["bikes"] == [
        {
            "bike": TAG,
            "times": [{"as": ["keeper", "payer"], "since": found["bikes"][0]["times"][0]["since"],
                       "until": None}],
        }
    ]  # fmt: skip


def test_struck_events_and_half_typed_forms_are_given(tmp_path: Path) -> None:
    """A struck note says so; a form under another rider's key is not given, whoever it names."""
    book = new_book(tmp_path / "book")
    book.append(
        [of("bike_registered"), of("rider_changed", rider="r-a"), of("bike_registered", OTHER)]
    )
    book.append([of("noted", position="chain", text="wrong bike")])
    event = book.bike_events(TAG)[-1]
    book.strike(event.id, "mixed up", "m1")
    unsent = Unsent(book.path / "private.sqlite", book.keys)
    unsent.put(FormKey("m1", TAG, "", "note"), {"text": "half"}, "r-a")
    unsent.put(FormKey("m1", OTHER, "", "note"), {"text": "Ada Reed said of Bram"}, "r-b")
    found = export_rider(book, "r-a", now=NOW).document
    (struck,) = [one for one in found["events"] if one["is_struck"]]
    assert struck["data"]["text"] == "wrong bike"
    assert [one["values"] for one in found["half_typed"]] == [{"text": "half"}]


def test_joined_tags_are_one_bike_of_theirs(tmp_path: Path) -> None:
    """What was written under the other tag is theirs too."""
    book = new_book(tmp_path / "book")
    book.append([of("bike_registered"), of("rider_changed", rider="r-a")])
    book.append([of("bike_registered", OTHER)])
    book.append([of("noted", OTHER, position="chain", text="under the other tag")])
    book.append([of("bike_linked", None, first={"bike": TAG}, second={"bike": OTHER})])
    found = export_rider(book, "r-a", now=NOW).document
    assert {one["bike"] for one in found["bikes"]} == {TAG, OTHER}
    assert "under the other tag" in json.dumps(found)
