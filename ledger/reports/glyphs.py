"""Which signs the bundled faces can print, and text made ready for them.

A sign no face has would stop a tagged PDF from being made at all; it is printed as an open square.
The character map is read from the font files themselves (OpenType specification, table `cmap`,
subtable formats 4 and 12).
"""

from __future__ import annotations

import struct
import unicodedata
from collections.abc import Iterator
from functools import cache
from pathlib import Path

FONTS = Path(__file__).with_name("fonts")
READ = ("SourceSansPro-Regular.ttf", "DejaVuSansCondensed.ttf")
"""The faces every text falls back on."""
MISSING = "\u25a1"
LONGEST_WORD = 28
"""Characters of a word after which it may be broken anywhere."""
LONGEST_TEXT = 1_200
MAY_BREAK = "\u200b"
_UNSEEN = ("Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp")
"""Controls, signs that turn the writing round, halves of pairs: a space stands for them."""


@cache
def printable() -> frozenset[int]:
    """Give the code points that the bundled faces have."""
    return frozenset(point for name in READ for point in _mapped(FONTS.joinpath(name).read_bytes()))


def _mapped(font: bytes) -> Iterator[int]:
    """Give the code points a font maps to a glyph."""
    count = struct.unpack_from(">H", font, 4)[0]
    tables = (struct.unpack_from(">4sIII", font, 12 + 16 * place) for place in range(count))
    start = next(offset for name, _, offset, _ in tables if name == b"cmap")
    for place in range(struct.unpack_from(">H", font, start + 2)[0]):
        platform, _, offset = struct.unpack_from(">HHI", font, start + 4 + 8 * place)
        form = struct.unpack_from(">H", font, start + offset)[0]
        if platform in (0, 3) and form in (4, 12):
            yield from _FORMS[form](font, start + offset)


def _segments(font: bytes, start: int) -> Iterator[int]:
    """Give the code points of a subtable of format 4."""
    count = struct.unpack_from(">H", font, start + 6)[0] // 2
    shape = f">{count}H"
    size = 2 * count
    ends = struct.unpack_from(shape, font, start + 14)
    begins = struct.unpack_from(shape, font, start + 16 + size)
    deltas = struct.unpack_from(shape, font, start + 16 + 2 * size)
    ranges_at = start + 16 + 3 * size
    ranges = struct.unpack_from(shape, font, ranges_at)
    for place, (first, last) in enumerate(zip(begins, ends, strict=True)):
        for point in range(first, min(last, 0xFFFE) + 1):
            glyph = point
            if ranges[place]:
                at = ranges_at + 2 * place + ranges[place] + 2 * (point - first)
                glyph = struct.unpack_from(">H", font, at)[0]
                if not glyph:
                    continue
            if (glyph + deltas[place]) & 0xFFFF:
                yield point


def _groups(font: bytes, start: int) -> Iterator[int]:
    """Give the code points of a subtable of format 12."""
    count = struct.unpack_from(">I", font, start + 12)[0]
    for place in range(count):
        first, last, glyph = struct.unpack_from(">III", font, start + 16 + 12 * place)
        yield from range(first + (glyph == 0), last + 1)


_FORMS = {4: _segments, 12: _groups}


def fit_for_print(text: str) -> str:
    """Give text the faces can print, on one line, its longest words breakable, cut if very long.

    Signs no face has become open squares; controls become spaces.
    """
    seen = unicodedata.normalize("NFC", _shortened(text))
    kept = "".join(" " if unicodedata.category(sign) in _UNSEEN else sign for sign in seen)
    known = printable()
    shown = "".join(sign if ord(sign) in known else MISSING for sign in kept)
    return " ".join(_breakable(word) for word in shown.split(" ") if word)


def not_printable(text: str) -> str:
    """Give the signs of a text that no face has, each once, in the order they come."""
    known = printable()
    signs = dict.fromkeys(unicodedata.normalize("NFC", text))
    return "".join(
        sign
        for sign in signs
        if ord(sign) not in known and unicodedata.category(sign) not in _UNSEEN
    )


def _shortened(text: str) -> str:
    """Cut a text that no line of a page could hold; the sign at its end says so."""
    return text if len(text) <= LONGEST_TEXT else text[: LONGEST_TEXT - 1] + "…"


def _breakable(word: str) -> str:
    if len(word) <= LONGEST_WORD:
        return word
    pieces = range(0, len(word), LONGEST_WORD // 2)
    return MAY_BREAK.join(word[at : at + LONGEST_WORD // 2] for at in pieces)
