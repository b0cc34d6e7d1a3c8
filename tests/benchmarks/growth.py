"""The rows of several scales side by side, so that growth can be read along a line."""

from __future__ import annotations

from tests.benchmarks.measure import Row


def side_by_side(rows: dict[str, list[Row]]) -> str:
    """Give the rows of each scale as one Markdown table: a line a row, in the order they came.

    A figure's own line is followed by those of its peers, whose names begin with a dash, so rows
    are told apart by the figure they stand under. What a scale lacks is left empty.
    """
    lines: dict[tuple[str, str], dict[str, Row]] = {}
    for scale, some in rows.items():
        under = ""
        for row in some:
            under = under if row.work.startswith("–") else row.work
            name = row.work.split(" (")[0]
            lines.setdefault((under, name), {})[scale] = row
    head = ["work", *(f"{part} {scale}" for scale in rows for part in ("", "beside,", "ratio,"))]
    out = [f"| {' | '.join(part.strip() for part in head)} |", "|" + " --- |" * len(head)]
    for (_, name), by_scale in lines.items():
        cells = [name]
        for scale in rows:
            row = by_scale.get(scale)
            cells += [row.figure, row.beside, row.ratio] if row else ["", "", ""]
        out.append(f"| {' | '.join(cells)} |")
    return "\n".join(out)
