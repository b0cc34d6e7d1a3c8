"""The rider's page as PDF: one sheet whatever is on it, tagged, and deaf to markup."""

from __future__ import annotations

import io
import json
from dataclasses import replace

import pytest
import segno
import zxingcpp
from fontTools.ttLib import TTFont
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image
from printed import RECEIPT, elements, opened, page_of, queried

from ledger.reports import report_pdf, report_png
from ledger.reports.glyphs import FONTS, READ, fit_for_print, printable

A4_POINTS = (595.28, 841.89)
"""ISO 216: 210 x 297 mm, in points of 1/72 inch."""
LONG = "rattling over the cobbles by the fish market, " * 12
WRONG_MARKUP = (
    '#panic("x")', "#let a = 1", "$ x^2 $", "*bold* _it_", "= Heading", "\\#", "`raw`", "<cut>",
    '"); #read("/etc/hostname")', "@ref", "// gone", "/* gone */", "#{", "]", "{{}}", "\\u{1F6B2}",
)  # fmt: skip


@pytest.mark.parametrize("text", ["", LONG])
@pytest.mark.parametrize("count", [0, 4, 5, 40, 200])
def test_it_is_one_a4_sheet_with_any_number_of_entries(count: int, text: str) -> None:
    """A long service never makes a second page; what does not fit is said to be in the book."""
    report = page_of(count, text)
    pdf = opened(report_pdf(report))
    (page,) = pdf.pages
    assert [float(side) for side in page.mediabox[2:]] == pytest.approx(A4_POINTS, abs=0.01)
    cut = [found["value"] for found in queried(report, "<cut>")]
    assert not cut if count < 5 and not text else True
    assert cut if count > 5 else True
    measured = [each for each in cut if each.get("section") == "Measured"]
    if count == 200:
        assert measured and 150 < measured[0]["count"] <= 200
        assert "not checked" in measured[0]["which"]


def test_nothing_overlaps_at_any_length() -> None:
    """Between the last section and the caution at the foot there is always white paper.

    The rows of the picture are looked at: below the caution's frame nothing but the receipt.
    """
    for count in (0, 3, 6, 9, 14, 25, 60):
        picture = Image.open(io.BytesIO(report_png(page_of(count), 110))).convert("L")
        rows = [_row(picture, number) for number in range(picture.height)]
        frame = [number for number, row in enumerate(rows) if max(row) < 170]
        foot = frame[-1]
        top = next(number for number in reversed(frame) if number < foot - 12)
        assert picture.height * 0.7 < top < picture.height * 0.9, "the caution is at the foot"
        assert min(min(row) for row in rows[top - 8 : top - 2]) > 200, count


def _row(picture: Image.Image, number: int) -> bytes:
    """Give one row of a picture, from margin to margin of the page."""
    return picture.crop((80, number, picture.width - 80, number + 1)).tobytes()


def test_the_page_is_tagged_for_who_does_not_see_it() -> None:
    """Marked content, a language, a title that is shown, headings in order, table heads, alt text.

    Source: ISO 14289-1 (PDF/UA-1), sections 7.1, 7.2, 7.3, 7.4.2 and 7.5.
    """
    pdf = opened(report_pdf(page_of(4)))
    assert bool(pdf.Root.MarkInfo.Marked)
    assert str(pdf.Root.Lang) == "en-GB"
    assert bool(pdf.Root.ViewerPreferences.DisplayDocTitle)
    with pdf.open_metadata() as told:
        assert "7K3M9QXA" in str(told["dc:title"])
        assert (told["pdfuaid:part"], told["pdfaid:part"]) == ("1", "2")
    tags = [str(element.S) for element in elements(pdf)]
    headings = [tag for tag in tags if tag.startswith("/H") and tag[2:].isdigit()]
    assert headings[0] == "/H1" and set(headings[1:]) == {"/H2"}
    assert tags.count("/Table") >= 6 and tags.count("/TH") >= 4 * tags.count("/Table")
    (figure,) = [element for element in elements(pdf) if element.S == "/Figure"]
    assert RECEIPT.root in str(figure.Alt) and "66705" in str(figure.Alt)


def test_only_the_bundled_faces_are_used_and_are_inside() -> None:
    """Every font is embedded, and none comes from the machine it was made on."""
    pdf = opened(report_pdf(page_of(4, "Ωж")))
    (page,) = pdf.pages
    names = set()
    for font in page.Resources.Font.values():
        within = font.DescendantFonts[0].FontDescriptor
        assert {"/FontFile", "/FontFile2", "/FontFile3"} & set(within.keys())
        names.add(str(within.FontName).partition("+")[2].partition("-")[0])
    assert names <= {"SourceSansPro", "SourceSerifPro", "DejaVuSansCondensed"}
    for face in FONTS.glob("*.ttf"):
        kin = face.name[:8]
        assert any(kin in licence.name for licence in FONTS.glob("*.txt")), face


def test_the_same_page_has_the_same_bytes() -> None:
    """Made twice it is the same file; another day makes another."""
    report = page_of(5)
    assert report_pdf(report) == report_pdf(report)
    later = replace(report, made_at=report.made_at.replace(day=4))
    assert report_pdf(later) != report_pdf(report)


def test_the_code_on_the_page_reads_as_the_receipt() -> None:
    """Printed at 150 dots an inch, the QR code holds the receipt's own line of JSON."""
    picture = Image.open(io.BytesIO(report_png(page_of(3), 150))).convert("L")
    (read,) = zxingcpp.read_barcodes(picture, formats=zxingcpp.BarcodeFormat.QRCode)
    assert read.text == RECEIPT.text()
    assert json.loads(read.text) == {
        "lockring": 1, "shop": "quay", "size": 66_705, "root": "ab12cd34" * 8,
        "at": "2026-03-03T10:00:00.000000Z", "bike": "7K3M9QXA", "job": "J-1", "seq": 66_240,
    }  # fmt: skip


def test_the_receipt_has_room_for_a_signature() -> None:
    """With the 86 characters of an Ed25519 signature a dot of the code is still 0.4 mm wide.

    Source: RFC 8032, 5.1.6: 64 bytes, 86 characters of unpadded base64url (RFC 4648, 5).
    """
    signed = replace(RECEIPT, signature="A" * 86).text()
    assert json.loads(signed)["sig"] == "A" * 86
    code = segno.make(signed, error="m", micro=False, boost_error=False)
    assert 33 / code.symbol_size(border=4)[0] > 0.4


@pytest.mark.parametrize("typed", WRONG_MARKUP)
def test_nothing_typed_is_read_as_markup(typed: str) -> None:
    """What looks like typst's language is printed as it stands and changes no heading."""
    plain, sly = page_of(2, "plain"), page_of(2, typed)
    assert [head["level"] for head in queried(sly, "heading")] == [
        head["level"] for head in queried(plain, "heading")
    ]
    named = queried(sly, "heading")[0]["body"]
    assert " ".join(fit_for_print(f"Ordwick {typed}").split()) in json.dumps(
        named, ensure_ascii=False
    ).replace('\\"', '"').replace("\\\\", "\\")


AWKWARD = st.text(
    st.one_of(
        st.characters(),
        st.sampled_from(
            "#$\\*_`<>@[]{}\"'\t\n\r\x00\x07\x1b\u200b\u200f\u202e\u2066אבمר🚲👩‍🔧e\u0301𝄞漢"
        ),
    ),
    max_size=120,
)


@settings(max_examples=25)
@given(AWKWARD, st.sampled_from([1, 60]))
def test_any_text_makes_one_sheet(text: str, times: int) -> None:
    """Control signs, either direction of writing, signs no face has, and words without end."""
    assert len(opened(report_pdf(page_of(2, text * times))).pages) == 1


@given(AWKWARD)
def test_text_made_ready_for_print_has_only_signs_the_faces_have(text: str) -> None:
    """What is missing is an open square; nothing steers, and it is all on one line."""
    made = fit_for_print(text)
    assert {ord(sign) for sign in made} <= printable() | {0x20}
    assert made == " ".join(made.split(" "))
    assert fit_for_print("Zoë Ångström, 5 N·m ≤ 6 €") == "Zoë Ångström, 5 N·m ≤ 6 €"
    assert fit_for_print("漢") == "□"


def test_the_signs_are_those_of_the_font_files() -> None:
    """The map read here is the one that fontTools reads from the same files."""
    expected = {
        point for name in READ for point in TTFont(FONTS / name, lazy=True).getBestCmap()
    }  # fmt: skip
    assert printable() >= expected
    maps = [table.cmap for name in READ for table in TTFont(FONTS / name)["cmap"].tables
            if table.platformID in (0, 3) and table.format in (4, 12)]  # fmt: skip
    assert printable() == {point for one in maps for point in one}
