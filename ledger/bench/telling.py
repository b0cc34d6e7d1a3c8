"""What the rules find, as sentences for whoever stands at the bench."""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from ledger.errors import Problem, Severity


def sentences(problems: Iterable[Problem], severity: Severity) -> tuple[str, ...]:
    """Give what is refused, or warned of: what is wrong and what would be right, each once."""
    told = (f"{one.wrong}. {one.right}." for one in problems if one.severity == severity)
    return tuple(dict.fromkeys(line[0].upper() + line[1:] for line in told))
