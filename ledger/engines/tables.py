"""The small tables the relations need beside the events."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from functools import lru_cache

import pyarrow as pa

from ledger.sql.given import EFFECTS
from ledger.vocabulary import Vocabulary

_ALIASES = pa.schema([("bike", pa.string()), ("bike_as", pa.string())])


def _effects(positions: Iterable[str], words: Vocabulary) -> Iterator[tuple[str, str, str]]:
    everywhere = frozenset(positions) | frozenset(words.positions)
    for reached in sorted(everywhere):
        steps = reached.split(".")
        for count in range(1, len(steps) + 1):
            yield ".".join(steps[:count]), reached, "within"
    for position in sorted(everywhere):
        for outer in sorted(words.torque_voided_by(position)):
            yield position, outer, "hidden by"


@lru_cache(maxsize=32)
def position_effects(words: Vocabulary, positions: frozenset[str] = frozenset()) -> pa.Table:
    """Give what work at a position reaches: (position, reached, effect).

    The effect is "within" for itself and what lies under it, and "hidden by" for a position
    whose torque such work voids because it hides this one. `positions` are any that events
    name beside those of the vocabulary.
    """
    rows = list(_effects(positions, words))
    return pa.table([pa.array(column) for column in zip(*rows, strict=True)], schema=EFFECTS)


def bike_alias(aliases: Mapping[str, frozenset[str]]) -> pa.Table:
    """Give, for each joined tag, the tag its bike goes by among all bikes: the first of them."""
    rows = sorted((tag, min(tags)) for tag, tags in aliases.items())
    return pa.table(
        [pa.array([row[place] for row in rows], pa.string()) for place in (0, 1)], schema=_ALIASES
    )
