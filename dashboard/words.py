"""The bench's words for codes, figures and events, in one book's vocabulary and locale."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation
from typing import Any

from dashboard.formats import Formats
from dashboard.lines import LINES, Payload
from ledger.vocabulary import Vocabulary

FORGOTTEN = "(forgotten)"
REMARKS = (
    "complaint",
    "came_with",
    "why_not_checked",
    "why_not_ridden",
    "why",
    "text",
    "advice",
    "caption",
    "description",
    "note",
)
"""Where the payloads keep what somebody wrote, in the order it is read."""


@dataclass(frozen=True)
class Words:
    """Turns codes into labels and payloads into lines, for one book."""

    vocabulary: Vocabulary
    formats: Formats

    def _label(self, list_name: str, code: str) -> str:
        word = getattr(self.vocabulary, list_name).get(code)
        return str(word.label) if word else code.replace("_", " ").replace(".", ", ")

    def position(self, code: str) -> str:
        """Give a position's label, such as `rear brake pads`."""
        return self._label("positions", code)

    def place(self, code: str, point: str | None) -> str:
        """Give a position with the point on it in brackets."""
        return f"{self.position(code)} ({point})" if point else self.position(code)

    def quantity(self, code: str) -> str:
        """Give a quantity's label, such as `chain wear`."""
        return self._label("quantities", code)

    def fault(self, code: str) -> str:
        """Give a fault's label."""
        return self._label("faults", code)

    def cause(self, code: str) -> str:
        """Give a cause's label."""
        return self._label("causes", code)

    def riding(self, code: str) -> str:
        """Give a kind of riding's label."""
        return self._label("ridings", code)

    def bike_kind(self, code: str) -> str:
        """Give a kind of bike's label."""
        return self._label("bike_kinds", code)

    def treatment(self, code: str) -> str:
        """Give a treatment's label."""
        return self._label("treatments", code)

    def tier(self, code: str) -> str:
        """Give the shop's own name of a tier of service."""
        return self._label("tiers", code)

    def task(self, code: str) -> str:
        """Give a task's label."""
        return self._label("tasks", code)

    def system_of(self, position: str) -> str:
        """Give the code of the system a position is part of."""
        word = self.vocabulary.positions.get(position)
        return word.system if word else position.split(".")[0]

    def system(self, code: str) -> str:
        """Give a system's label."""
        return str(self.vocabulary.systems.get(code, code.replace("_", " ")))

    def order_of(self, system: str) -> tuple[int, str]:
        """Give where a system stands in the order the bench goes through a bike."""
        systems = list(self.vocabulary.systems)
        return (systems.index(system) if system in systems else len(systems), system)

    def amount(self, amount: Mapping[str, Any] | None) -> str:
        """Give a figure as it was entered, in the locale's digits; nothing where there is none."""
        if not amount:
            return ""
        try:
            return self.formats.figure(Decimal(amount["value"]), amount["unit"])
        except InvalidOperation:
            return f"{amount['value']} {amount['unit']}"

    def as_entered(self, amount: Mapping[str, Any] | None) -> str:
        """Give a figure as it was entered, where that is not its canonical form already."""
        if not amount or amount.get("canonical") is None:
            return ""
        try:
            is_canonical = Decimal(amount["value"]) == Decimal(amount["canonical"])
        except InvalidOperation:
            is_canonical = False
        return "" if is_canonical else f"{self.amount(amount)} as entered"

    def worn_side(self, position: str, quantity: str) -> str | None:
        """Give the side of its limit that is past it, `above` or `below`, where that is known."""
        limit = self.vocabulary.limit_for(position, quantity, None)
        return limit.direction if limit else None

    def limit(self, position: str, quantity: str, figure: Decimal | None, unit: str) -> str:
        """Give the limit of a reading in words, with the side of it that is past it."""
        if figure is None:
            return "no limit known"
        said = f"limit {self.formats.figure(figure, unit)}"
        sides = {"above": " or more", "below": " or less"}
        return said + sides.get(self.worn_side(position, quantity) or "", "")

    def line(self, kind: str, data: Payload) -> str:
        """Give one line for an event; an unknown kind is named rather than hidden."""
        write = LINES.get(kind)
        return write(self, data) if write else kind.replace("_", " ")

    def remark(self, kind: str, data: Payload) -> str:
        """Give the free text somebody wrote with an event, or nothing."""
        is_answer = kind == "advice_answered"  # whose `advice` is the id of an event
        names = [name for name in REMARKS if not (is_answer and name == "advice")]
        said = [str(data[name]) for name in names if data.get(name)]
        said += [f"tried: {step['tried']}; {step['result']}" for step in data.get("steps", ())]
        said += [
            f"warned, {self.position(each['position'])}: {each['warning']}"
            for each in data.get("warnings", ())
        ]
        return FORGOTTEN if set(said) == {FORGOTTEN} else " — ".join(said)
