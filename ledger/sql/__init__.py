"""The relations: one SELECT a file, put together into one query text.

Every file declares in its header its grain, its keys, and the relations it uses. Base relations
(`events`, `position_effects`) are what an engine provides.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path

FOLDER = Path(__file__).parent
BASE = frozenset({"events", "strikes", "position_effects"})
"""What a relation may use that is no file here: the engine provides it."""
PARAMETERS = frozenset({"as_at", "known_seq"})
"""The only bound parameters: an instant in UTC, and the last seq taken into account."""

_ENTRY = re.compile(r"^-- (grain|keys|nullable|uses|gives): (.+)$")


@dataclass(frozen=True)
class Relation:
    """One relation: its SQL and what its header declares."""

    name: str
    text: str
    grain: str
    keys: tuple[str, ...]
    """The columns that tell its rows apart."""
    nullable: frozenset[str]
    """Keys that may be null, where null is a value of its own."""
    uses: tuple[str, ...]
    gives: str


def _header(text: str) -> dict[str, str]:
    lines = (_ENTRY.match(line) for line in text.splitlines())
    return {found[1]: found[2].strip() for found in lines if found}


def _names(listed: str) -> tuple[str, ...]:
    return tuple(name.strip() for name in listed.split(",") if name.strip() not in ("", "none"))


@cache
def relation(name: str) -> Relation:
    """Give one relation; KeyError if there is no such file."""
    path = FOLDER / f"{name}.sql"
    if not path.is_file():
        raise KeyError(name)
    text = path.read_text(encoding="utf-8")
    header = _header(text)
    return Relation(
        name=name,
        text=text,
        grain=header.get("grain", ""),
        keys=_names(header.get("keys", "")),
        nullable=frozenset(_names(header.get("nullable", ""))),
        uses=_names(header.get("uses", "")),
        gives=header.get("gives", ""),
    )


@cache
def relations() -> tuple[str, ...]:
    """Give the names of all relations, sorted."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.sql")))


def needed(*names: str, given: frozenset[str] = frozenset()) -> tuple[str, ...]:
    """Give these relations and all they use, each after what it uses.

    Base relations, and those that are given already, are left out. Raises ValueError where
    relations use each other in a circle.
    """
    there = BASE | given
    ordered: dict[str, None] = {}

    def visit(name: str, above: tuple[str, ...]) -> None:
        if name in above:
            raise ValueError(f"relations use each other: {' -> '.join((*above, name))}")
        for used in relation(name).uses:
            if used not in there:
                visit(used, (*above, name))
        ordered.setdefault(name)

    for name in names:
        if name not in there:
            visit(name, ())
    return tuple(ordered)


def body(name: str) -> str:
    """Give the query of one relation by itself, without its header."""
    lines = relation(name).text.splitlines()
    return "\n".join(line for line in lines if not line.startswith("--")).strip()


@cache
def compose(
    name: str,
    *,
    source: str = "",
    strikes: str = "",
    given: frozenset[str] = frozenset(),
    ending: str = "",
) -> str:
    """Give one query text for a relation, with every relation it uses as a CTE.

    `source` is SQL for `events`, and `strikes` for those of them that are strikes, where the
    engine has no tables of these names; `given` are relations it has as tables already. `ending`
    is appended to the final `select * from <relation>`: a condition, an order, a limit.
    """
    parts = [f"{used} as (\n{body(used)}\n)" for used in needed(name, given=given)]
    base = {"events": source, "strikes": strikes}
    parts[:0] = [f"{named} as (\n{text}\n)" for named, text in base.items() if text]
    head = "with " + ",\n".join(parts) + "\n" if parts else ""
    return f"{head}select * from {name} {ending}".rstrip()
