"""Who asks, and what they may see: the roles of a workshop.

A role is held where an answer is made, not where it is shown: every function that gives money
beyond quotes, totals of the shop or other people's minutes is told who asks (`Asker`), and
refuses or leaves out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from ledger.errors import LedgerError

Role = Literal["owner", "mechanic", "desk"]
Sight = Literal["money", "colleagues", "quotes", "bench", "riders", "wear"]
"""What can be seen. `money`: costs, wages, margins, totals of the shop. `colleagues`: minutes and
figures of other people. `quotes`: prices asked of keepers and what they answered. `bench`:
recording work on a bike. `riders`: names, contacts and calls. `wear`: readings and faults."""

ROLES: tuple[Role, ...] = get_args(Role)
SIGHTS: dict[Role, frozenset[Sight]] = {
    "owner": frozenset(get_args(Sight)),
    "mechanic": frozenset({"quotes", "bench", "riders", "wear"}),
    "desk": frozenset({"quotes", "riders", "wear"}),
}
"""What each role sees."""


class NotForRole(LedgerError):
    """Something was asked for that the asker's role does not see."""


@dataclass(frozen=True, slots=True)
class Asker:
    """Somebody who asks a book something."""

    role: Role
    mechanic: str | None = None
    """Their id as a mechanic, where they are one: their own minutes are theirs to see."""

    def sees(self, sight: Sight) -> bool:
        """Say whether their role sees that."""
        return sight in SIGHTS[self.role]


OWNER = Asker("owner")
"""Whoever has the files of the book has everything in them: the command line asks so."""


def require(asker: Asker, sight: Sight, what: str) -> None:
    """Raise NotForRole where the asker's role does not see that; `what` names the thing asked."""
    if not asker.sees(sight):
        raise NotForRole(f"{what} is not shown to a {asker.role}. Ask the owner of this book.")
