"""Write the table of relations into DEVELOPERS.md: `python -m ledger.sql.table`."""

from __future__ import annotations

import re
import sys
from pathlib import Path

from ledger import sql

_PART = re.compile(r"(<!-- relations:begin[^\n]*\n).*?(<!-- relations:end -->)", re.DOTALL)


def table() -> str:
    """Give every relation with its grain and keys as a Markdown table."""
    lines = ["| relation | one row is | keys |", "| --- | --- | --- |"]
    for relation in map(sql.relation, sql.relations()):
        keys = ", ".join(
            f"{key} (may be null)" if key in relation.nullable else key for key in relation.keys
        )
        lines.append(f"| `{relation.name}` | {relation.grain} | {keys or 'none: one row'} |")
    return "\n".join(lines) + "\n"


def written_into(text: str) -> str:
    """Give DEVELOPERS.md's text with the table as the relations have it now."""
    return _PART.sub(lambda found: found[1] + table() + found[2], text)


def main() -> int:
    """Write the table into the file named, or DEVELOPERS.md here."""
    path = Path(sys.argv[1] if len(sys.argv) > 1 else "DEVELOPERS.md")
    path.write_text(written_into(path.read_text("utf-8")), "utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
