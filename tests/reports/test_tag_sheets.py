"""Bike tags as printed labels: read back by a scanner from a picture of the sheet."""

from __future__ import annotations

import io
import itertools
from datetime import UTC, datetime

import pytest
import zxingcpp
from PIL import Image, ImageDraw
from printed import elements, opened

from ledger.reports.tags import (
    LEAST_MODULE_MM,
    SHEETS,
    BadLabels,
    Labels,
    labels_of,
    module_mm,
    new_tags,
    tags_pdf,
    tags_png,
)

MADE_AT = datetime(2026, 3, 3, tzinfo=UTC)
PER_INCH = 150
TAGS = [f"{number:04d}9QXA" for number in range(100)]
ADDRESS = "https://bench.example"


def printed(labels: Labels) -> Image.Image:
    return Image.open(io.BytesIO(tags_png(labels, MADE_AT, PER_INCH))).convert("L")


def read(picture: Image.Image) -> list[str]:
    found = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
    return sorted(code.text for code in found)


@pytest.mark.parametrize("sheet", SHEETS)
def test_every_label_of_a_sheet_reads_as_its_tag(sheet: str) -> None:
    """At 150 dots an inch a scanner reads every code of the sheet, each once."""
    tags = TAGS[: SHEETS[sheet].count]
    assert read(printed(labels_of(tags, sheet))) == sorted(tags)


def test_with_an_address_each_code_is_a_link_to_the_bench() -> None:
    """The link names the tag as the bench's page is asked for it."""
    labels = labels_of(TAGS[:24], "3x8", f"{ADDRESS}/")
    assert read(printed(labels)) == sorted(f"{ADDRESS}/bench?tag={tag}" for tag in TAGS[:24])


@pytest.mark.parametrize("address", [None, ADDRESS])
def test_a_smudge_over_a_part_of_a_code_is_read_through(address: str | None) -> None:
    """A spot of oil a fifth as wide as the code, beside the corner marks, changes nothing.

    Source: ISO/IEC 18004, error correction: level H recovers 30 % of the codewords, Q 25 %.
    """
    labels = labels_of(TAGS[:24], "3x8", address)
    picture, sheet = printed(labels), labels.sheet
    dots = PER_INCH / 25.4
    code = 33 * dots
    pen = ImageDraw.Draw(picture)
    for column, row in itertools.product(range(3), range(8)):
        left = (sheet.left_mm + column * sheet.width_mm + 1.5) * dots
        top = (sheet.top_mm + row * sheet.height_mm + 1.5) * dots
        x, y = left + code * (0.50 + 0.02 * column), top + code * (0.42 + 0.01 * row)
        pen.ellipse((x, y, x + 0.2 * code, y + 0.2 * code), fill=40)
    assert len(read(picture)) == 24


def test_no_label_is_printed_too_fine_to_be_read() -> None:
    """Every sheet gives a bare tag dots of half a millimetre; a link that would not is refused."""
    for sheet in SHEETS:
        labels = labels_of(TAGS[:1], sheet)
        assert module_mm(labels, TAGS[0]) >= LEAST_MODULE_MM
    with pytest.raises(BadLabels, match=r"5x13|38\.1 x 21\.2 mm.*3x8"):
        labels_of(TAGS[:1], "5x13", "https://bench.harbour.example:8501")


def test_the_quiet_zone_is_white() -> None:
    """Four dots' width around each code is paper, on the tightest sheet too.

    Source: ISO/IEC 18004, 9.1: a quiet zone of 4 modules.
    """
    labels = labels_of(TAGS[:65], "5x13")
    picture, dots = printed(labels), PER_INCH / 25.4
    module = module_mm(labels, TAGS[0]) * dots
    left, top = (labels.sheet.left_mm + 1.5) * dots, (labels.sheet.top_mm + 1.5) * dots
    size = 29 * module
    x, y = round(left), round(top)
    edge = round(4 * module) - 1
    above = picture.crop((x, y, x + round(size), y + edge))
    beside = picture.crop((x, y, x + edge, y + round(size)))
    after = picture.crop((x + round(size) - edge, y, x + round(size), y + round(size)))
    assert min(min(part.tobytes()) for part in (above, beside, after)) > 200


def test_more_labels_than_a_sheet_go_on_the_next() -> None:
    """Thirty labels of 24 a sheet are two sheets; begun at the twentieth they are three."""
    assert len(opened(tags_pdf(labels_of(TAGS[:30], "3x8"), MADE_AT)).pages) == 2
    later = labels_of(TAGS[:30], "3x8", first=20)
    assert len(opened(tags_pdf(later, MADE_AT)).pages) == 3
    assert read(printed(later)) == sorted(TAGS[:5])


def test_labels_lie_inside_the_page() -> None:
    """No grid is wider or higher than A4, and its margins are equal on both sides."""
    for sheet in SHEETS.values():
        across = 2 * sheet.left_mm + sheet.columns * sheet.width_mm
        assert across + (sheet.columns - 1) * sheet.gap_mm == pytest.approx(210)
        assert sheet.left_mm >= 0 and sheet.top_mm >= 0


def test_the_tag_is_told_to_who_does_not_see_it() -> None:
    """Each code has its tag as alt text, in two groups of four, and the file is tagged."""
    pdf = opened(tags_pdf(labels_of(TAGS[:3]), MADE_AT))
    assert bool(pdf.Root.MarkInfo.Marked)
    alts = [str(element.Alt) for element in elements(pdf) if element.S == "/Figure"]
    assert alts == [f"QR code of the bike tag {tag[:4]} {tag[4:]}" for tag in TAGS[:3]]


def test_the_same_labels_have_the_same_bytes() -> None:
    """Made twice, a sheet is the same file."""
    labels = labels_of(TAGS[:24])
    assert tags_pdf(labels, MADE_AT) == tags_pdf(labels, MADE_AT)


def test_new_tags_differ_from_one_another() -> None:
    """A maker that repeats itself is asked again."""
    coming = iter(["AAAA0000", "AAAA0000", "BBBB0000", "AAAA0000", "CCCC0000"])
    assert new_tags(3, lambda: next(coming)) == ["AAAA0000", "BBBB0000", "CCCC0000"]


@pytest.mark.parametrize(
    "wrong",
    [{"sheet": "9x9"}, {"first": 25}, {"first": 0}, {"address": "bench.example"},
     {"address": "ftp://bench.example"}, {"address": "https://bench.example/?a=1"}],
)  # fmt: skip
def test_what_cannot_be_printed_is_refused_with_what_can(wrong: dict) -> None:
    """An unknown sheet, a label off the sheet and a wrong address each say what would be right."""
    with pytest.raises(BadLabels) as refused:
        labels_of(TAGS[:1], **wrong)
    assert any(hint in str(refused.value) for hint in ("3x8", "1 to 24", "https://bench.example"))
