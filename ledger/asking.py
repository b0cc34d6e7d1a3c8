"""Who asks, and what they may see: the roles of a workshop.

A role is held where an answer is made, not where it is shown: every function that gives money
beyond quotes, totals of the shop or other people's minutes is told who asks (`Asker`), and
refuses or leaves out.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Literal, get_args

from ledger.errors import LedgerError

Role = Literal["owner", "mechanic", "desk"]
Sight = Literal["money", "colleagues", "quotes", "bench", "riders", "habits", "wear"]
"""What can be seen. `money`: costs, wages, margins, totals of the shop. `colleagues`: minutes and
figures of other people. `quotes`: prices asked of keepers and what they answered. `bench`:
recording work on a bike. `riders`: names, contacts and calls. `habits`: which riders let parts run
long. `wear`: readings and faults."""

ROLES: tuple[Role, ...] = get_args(Role)
SIGHTS: dict[Role, frozenset[Sight]] = {
    "owner": frozenset(get_args(Sight)),
    "mechanic": frozenset({"quotes", "bench", "riders", "wear"}),
    "desk": frozenset({"quotes", "riders", "habits", "wear"}),
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

    @property
    def of_role(self) -> Asker:
        """The same role without the person: what no own minutes are in is alike for all of it."""
        return Asker(self.role)

    def sees(self, sight: Sight) -> bool:
        """Say whether their role sees that."""
        return sight in SIGHTS[self.role]


OWNER = Asker("owner")
"""Whoever has the files of the book has everything in them: the command line asks so."""


def require(asker: Asker, sight: Sight, what: str) -> None:
    """Raise NotForRole where the asker's role does not see that; `what` names the thing asked."""
    if not asker.sees(sight):
        raise NotForRole(f"{what} is not shown to the {asker.role}. Ask the owner of this book.")


# -- what is left out of an event -----------------------------------------------------------------

LABOUR = frozenset({"labour_started", "labour_stopped", "labour_logged"})
"""Kinds that tell how long somebody worked: by their minutes, or by when they stand."""


def is_theirs(asker: Asker, actor: str) -> bool:
    """Say whether somebody's minutes are the asker's to see: their own, or anybody's."""
    return asker.sees("colleagues") or actor == asker.mechanic


def told(asker: Asker, kind: str, actor: str, data: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """Give what an event's payload tells the asker; None where the whole event is not told.

    Without sight of money: no cost of a line, no worth of goodwill. Without sight of colleagues:
    no clock or minutes of anybody else. What was quoted and charged stays, for it was named to
    the keeper.
    """
    is_own = is_theirs(asker, actor)
    if kind in LABOUR and not is_own:
        return None
    if asker.sees("money"):
        return data
    kept = dict(data)
    if kind == "goodwill_given":
        hidden = ("value_minor",) if is_own else ("value_minor", "minutes")
        kept = {name: value for name, value in kept.items() if name not in hidden}
    if "lines" in kept:
        kept["lines"] = [
            {name: value for name, value in line.items() if name != "cost_minor"}
            for line in kept["lines"]
        ]
    return kept
