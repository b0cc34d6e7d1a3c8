"""A bike that visits several shops has one state and one history."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.asking import OWNER
from ledger.engines.duckdb import Asked
from ledger.errors import UnknownBike, WrongUse
from ledger.queries import bike_view, timeline
from ledger.shops.joined import joined_in
from ledger.shops.looking import bike_named, history_over, view_over, words_over
from tests.shops.many_books import (
    draft,
    link,
    of_shop,
    plain_fold,
    plain_groups,
    shop_book,
    shops_of,
    stored,
)
from tests.strategies import BIKES, Life, lives

GULL, TERN = BIKES
AT_QUAY, AT_PIER = ("quay", GULL), ("pier", TERN)


def one_link(first: tuple[str, str], second: tuple[str, str], day: str = "2026-03-01") -> Any:
    """An entry that joins two bikes."""
    ends = [{"shop": shop, "bike": bike} for shop, bike in (first, second)]
    return draft(day, "bike_linked", first=ends[0], second=ends[1])


@settings(max_examples=12, deadline=None, derandomize=True)
@given(
    st.tuples(lives(most_events=16), lives(most_events=16), lives(most_events=12)),
    st.lists(st.tuples(*[st.integers(0, 5)] * 3), min_size=1, max_size=4),
    st.randoms(use_true_random=False),
)
def test_the_fold_over_books_is_the_plain_fold_over_their_events(
    tmp_path_factory: pytest.TempPathFactory,
    told: tuple[Life, Life, Life],
    links: list[tuple[int, int, int]],
    chance: Any,
) -> None:
    """At dates and known seqs by chance, whatever is linked in whichever of the books."""
    names = ("north", "pier", "quay")
    bikes = [(shop, bike) for shop in names for bike in BIKES]
    events = {
        shop: of_shop(life, shop, at)
        for at, (shop, life) in enumerate(zip(names, told, strict=True))
    }
    for first, second, where in links:
        if first != second:
            own = events[names[where % 3]]
            at = own[-1].recorded_at
            own.append(link(names[where % 3], len(own) + 1, at, bikes[first], bikes[second]))
    folder = tmp_path_factory.mktemp("shops")
    shops = shops_of(stored(folder, shop, own) for shop, own in events.items())
    for _ in range(4):
        at = chance.choice(told[chance.randint(0, 2)].instants())
        known = {shop: chance.randint(0, len(own)) for shop, own in events.items()}
        asked = {shop: Asked(at, seq) for shop, seq in known.items()}
        joined = joined_in(shops, asked)
        seen = [e for shop, own in events.items() for e in own if e.seq <= known[shop]]
        groups = plain_groups(seen)
        assert dict(joined.groups) == groups
        words = words_over(shops, asked)
        for bike in bikes:
            found = view_over(shops, joined, asked, bike)
            group = groups.get(bike, frozenset({bike}))
            if len({shop for shop, _ in group}) > 1:
                expected = plain_fold(events, group, bike, at, known, words)
                assert replace(found.view, as_known=10**9) == expected
                assert found.known == {shop: known[shop] for shop, _ in group}
            elif joined.is_of_one_book(bike, asked):
                assert found.view == bike_view(shops.books[bike[0]], bike[1], at, known[bike[0]])


@settings(max_examples=8, deadline=None, derandomize=True)
@given(lives(most_events=20), lives(most_events=20))
def test_one_history_holds_every_entry_of_either_book_in_order(
    tmp_path_factory: pytest.TempPathFactory, one: Life, other: Life
) -> None:
    """By when it occurred, ties by shop and seq; each entry as its own book tells it."""
    quay, pier = of_shop(one, "quay", 1), of_shop(other, "pier", 2)
    quay.append(link("quay", len(quay) + 1, quay[-1].recorded_at, AT_QUAY, AT_PIER))
    folder = tmp_path_factory.mktemp("shops")
    shops = shops_of([stored(folder, "quay", quay), stored(folder, "pier", pier)])
    asked = shops.asked(None, None)
    found = history_over(shops, joined_in(shops, asked), asked, AT_QUAY, asker=OWNER)
    entries = [
        (entry.occurred_at, shop, entry.seq, entry)
        for shop, bike in (AT_QUAY, AT_PIER)
        for entry in timeline(shops.books[shop], bike, asker=OWNER)
    ]
    entries.sort(key=lambda row: row[:3])
    assert [(row.shop, row.entry) for row in found] == [(shop, one) for _, shop, _, one in entries]
    assert {row.shop for row in found} == {"quay", "pier"}


def two_shops(folder: Path, *, is_linked: bool) -> Any:
    """Two shops that know one tag each, and one that both have."""
    chain = {"position": "chain", "model": "Keel 9"}
    quay = shop_book(folder, "quay", [
        draft("2026-01-02", "bike_registered", GULL, make="Tidemark"),
        draft("2026-01-02", "job_opened", GULL, job="J1"),
        draft("2026-01-02", "part_fitted", GULL, job="J1", part="c1", **chain),
    ])  # fmt: skip
    pier = shop_book(folder, "pier", [
        draft("2026-02-02", "bike_registered", TERN),
        draft("2026-02-02", "job_opened", TERN, job="J1"),
        draft("2026-02-03", "job_closed", TERN, job="J1"),
        draft("2026-01-05", "bike_registered", GULL),
    ])  # fmt: skip
    if is_linked:
        pier.append([one_link(AT_QUAY, AT_PIER)])
    return shops_of([quay, pier])


def test_what_two_shops_call_by_one_name_stays_two_things(tmp_path: Path) -> None:
    """The job J1 of one shop is open though the other shop closed its own J1."""
    shops = two_shops(tmp_path, is_linked=True)
    asked = shops.asked(None, None)
    found = view_over(shops, joined_in(shops, asked), asked, AT_PIER)
    assert [job.job for job in found.view.jobs_open] == ["quay/J1"]
    assert [part.part for part in found.view.fitted] == ["quay/c1"]
    assert found.bikes == (AT_PIER, AT_QUAY)
    assert found.view.bike == TERN


def test_a_link_counts_as_known_then(tmp_path: Path) -> None:
    """As known before it was recorded the bikes are two."""
    shops = two_shops(tmp_path, is_linked=True)
    now = shops.asked(None, None)
    before = {**now, "pier": Asked(now["pier"].as_at, now["pier"].known_seq - 1)}
    assert joined_in(shops, now).of(AT_QUAY) == {AT_QUAY, AT_PIER}
    assert joined_in(shops, before).of(AT_QUAY) == {AT_QUAY}


def test_a_tag_of_two_bikes_has_to_be_told_with_its_shop(tmp_path: Path) -> None:
    """Unlinked it is refused with both ways to say it; the shop tells which."""
    shops = two_shops(tmp_path, is_linked=False)
    joined = joined_in(shops, shops.asked(None, None))
    with pytest.raises(WrongUse, match=f"pier/{GULL} or quay/{GULL}"):
        bike_named(shops, joined, GULL)
    assert bike_named(shops, joined, f"quay/{GULL.lower()}") == AT_QUAY
    assert bike_named(shops, joined, TERN) == AT_PIER
    with pytest.raises(UnknownBike, match=f"Did you mean .*{TERN}"):
        bike_named(shops, joined, TERN[:-1] + "Z")
    with pytest.raises(UnknownBike, match="Did you mean quay"):
        bike_named(shops, joined, f"quai/{GULL}")


def test_a_tag_of_linked_bikes_is_one(tmp_path: Path) -> None:
    """Nothing is ambiguous where both bikes of that tag are joined."""
    quay = shop_book(tmp_path, "quay", [draft("2026-01-02", "bike_registered", GULL)])
    pier = shop_book(tmp_path, "pier", [draft("2026-01-02", "bike_registered", GULL)])
    quay.append([one_link(("quay", GULL), ("pier", GULL))])
    shops = shops_of([quay, pier])
    joined = joined_in(shops, shops.asked(None, None))
    assert joined.of(bike_named(shops, joined, GULL)) == {("quay", GULL), ("pier", GULL)}


def test_as_known_over_books_takes_no_seq(tmp_path: Path) -> None:
    """A seq is one book's own; a date is every book's."""
    shops = two_shops(tmp_path, is_linked=False)
    with pytest.raises(WrongUse, match="one book's own"):
        shops.asked(None, "3")
    assert {of.known_seq for of in shops.asked(None, "2026-05-01").values()} == {0}
