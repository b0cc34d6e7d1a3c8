"""Write the table of rules into DEVELOPERS.md: `python -m ledger.rules.table`."""

from __future__ import annotations

import re
from pathlib import Path

from ledger.rules.check import RULES
from ledger.rules.strikes import NAMED

BEGIN, END = "<!-- rules:begin", "<!-- rules:end -->"
PREPARED = (
    ("wrong_unit", "a figure in an unknown unit, or in one of the wrong dimension"),
    ("canonical_differs", "an entered canonical figure that is not what value and unit give"),
    ("rider_forgotten", "text about a bike whose rider was forgotten: no key is left to seal it"),
)
"""Found while an event is completed (`ledger.prepare`) or sealed, beside the rules."""


def all_rules() -> list[tuple[str, str, str]]:
    """Give every rule there is: name, what it finds, `refused` or `warning`."""
    found = [(rule.name, rule.what, str(rule.severity)) for rule in RULES]
    return found + [(name, what, "refused") for name, what in (*NAMED, *PREPARED)]


def render() -> str:
    """Give the table as Markdown, what is refused first, each part by name."""
    rows = sorted(all_rules(), key=lambda row: (row[2], row[0]))
    of_entry = {rule.name for rule in RULES if rule.is_of_entry}
    lines = ["| rule | what it finds | then |", "| --- | --- | --- |"]
    for name, what, then in rows:
        lines.append(f"| `{name}` | {what} | {then}{' at entry' * (name in of_entry)} |")
    return "\n".join(lines)


def written(page: str) -> str:
    """Give the page with the table between its marks brought up to date."""
    pattern = rf"({re.escape(BEGIN)}[^\n]*\n).*?({re.escape(END)})"
    return re.sub(pattern, lambda m: f"{m[1]}{render()}\n{m[2]}", page, flags=re.DOTALL)


if __name__ == "__main__":
    place = Path("DEVELOPERS.md")
    place.write_text(written(place.read_text("utf-8")), "utf-8")
