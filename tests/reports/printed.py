"""What the tests read off a printed page: its tags, its pages, what it left out."""

from __future__ import annotations

import io
import json
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pikepdf
import typst

import ledger.reports
from ledger.reports.glyphs import FONTS
from ledger.reports.page import page_data
from ledger.reports.shapes import (
    Advice,
    Due,
    Found,
    HandedBack,
    Measured,
    Moved,
    ReceiptOfBook,
    Report,
    Set,
)
from ledger.vocabulary.caution import CAUTION

MADE_AT = datetime(2026, 3, 3, 10, 0, tzinfo=UTC)
RECEIPT = ReceiptOfBook("quay", "7K3M9QXA", "J-1", 66_705, "ab12cd34" * 8, MADE_AT, 66_240)
VERDICTS = ("unsafe", "due", "watch", "not checked", "within limit")


def page_of(count: int, text: str = "") -> Report:
    """Give a page with so many entries in every list, each with `text` in it."""
    each = [(f"place {number} {text}".strip(), VERDICTS[number % 5]) for number in range(count)]
    return Report(
        shop=f"Quayside Bench {text}".strip(), bike="7K3M9QXA", name=f"Ordwick {text}".strip(),
        rider=text or None, job="J-1", tier="Full service", is_open=False, days="2 Mar 2026",
        distance="no distance known", made_at=MADE_AT, made_on="3 Mar 2026", territory="GB",
        asked=tuple(what for what, _ in each),
        left_open=tuple(what for what, _ in each),
        found=tuple(Found(what, text, "left as it is", verdict) for what, verdict in each),
        not_looked_at=tuple(what for what, _ in each),
        measured=tuple(Measured(what, "0.4 mm", "1 mm or less", v) for what, v in each),
        moved=tuple(Moved(what, text, "fitted") for what, _ in each),
        set=tuple(Set(what, "5 N·m", "4 N·m to 6 N·m", False) for what, _ in each),
        treated=tuple(what for what, _ in each),
        advice=tuple(Advice(what, text, "no reply, which is not a yes", v) for what, v in each),
        due=tuple(Due(what, "read 2 Mar 2026", "4 Jul 2026", text) for what, _ in each),
        unread=tuple(what for what, _ in each),
        handed_back=HandedBack("2 Mar 2026", "test ridden", "", tuple(what for what, _ in each)),
        not_torqued=tuple(what for what, _ in each),
        unbilled=tuple(what for what, _ in each),
        price="Charged: €145.20 with tax", caution=CAUTION, size="66,705", receipt=RECEIPT,
    )  # fmt: skip


def queried(report: Report, selector: str) -> list[dict[str, Any]]:
    """Give what typst found on a page for a selector."""
    source = Path(ledger.reports.__file__).with_name("page.typ").read_bytes()
    found = typst.query(
        source, selector, font_paths=[str(FONTS)], ignore_system_fonts=True,
        sys_inputs={"told": json.dumps(page_data(report))},
    )  # fmt: skip
    return list(json.loads(found))


def elements(pdf: pikepdf.Pdf) -> Iterator[pikepdf.Dictionary]:
    """Give every element of a PDF's structure tree, in reading order."""
    waiting = [pdf.Root.StructTreeRoot]
    while waiting:
        node = waiting.pop(0)
        if isinstance(node, pikepdf.Array):
            waiting = [*node, *waiting]
        elif isinstance(node, pikepdf.Dictionary):
            if "/S" in node:
                yield node
            if "/K" in node:
                waiting = [node.K, *waiting]


def opened(content: bytes) -> pikepdf.Pdf:
    """Open a PDF from its bytes."""
    return pikepdf.open(io.BytesIO(content))
