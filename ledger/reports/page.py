"""The rider's page as one A4 sheet: its sections in order, and the PDF."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from io import BytesIO
from typing import Any

from ledger.reports.glyphs import MAY_BREAK
from ledger.reports.shapes import HandedBack, ReceiptOfBook, Report
from ledger.reports.typeset import pdf_of, png_of, printable_data
from ledger.reports.words import capital

PAGE = "page.typ"
ESTIMATES = (
    "Estimated from what was read and how far the bike is ridden; the range holds in four cases "
    "of five."
)
PROOF = (
    "What the book was when this page was made. Keep it: whoever changes an entry later cannot "
    "make the book come to this figure again."
)
LEFT = "Left as it is"
NOTHING_LEFT = "Nothing that was judged due or unsafe is left as it is."
NOTHING_LOOKED_AT = "Nothing was inspected or measured in this visit."
NOT_ALL = "What was not checked or not looked at is named below."
NOTHING_RECORDED = "Nothing was recorded."
MOST_LISTED = 12
LONGEST_LISTED = 90
Row = tuple[str, str, str, str]
"""What, figure or remark, what stands beside it, and the verdict or answer."""


def report_pdf(report: Report) -> bytes:
    """Give the page as a tagged PDF (PDF/UA-1 and PDF/A-2a) of exactly one A4 sheet.

    The same report gives the same bytes. Raises PageFailed.
    """
    return pdf_of(PAGE, page_data(report), report.made_at)


def report_png(report: Report, per_inch: int = 144) -> bytes:
    """Give the page as a picture; raises PageFailed."""
    return png_of(PAGE, page_data(report), per_inch)


def page_data(report: Report) -> dict[str, Any]:
    """Give all that the page prints, as plain JSON types in the order it stands there."""
    told: dict[str, Any] = printable_data(
        {
            "shop": report.shop,
            "tag": report.bike,
            "name": report.name,
            "facts": _facts(report),
            "short": _short(report),
            "sections": [section for section in _sections(report) if _has(section)],
            "caution": report.caution,
            "proof": _proof(report),
            "region": report.territory,
        }
    )
    day, code = report.made_at, report.receipt.text()
    return {
        **told,
        "title": f"{told['name'].replace(MAY_BREAK, '')}, tag {report.bike}: what was done",
        "made": {"year": day.year, "month": day.month, "day": day.day},
        "code": qr_svg(code),
        "alt": f"QR code of the receipt: {code}",
    }


def _facts(report: Report) -> list[list[str]]:
    facts = [
        ("Visit", ", ".join(part for part in (report.tier, report.days) if part)),
        ("Rider", report.rider or ""),
        ("Distance", report.distance),
        ("Job", report.job),
    ]
    return [list(fact) for fact in facts if fact[1]]


def _short(report: Report) -> dict[str, Any]:
    """Give what a rider has to know first: what is left as it is, and what nobody looked at."""
    is_partly = bool(report.not_looked_at) or any(
        row.verdict == "not checked" for row in report.found
    )
    more = NOT_ALL if is_partly else ""
    if report.left_open:
        return {"lead": LEFT, "rows": list(report.left_open), "more": more}
    if not report.found and not report.measured:
        return {"lead": NOTHING_LOOKED_AT, "rows": [], "more": ""}
    return {"lead": NOTHING_LEFT, "rows": [], "more": more}


def _section(
    title: str,
    heads: Sequence[str] = (),
    rows: Iterable[Row] = (),
    *lines: str,
    form: str = "words",
) -> dict[str, Any]:
    return {
        "title": title,
        "form": form,
        "heads": list(heads),
        "rows": [list(row) for row in rows],
        "lines": [line for line in lines if line],
    }


def _has(section: dict[str, Any]) -> bool:
    return bool(section["rows"] or section["lines"])


def _listed(before: str, items: Sequence[str]) -> str:
    """Give a list in a sentence; of a long one the first, and how many more there are."""
    if not items:
        return ""
    shown = [_short_of(item) for item in items[:MOST_LISTED]]
    rest = len(items) - len(shown)
    more = f", and {rest} more, in the workshop's book" if rest else ""
    return f"{before}{', '.join(shown)}{more}."


def _short_of(item: str) -> str:
    return item if len(item) <= LONGEST_LISTED else f"{item[: LONGEST_LISTED - 1]}…"


def _sections(report: Report) -> list[dict[str, Any]]:
    return [
        _section("Asked", (), (), *report.asked),
        _found(report),
        _section(
            "Measured",
            ("Where", "Read", "Past its limit at", "Verdict"),
            [(row.what, row.figure, row.limit, row.verdict) for row in report.measured],
            form="figures",
        ),
        _section(
            "Fitted",
            ("Where", "Part", "", ""),
            [(row.what, row.part, row.said, "") for row in report.moved],
            form="phrase",
        ),
        _set(report),
        _section("Treated", (), (), capital(_listed("", report.treated))),
        _section(
            "Advised",
            ("Where", "What", "Keeper's answer", "Verdict"),
            [(row.what, row.said, row.answer, row.verdict) for row in report.advice],
            form="figures",
        ),
        _due(report),
        _handed(report),
        _section("Price", (), (), report.price, _listed("Done without charge: ", report.unbilled)),
    ]


def _found(report: Report) -> dict[str, Any]:
    rows = [(row.what, row.said, row.state, row.verdict) for row in report.found]
    nothing = "" if rows or report.measured else NOTHING_RECORDED
    return _section(
        "Found",
        ("Where", "What", "", "Verdict"),
        rows,
        nothing,
        _listed("Nothing was recorded in this visit of: ", report.not_looked_at),
    )


def _set(report: Report) -> dict[str, Any]:
    rows: list[Row] = [
        (row.what, row.figure, row.makers, "outside the maker's range" if row.is_outside else "")
        for row in report.set
    ]
    left = _listed("Disturbed and not torqued since: ", report.not_torqued)
    return _section("Set", ("Where", "Set to", "Maker's figure", ""), rows, left, form="figures")


def _due(report: Report) -> dict[str, Any]:
    rows: list[Row] = [(row.what, row.when, row.between, row.read) for row in report.due]
    never = _listed("Not enough readings to say: ", report.unread)
    return _section(
        "Next due",
        ("What", "About", "80 % range", "Last"),
        rows,
        never,
        ESTIMATES if rows else "",
        form="phrase",
    )


def _handed(report: Report) -> dict[str, Any]:
    back = report.handed_back
    if back is None:
        still = "Not handed back yet: the work is not finished." if report.is_open else ""
        return _section("Handed back", (), (), still or "That it was checked was not recorded.")
    return _section(
        "Handed back", (), (), _ride(back), *(f"Warning, {each}" for each in back.warnings)
    )


def _ride(back: HandedBack) -> str:
    again = f" Looked at again: {back.rechecked}." if back.rechecked else ""
    return f"{back.day}: {back.ride.rstrip('.')}.{again}"


# -- the receipt ---------------------------------------------------------------------------------


def _proof(report: Report) -> dict[str, Any]:
    receipt = report.receipt
    return {
        "means": PROOF,
        "root": _grouped(receipt.root),
        "facts": [
            ["Book", f"{receipt.shop}, {report.size} events"],
            ["Newest entry of the book", _moment(receipt)],
            ["Newest entry of this job", f"number {receipt.seq}"],
            ["Page made", report.made_on],
        ],
    }


def _grouped(root: str) -> str:
    return " ".join(root[at : at + 8] for at in range(0, len(root), 8))


def _moment(receipt: ReceiptOfBook) -> str:
    return f"{receipt.recorded_at:%Y-%m-%d %H:%M:%S} UTC"


def qr_svg(text: str, error: str = "m", border: int = 4) -> str:
    """Give a QR code (ISO/IEC 18004) as SVG, with its quiet zone of `border` modules."""
    import segno

    out = BytesIO()
    code = segno.make(text, error=error, micro=False, boost_error=False)
    code.save(out, kind="svg", border=border, xmldecl=False, svgns=True, light="#fff")
    return out.getvalue().decode()
