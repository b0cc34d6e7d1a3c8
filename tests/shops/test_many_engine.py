"""Relations over several books at once are those of each book put together."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ledger.engines.duckdb import Asked
from ledger.engines.many import ManyEngine
from ledger.engines.tables import position_effects
from ledger.errors import BookDamaged, LedgerError
from ledger.queries import whole_table
from tests.shops.many_books import draft, link, of_shop, shop_book, stored
from tests.strategies import BIKES, WORDS, lives

RELATIONS = (
    "bike_summary", "distance_marks", "fitting_documents", "fitted_parts", "standing_figures",
    "open_faults", "open_advice", "open_jobs", "fault_repeats", "job_facts",
    "quote_lines", "part_distances",
)  # fmt: skip


@settings(max_examples=6, deadline=None, derandomize=True)
@given(
    st.tuples(*[lives(most_events=16)] * 3),
    st.randoms(use_true_random=False),
)
def test_a_relation_over_many_books_is_that_of_each(
    tmp_path_factory: pytest.TempPathFactory, told: Any, chance: Any
) -> None:
    """Each shop as at its own instant, as known to its own seq, with its own joined tags."""
    names = ("north", "pier", "quay")
    events = {
        shop: of_shop(life, shop, at)
        for at, (shop, life) in enumerate(zip(names, told, strict=True))
    }
    own = events["quay"]
    own.append(link("quay", len(own) + 1, own[-1].recorded_at, *(("quay", one) for one in BIKES)))
    folder = tmp_path_factory.mktemp("shops")
    books = {shop: stored(folder, shop, one) for shop, one in events.items()}
    engine = ManyEngine({shop: book.files for shop, book in books.items()})
    effects = {"position_effects": position_effects(WORDS)}
    for _ in range(2):
        asked = {
            shop: Asked(chance.choice(life.instants()), chance.randint(0, len(events[shop])))
            for shop, life in zip(names, told, strict=True)
        }
        aliases = {shop: books[shop].aliases(of.known_seq) for shop, of in asked.items()}
        for relation in chance.sample(RELATIONS, 5):
            every = engine.whole_table(relation, asked, aliases, effects)
            alone = [
                whole_table(books[shop], relation, of.as_at, of.known_seq)
                for shop, of in asked.items()
            ]
            assert every.schema == alone[0].schema
            rows = [row for table in alone for row in table.to_pylist()]
            assert sorted(every.to_pylist(), key=str) == sorted(rows, key=str), relation
    engine.close()


def test_a_file_in_another_shops_place_is_refused(tmp_path: Path) -> None:
    """Its bikes would be those of another shop; a file that is missing is damage."""
    books = {
        shop: shop_book(tmp_path, shop, [draft("2026-01-02", "bike_registered", BIKES[0])])
        for shop in ("pier", "quay")
    }
    asked = {shop: Asked(book.head.recorded_at, 1) for shop, book in books.items()}  # type: ignore[arg-type]  # it has a commit
    swapped = ManyEngine({"pier": books["quay"].files, "quay": books["pier"].files})
    with pytest.raises(LedgerError, match="holds events of the shop"):
        swapped.whole_table("bike_summary", asked, {})
    books["quay"].append([draft("2026-01-03", "bike_registered", BIKES[1])])
    short = ManyEngine({"pier": books["pier"].files, "quay": lambda: books["quay"].files()[1:]})
    with pytest.raises(BookDamaged):
        short.whole_table("bike_summary", asked, {})
