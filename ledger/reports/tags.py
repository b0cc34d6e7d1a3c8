"""Bike tags as printable QR labels: A4 sheets, in a few grids of label by millimetres."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import datetime
from urllib.parse import urlsplit

from ledger.errors import LedgerError
from ledger.reports.page import qr_svg
from ledger.reports.typeset import pdf_of, png_of

PAGE = "tags.typ"
PAGE_WIDTH_MM, PAGE_HEIGHT_MM = 210.0, 297.0
QUIET_MODULES = 4
"""ISO/IEC 18004: the width of the blank border of a QR code."""
LEAST_MODULE_MM = 0.5
PADDING_MM = 1.5
TEXT_MM = 14.0
"""Width that the tag in letters needs beside its code."""
BARE_ERROR, LINK_ERROR = "h", "q"
"""Error correction of a bare tag (30 % of the code may be lost) and of a link (25 %)."""


class BadLabels(LedgerError):
    """Labels that cannot be printed as asked."""


@dataclass(frozen=True, slots=True)
class Sheet:
    """A grid of labels, in the middle of an A4 page; lengths in mm."""

    columns: int
    rows: int
    width_mm: float
    height_mm: float
    gap_mm: float = 0.0
    """Between columns; rows touch."""

    @property
    def name(self) -> str:
        """What it is asked for by: columns and rows, `3x8`."""
        return f"{self.columns}x{self.rows}"

    @property
    def words(self) -> str:
        """Its name and the size of a label: `3x8 (70 x 36 mm)`."""
        return f"{self.name} ({self.width_mm:g} x {self.height_mm:g} mm)"

    @property
    def count(self) -> int:
        """How many labels a page holds."""
        return self.columns * self.rows

    @property
    def left_mm(self) -> float:
        """The margin left of the first column."""
        wide = self.columns * self.width_mm + (self.columns - 1) * self.gap_mm
        return (PAGE_WIDTH_MM - wide) / 2

    @property
    def top_mm(self) -> float:
        """The margin above the first row."""
        return (PAGE_HEIGHT_MM - self.rows * self.height_mm) / 2


SHEETS = {
    sheet.name: sheet
    for sheet in (
        Sheet(2, 7, 99.1, 38.1, 2.5),
        Sheet(3, 7, 63.5, 38.1, 2.5),
        Sheet(3, 8, 70.0, 36.0),
        Sheet(4, 10, 48.5, 25.4),
        Sheet(5, 13, 38.1, 21.2, 2.5),
    )
}
USUAL = "3x8"


@dataclass(frozen=True, slots=True)
class Labels:
    """Tags to be printed, and how."""

    tags: tuple[str, ...]
    sheet: Sheet
    address: str | None = None
    """Of the dashboard: the codes hold a link to the bench there; None: the bare tag."""
    first: int = 1
    """The label of the first sheet to begin at, for one that is used in part."""
    has_lines: bool = False
    """Whether lines to cut along are printed, for plain paper."""


def labels_of(
    tags: Sequence[str], sheet: str = USUAL, address: str | None = None, *, first: int = 1,
    has_lines: bool = False,
) -> Labels:  # fmt: skip
    """Give labels that can be printed and read; raises BadLabels with what would be right."""
    if sheet not in SHEETS:
        known = ", ".join(each.words for each in SHEETS.values())
        raise BadLabels(f"There is no sheet {sheet!r}. Choose one of {known}.")
    grid = SHEETS[sheet]
    if not 1 <= first <= grid.count:
        raise BadLabels(f"A sheet {grid.name} has labels 1 to {grid.count}, not {first}.")
    if address is not None:
        address = _checked(address)
    labels = Labels(tuple(tags), grid, address, first, has_lines)
    for tag in labels.tags:
        _check_size(labels, tag)
    return labels


def content(labels: Labels, tag: str) -> str:
    """Give what a label's code holds: the bare tag, or the link to the bench with it."""
    return tag if labels.address is None else f"{labels.address}/bench?tag={tag}"


def module_mm(labels: Labels, tag: str) -> float:
    """Give how wide one module of a label's code is printed, in mm."""
    import segno

    code = segno.make(content(labels, tag), error=_error(labels), micro=False, boost_error=False)
    across = code.symbol_size(border=QUIET_MODULES)[0]
    return _code_mm(labels.sheet) / float(across)


def tags_pdf(labels: Labels, made_at: datetime) -> bytes:
    """Give the sheets as a tagged PDF; the same labels and instant give the same bytes.

    Raises PageFailed.
    """
    return pdf_of(PAGE, _told(labels, made_at), made_at)


def tags_png(labels: Labels, made_at: datetime, per_inch: int) -> bytes:
    """Give the first sheet as a picture; raises PageFailed."""
    return png_of(PAGE, _told(labels, made_at), per_inch)


def new_tags(count: int, make: Callable[[], str]) -> list[str]:
    """Give so many tags from `make` that differ from one another, in the order they came."""
    found: dict[str, None] = {}
    while len(found) < count:
        found[make()] = None
    return list(found)


def _checked(address: str) -> str:
    if not _is_address(address):
        raise BadLabels(
            f"{address!r} is not the address of a dashboard. Write it as people type it, such as "
            "https://bench.example or http://192.0.2.10:8501 (ports go from 1 to 65535)."
        )
    return address.strip().rstrip("/")


def _is_address(address: str) -> bool:
    try:
        parts = urlsplit(address.strip())
        port = parts.port
    except ValueError:  # a port that is none, or half of an IPv6 address
        return False
    is_plain = address.isascii() and not (parts.query or parts.fragment or " " in parts.netloc)
    return parts.scheme in ("http", "https") and bool(parts.hostname) and port != 0 and is_plain


def _error(labels: Labels) -> str:
    return BARE_ERROR if labels.address is None else LINK_ERROR


def _code_mm(sheet: Sheet) -> float:
    """Give how wide a code is printed, its quiet zone included."""
    return min(sheet.height_mm - 2 * PADDING_MM, sheet.width_mm - TEXT_MM - 2 * PADDING_MM)


def _check_size(labels: Labels, tag: str) -> None:
    size = module_mm(labels, tag)
    if size < LEAST_MODULE_MM:
        wider = ", ".join(
            each.words for each in SHEETS.values() if _code_mm(each) > _code_mm(labels.sheet)
        )
        said = f"Choose a larger label ({wider}) or a shorter address." if wider else (
            "Choose a shorter address."
        )  # fmt: skip
        raise BadLabels(
            f"A link of {len(content(labels, tag))} characters on a label of "
            f"{labels.sheet.width_mm:g} x {labels.sheet.height_mm:g} mm would be printed with dots "
            f"of {size:.2f} mm, too fine to be read. {said}"
        )


def _told(labels: Labels, made_at: datetime) -> dict[str, object]:
    sheet = labels.sheet
    return {
        "title": f"Bike tags, {len(labels.tags)} labels {sheet.words}",
        "made": {"year": made_at.year, "month": made_at.month, "day": made_at.day},
        "columns": sheet.columns,
        "rows": sheet.rows,
        "width": sheet.width_mm,
        "height": sheet.height_mm,
        "gap": sheet.gap_mm,
        "left": sheet.left_mm,
        "top": sheet.top_mm,
        "code": _code_mm(sheet),
        "padding": PADDING_MM,
        "lines": labels.has_lines,
        "skip": labels.first - 1,
        "labels": [_label(labels, tag) for tag in labels.tags],
    }


def _label(labels: Labels, tag: str) -> dict[str, object]:
    groups = [tag[:4], tag[4:]]
    return {
        "code": qr_svg(content(labels, tag), _error(labels), QUIET_MODULES),
        "groups": groups,
        "alt": f"QR code of the bike tag {' '.join(groups)}",
    }
