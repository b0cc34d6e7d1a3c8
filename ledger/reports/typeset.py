"""Pages set by typst, in the bundled faces alone; what is printed is only ever handed over as data.

No text becomes part of typst's source: all of it goes in as one JSON string that the page reads,
so nothing that somebody typed can be read as markup.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ledger.errors import LedgerError
from ledger.reports.glyphs import FONTS, fit_for_print

if TYPE_CHECKING:
    import typst

STANDARDS = ("ua-1", "a-2a")
"""ISO 14289-1 for who reads with other means than eyes, ISO 19005-2 for who reads in years."""


class PageFailed(LedgerError):
    """A page could not be set."""


@cache
def _fonts() -> typst.Fonts:
    import typst

    return typst.Fonts(
        include_system_fonts=False, include_embedded_fonts=False, font_paths=[str(FONTS)]
    )


def printable_data(value: Any) -> Any:
    """Give plain JSON types with every text made ready for print; keys stay as they are."""
    if isinstance(value, str):
        return fit_for_print(value)
    if isinstance(value, Mapping):
        return {name: printable_data(each) for name, each in value.items()}
    if isinstance(value, (list, tuple)):
        return [printable_data(each) for each in value]
    return value


def pdf_of(page: str, told: Mapping[str, Any], made_at: datetime) -> bytes:
    """Give a page as a tagged PDF; the same data and instant give the same bytes.

    `page` is the file beside this module, `told` plain JSON types. Raises PageFailed.
    """
    return _set(page, told, format="pdf", pdf_standards=list(STANDARDS), timestamp=_whole(made_at))


def png_of(page: str, told: Mapping[str, Any], per_inch: int) -> bytes:
    """Give the first page as a picture of so many dots per inch; raises PageFailed."""
    return _set(page, told, format="png", ppi=float(per_inch))


def _whole(moment: datetime) -> datetime:
    return moment.astimezone(UTC).replace(microsecond=0)


def _set(page: str, told: Mapping[str, Any], **how: Any) -> bytes:
    import typst

    source = Path(__file__).with_name(page)
    try:
        made = typst.compile(
            source.read_bytes(),
            font_paths=_fonts(),
            ignore_system_fonts=True,
            sys_inputs={"told": json.dumps(told)},
            **how,
        )
    except typst.TypstError as error:
        raise PageFailed(f"The page could not be set: {error}") from None
    return bytes(made[0] if isinstance(made, list) else made)
