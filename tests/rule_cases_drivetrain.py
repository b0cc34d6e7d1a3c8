"""What the rule about a new chain on worn sprockets warns of and lets pass."""

from __future__ import annotations

from typing import Any

from tests.rule_cases_bike import Case
from tests.rule_shorthand import BORN, E, amount, march, part

CASSETTE = E("2024-02-01", "part_fitted", part("cassette", "k1", is_found=True))


def teeth(value: str, at: str = "cassette", **more: Any) -> dict[str, Any]:
    """A sprocket reading in short; the limit of a cassette is 0.9 mm, of a ring 1.2 mm."""
    return {"position": at, "quantity": "tooth_wear", "value": amount(value, "mm"), **more}


CASES: dict[str, Case] = {
    "new_chain_on_worn_sprockets": Case(
        [BORN, CASSETTE, E("2024-02-02", "measured", teeth("0.9", point="19T"))],
        march("part_fitted", part("chain", "c9")),
        march("part_fitted", part("chain", "c9", origin="second hand")),
        "data.position",
        "a new chain on cassette (19T) past its limit will skip under load",
    ),
}
