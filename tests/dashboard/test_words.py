"""Every kind of event as one line in the bench's words."""

from __future__ import annotations

from decimal import Decimal
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from dashboard.formats import Formats, find_locale
from dashboard.lines import LINES
from dashboard.words import Words
from ledger.events import BOOK_KINDS, event_classes
from ledger.vocabulary import standard

WORDS = Words(standard(), Formats(find_locale("en_GB"), ZoneInfo("Europe/Lisbon")))
CHAIN_WEAR = {"position": "chain", "quantity": "elongation"}
SQUEAL = {"fault": "squeal", "cause": "glazed_pad"}
MM, PERCENT = {"value": "1.50", "unit": "mm"}, {"value": "0.75", "unit": "%"}
ADVICE = "018f2f5e-0000-7000-8000-000000000000"


def test_every_kind_a_bike_can_have_has_its_line() -> None:
    """No kind of event falls back to its name; strikes stand with what they struck."""
    of_bikes = event_classes().keys() - BOOK_KINDS - {"event_struck"}
    assert of_bikes - LINES.keys() == set()


@pytest.mark.parametrize(
    ("kind", "data", "line"),
    [
        ("bike_registered", {}, "Entered in the book: make not known"),
        ("distance_read", {"odometer": {"value": "1200", "unit": "km"}}, "Distance 1,200\u00a0km"),
        (
            "distance_read",
            {"odometer": {"value": "5", "unit": "mi"}, "source": "told", "computer_replaced": True},
            "Distance 5\u00a0mi, told, another computer",
        ),
        ("job_opened", {}, "Booked in"),
        ("job_opened", {"come_back_of": "j-1"}, "Booked in, said to be a come-back of j-1"),
        ("come_back_judged", {"is_come_back": False}, "Judged no come-back"),
        (
            "come_back_judged",
            {"is_come_back": True, "answers": "j-1"},
            "Judged a come-back of j-1",
        ),
        ("quote_given", {"form": "up to", "lines": [{}]}, "Quoted, up to, 1 line"),
        (
            "quote_answered",
            {"answers": [{"answer": "yes"}, {"answer": "no reply"}, {"answer": "yes"}]},
            "Quote answered: 2 × yes, 1 × no reply",
        ),
        (
            "inspected",
            {"position": "rear_brake", **SQUEAL},
            "Rear brake looked at: squeal, glazed pad",
        ),
        (
            "inspected",
            {"position": "steering", "covers": ["stem", "headset"]},
            "Steering (stem, headset) looked at",
        ),
        (
            "inspected",
            {"position": "frame", "covers": ["frame", "fork", "stem", "headset"]},
            "Frame (4 positions) looked at",
        ),
        (
            "part_fitted",
            {"position": "chain", "make": "Halm", "model": "Halm K10", "size": "116"},
            "Chain fitted: Halm K10 116",
        ),
        (
            "diagnosed",
            {"position": "rear_brake", "symptom": "squeal", "why_stopped": "time spent"},
            "Rear brake, squeal: cause not found (time spent)",
        ),
        ("measured", {**CHAIN_WEAR, "value": PERCENT}, "Chain, chain wear: 0.75\u00a0%"),
        ("measured", {**CHAIN_WEAR, "low": PERCENT}, "Chain, chain wear: over 0.75\u00a0%"),
        ("measured", {**CHAIN_WEAR, "high": PERCENT}, "Chain, chain wear: under 0.75\u00a0%"),
        (
            "part_fitted",
            {"position": "chain", "is_found": True},
            "Chain found on the bike: make not known",
        ),
        (
            "part_fitted",
            {"position": "chain", "make": "Halm", "model": "K10", "origin": "riders own"},
            "Chain fitted: Halm K10, rider's own",
        ),
        ("part_removed", {"position": "chain", "reason": "worn"}, "Chain removed: worn"),
        ("part_removed", {"position": "chain", "reason": "other"}, "Chain removed"),
        ("adjusted", {"position": "rear_derailleur"}, "Rear derailleur adjusted"),
        (
            "adjusted",
            {"position": "saddle", "quantity": "height", "before": MM, "after": MM},
            "Saddle set: height 1.5\u00a0mm → 1.5\u00a0mm",
        ),
        (
            "treated",
            {"position": "chain", "treatment": "waxed", "is_preventive": True},
            "Chain waxed, preventive",
        ),
        ("labour_logged", {"task": "cleaning", "minutes": 20}, "Labour: 20 minutes, cleaning"),
        ("labour_started", {"task": "cleaning"}, "Labour: clock, cleaning"),
        (
            "released",
            {"is_test_ridden": False, "warnings": [{}]},
            "Handed back: not test ridden, 1 warning given",
        ),
        ("job_closed", {"disturbed": ["stem"]}, "Job closed; not torqued since: stem"),
        ("advice_answered", {"advice": ADVICE, "answer": "later"}, "Advice answered: later"),
    ],
)
def test_a_line_says_what_happened(kind: str, data: dict[str, Any], line: str) -> None:
    """A payload reads as one line, figures as they were entered."""
    assert WORDS.line(kind, data) == line


def test_words_of_the_shop_that_are_not_known_are_shown_as_they_are() -> None:
    """A code no vocabulary has is spelled out, so that nothing disappears."""
    assert WORDS.position("cargo.left_wing") == "cargo, left wing"
    assert WORDS.fault("gremlins_inside") == "gremlins inside"


def test_what_somebody_wrote_stands_under_the_line() -> None:
    """Notes, steps of a search and warnings are read; an id is not taken for words."""
    steps = [{"tried": "new pads", "result": "still squeals"}]
    assert WORDS.remark("diagnosed", {"steps": steps}) == "tried: new pads; still squeals"
    warned = {"warnings": [{"position": "fork", "warning": "play"}]}
    assert WORDS.remark("released", warned) == "warned, fork: play"
    assert WORDS.remark("advice_answered", {"advice": ADVICE, "note": "rang"}) == "rang"
    assert WORDS.remark("advised", {"advice": "new pads"}) == "new pads"


def test_forgotten_words_are_said_once() -> None:
    """Where all that was written is gone, that is said once."""
    gone = {"complaint": "(forgotten)", "came_with": "(forgotten)"}
    assert WORDS.remark("job_opened", gone) == "(forgotten)"


def test_systems_stand_in_the_order_of_the_bench() -> None:
    """The drivetrain comes before the brakes; a system nobody knows comes last."""
    systems = ["aquatic", "steering", "front_brake", "drivetrain"]
    ordered = sorted(systems, key=WORDS.order_of)
    assert ordered == ["drivetrain", "front_brake", "steering", "aquatic"]


def test_a_figure_entered_otherwise_is_said_as_entered() -> None:
    """72 psi stands beside 4.964 bar; what was entered in bar is not said twice."""
    psi = {"value": "72", "unit": "psi", "canonical": "4.964"}
    bar = {"value": "3.2", "unit": "bar", "canonical": "3.200"}
    assert WORDS.as_entered(psi) == "72\u00a0psi as entered"
    assert WORDS.as_entered(bar) == ""


@pytest.mark.parametrize(
    ("position", "quantity", "said"),
    [
        ("chain", "elongation", "limit 0.75\u00a0mm or more"),
        ("rear_brake.pads", "thickness", "limit 0.75\u00a0mm or less"),
        ("fork", "sag", "limit 0.75\u00a0mm"),
    ],
)
def test_a_limit_says_which_side_of_it_is_past(position: str, quantity: str, said: str) -> None:
    """A chain is past its limit above it, pads below it; of other things that is not known."""
    assert WORDS.limit(position, quantity, Decimal("0.750"), "mm") == said
    assert WORDS.limit(position, quantity, None, "mm") == "no limit known"
