"""What `margin --what-if` means: `full_service:price=+5%,minutes=-10%`, tier by tier."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from ledger.cli.labour_options import key_asked
from ledger.errors import WrongUse

RIGHT = "write it as full_service:price=+5%,minutes=-10%"
_PERCENT = re.compile(r"([+-]?\d{1,4}(?:[.,]\d{1,6})?)\s*%")


@dataclass(frozen=True, slots=True)
class Changes:
    """Shares by which prices and minutes of tiers would be other: 0.05 is 5 % more."""

    prices: dict[str | None, float] = field(default_factory=dict)
    minutes: dict[str | None, float] = field(default_factory=dict)

    @property
    def tiers(self) -> list[str | None]:
        """The tiers of which anything would be other."""
        return list(dict.fromkeys((*self.prices, *self.minutes)))


def changes_asked(texts: Sequence[str]) -> Changes:
    """Give the changes asked for; raises WrongUse, saying how they are written."""
    changes = Changes()
    for text in texts:
        tier, sign, rest = text.rpartition(":")
        if not sign or not tier.strip():
            raise WrongUse(f"--what-if {text!r} names no tier; {RIGHT}.")
        for change in rest.split(","):
            _take(changes, key_asked(tier), change, text)
    return changes


def _take(changes: Changes, tier: str | None, change: str, text: str) -> None:
    what, _, figure = (part.strip() for part in change.partition("="))
    of = {"price": changes.prices, "minutes": changes.minutes}.get(what)
    if of is None:
        raise WrongUse(f"--what-if {text!r}: {what!r} is neither price nor minutes; {RIGHT}.")
    if tier in of:
        raise WrongUse(f"--what-if: {what} of {tier or 'none'} is changed twice.")
    of[tier] = _share(figure, text)


def _share(figure: str, text: str) -> float:
    found = _PERCENT.fullmatch(figure)
    if found is None:
        raise WrongUse(f"--what-if {text!r}: {figure!r} is no change in per cent; {RIGHT}.")
    share = float(found[1].replace(",", ".")) / 100
    if share > 10:
        raise WrongUse(f"--what-if {text!r}: nothing can grow by more than 1,000 %.")
    if share < -1:
        raise WrongUse(f"--what-if {text!r}: nothing can be cut by more than 100 %.")
    return share
