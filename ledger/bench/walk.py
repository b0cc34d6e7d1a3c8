"""One service in the trade's order, as plain data: whoever asks, asks in this order.

`ledger.cli.follow` walks it on a terminal; a page may walk the same steps.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Answer = Literal[
    "text", "choice", "many", "amount", "moment", "yes or no", "whole", "money", "rate", "reference"
]
"""How an answer is read. `many` is positions, with commas between; `money` is in the currency
as written (79.50); `rate` a percentage (21 %)."""


@dataclass(frozen=True, slots=True)
class Ask:
    """One question, and the payload field its answer goes to."""

    field: str
    """The payload's field, dotted where it lies inside another (`puts_right.fault`)."""
    words: str
    answer: Answer = "text"
    choices: tuple[str, ...] = ()
    """The answers there are, where they are few and fixed."""
    of: str = ""
    """The list of the vocabulary the answer comes from: `positions`, `faults`, `tiers` …"""
    is_needed: bool = False
    only_if: tuple[str, tuple[str, ...]] | None = None
    """Asked only where the field named was answered with one of these."""
    skipped_if: tuple[str, ...] = ()
    """Not asked where any of these fields has an answer already."""
    default: str = ""
    """Taken where the answer is empty."""


@dataclass(frozen=True, slots=True)
class Step:
    """One stage of a service: what it records, and what it asks."""

    key: str
    title: str
    kind: str = ""
    """The kind of event it records; none where the step is more than one form."""
    asks: tuple[Ask, ...] = ()
    each: Literal["", "system", "measure", "disturbed", "pressure", "line", "work"] = ""
    """What the form is gone through for, one by one."""


FAULTY = ("watch", "due", "unsafe")
VERDICTS = ("within limit", *FAULTY, "not checked")
CHANNELS = ("in person", "phone", "message", "email", "other")
POSITION = Ask("position", "Where", "choice", of="positions", is_needed=True)
PUTS_RIGHT = (Ask("puts_right.fault", "Which fault does that put right", "choice", of="faults"),)
NOTE = Ask("note", "Note")

BIKE = Step(
    "bike",
    "Bike",
    "bike_registered",
    (
        Ask("make", "Make"),
        Ask("model", "Model"),
        Ask("bike_kind", "Kind of bike", "choice", of="bike_kinds"),
        Ask("wheel_size", "Wheel size"),
        Ask("speeds", "Sprockets at the rear", "whole"),
        Ask("is_e_bike", "With a motor", "yes or no"),
        Ask("riding", "Ridden for", "choice", of="ridings"),
        Ask("frame_number", "Frame number"),
        Ask("description", "What it looks like"),
    ),
)
RIDER = Step(
    "rider",
    "Rider",
    "rider_changed",
    (
        Ask("rider", "Rider (an id, part of a name, or new)", "reference", of="riders"),
        Ask("keeper", "Keeper, if somebody else answers for the bike", "reference", of="riders"),
        Ask("payer", "Payer, if somebody else pays", "reference", of="riders"),
    ),
)
BOOKING = Step(
    "booking",
    "Book in",
    "job_opened",
    (
        Ask("complaint", "What is wrong, in the rider's words"),
        Ask("tier", "Tier", "choice", of="tiers"),
        Ask("promised_at", "Promised for", "moment"),
        Ask("ceiling_minor", "Ask again above", "money"),
        Ask("came_with", "What came with the bike"),
    ),
)
DISTANCE = Step(
    "distance",
    "Distance",
    "distance_read",
    (
        Ask("odometer", "The bike's computer shows", "amount", of="distance", is_needed=True),
        Ask("source", "Read, told or estimated", "choice", ("read", "told", "estimated"),
            default="read"),
        Ask("computer_replaced", "Another computer since the last reading", "yes or no"),
    ),
)  # fmt: skip
INSPECT = Step(
    "inspect",
    "Inspect",
    "inspected",
    (
        Ask("verdict", "Verdict", "choice", VERDICTS, is_needed=True),
        Ask("why_not_checked", "Why not checked", is_needed=True,
            only_if=("verdict", ("not checked",))),
        Ask("fault", "Fault", "choice", of="faults", only_if=("verdict", FAULTY)),
        Ask("note", "Note", only_if=("verdict", FAULTY)),
    ),
    each="system",
)  # fmt: skip
MEASURE = Step(
    "measure",
    "Measure",
    "measured",
    (
        Ask("value", "Reading", "amount", is_needed=True),
        Ask("gauge", "Gauge", "reference", of="gauges"),
    ),
    each="measure",
)
LINE = (
    Ask("line_type", "Labour, part, consumable or other", "choice",
        ("labour", "part", "consumable", "other"), is_needed=True),
    Ask("code", "Task", "choice", of="tasks", is_needed=True, only_if=("line_type", ("labour",))),
    Ask("code", "Part or item", is_needed=True,
        only_if=("line_type", ("part", "consumable", "other"))),
    Ask("description", "On the bill it says"),
    Ask("position", "Where", "choice", of="positions"),
    Ask("minutes", "Minutes", "whole", only_if=("line_type", ("labour",))),
    Ask("quantity", "How many", only_if=("line_type", ("part", "consumable", "other")),
        default="1"),
    Ask("net_minor", "Price before tax", "money", is_needed=True),
    Ask("tax_rate", "Tax", "rate"),
)  # fmt: skip
"""One line of a quote or of a charge."""
QUOTE = Step(
    "quote",
    "Quote",
    "quote_given",
    (
        Ask("form", "Fixed, or up to", "choice", ("fixed", "up to"), default="fixed"),
        Ask("is_found_later", "Found after the first quote", "yes or no"),
    ),
)
ANSWER = Step(
    "answer",
    "The rider's answer",
    "quote_answered",
    (
        Ask("answer", "Answer", "choice", ("yes", "no", "later", "no reply"), is_needed=True),
        Ask("how", "How did the answer come", "choice", CHANNELS, default="in person"),
    ),
    each="line",
)
WORK: tuple[Step, ...] = (
    Step(
        "fit",
        "fit a part",
        "part_fitted",
        (
            POSITION,
            Ask("make", "Make"),
            Ask("model", "Model"),
            Ask("origin", "From", "choice",
                ("shop", "riders own", "second hand", "warranty", "unknown"), default="shop"),
            Ask("is_found", "Was it already there, fitted nobody knows when", "yes or no"),
            Ask("batch", "Batch"),
            *PUTS_RIGHT,
        ),
    ),
    Step(
        "remove",
        "take a part off",
        "part_removed",
        (
            POSITION,
            Ask("reason", "Because", "choice",
                ("worn", "damaged", "rotated", "upgrade", "recall", "moved", "other"),
                default="worn"),
            Ask("kept", "And then", "choice", ("scrapped", "given back", "stored", "other"),
                default="scrapped"),
            *PUTS_RIGHT,
        ),
    ),
    Step(
        "adjust",
        "adjust",
        "adjusted",
        (
            POSITION,
            Ask("quantity", "What (empty: nobody put a figure on it)", "choice", of="quantities"),
            Ask("before", "Before", "amount", only_if=("quantity", ())),
            Ask("after", "After", "amount", is_needed=True, only_if=("quantity", ())),
            *PUTS_RIGHT,
        ),
    ),
    Step(
        "treat",
        "treat (clean, lubricate, true, bleed …)",
        "treated",
        (
            POSITION,
            Ask("treatment", "What was done", "choice", of="treatments", is_needed=True),
            Ask("is_preventive", "To prevent trouble, unbilled", "yes or no"),
            *PUTS_RIGHT,
        ),
    ),
    Step(
        "search",
        "search for a cause",
        "diagnosed",
        (
            POSITION,
            Ask("symptom", "Symptom", "choice", of="faults", is_needed=True),
            Ask("cause", "Cause", "choice", of="causes"),
            Ask("why_stopped", "Stopped because", "choice",
                ("cause found", "keeper declined", "time spent", "part needed", "other"),
                default="cause found"),
            NOTE,
        ),
    ),
    Step(
        "labour",
        "minutes",
        "labour_logged",
        (
            Ask("task", "Task", "choice", of="tasks", is_needed=True),
            Ask("minutes", "Minutes", "whole", is_needed=True),
            Ask("minutes_kind", "Quoted, or not", "choice",
                ("quoted", "found later", "come-back", "goodwill"), default="quoted"),
        ),
    ),
    Step(
        "goodwill",
        "goodwill",
        "goodwill_given",
        (
            Ask("task", "Task", "choice", of="tasks"),
            Ask("position", "Where", "choice", of="positions"),
            Ask("minutes", "Minutes", "whole"),
            Ask("value_minor", "Worth", "money"),
            NOTE,
        ),
    ),
    Step(
        "advise",
        "advice to the keeper",
        "advised",
        (
            POSITION,
            Ask("verdict", "Verdict", "choice", VERDICTS, default="watch"),
            Ask("urgency", "How pressing", "choice",
                ("now", "soon", "next service", "when convenient"), default="next service"),
            Ask("advice", "In words"),
        ),
    ),
    Step("note", "standing note", "noted", (POSITION, Ask("text", "Note", is_needed=True))),
)  # fmt: skip
"""What can be done between the answer and the torque pass, in any order and number."""
TORQUE = Step(
    "torque",
    "Torque pass",
    "adjusted",
    (
        Ask("after", "Torqued to", "amount", of="torque", is_needed=True),
        Ask("tool", "With", "reference", of="gauges"),
        Ask("thread", "Thread", "choice", ("dry", "greased", "anti-seize", "threadlocked")),
    ),
    each="disturbed",
)
PRESSURES = Step(
    "pressures",
    "Pressures",
    "adjusted",
    (
        Ask("after", "Set to", "amount", of="pressure", is_needed=True),
        Ask("tool", "With", "reference", of="gauges"),
    ),
    each="pressure",
)
UNSAFE = (Ask("advice", "What the keeper is told of it", is_needed=True),)
"""Asked for every unsafe finding nobody was warned of: a job is not closed over one in silence."""
KEEPER = Step(
    "keeper",
    "The keeper's answer",
    "advice_answered",
    (
        Ask("answer", "The keeper's answer", "choice", ("yes", "no", "later", "no reply"),
            is_needed=True),
        Ask("how", "How did the answer come", "choice", CHANNELS, default="in person"),
    ),
)  # fmt: skip
"""Asked after each advice."""
WARNING = (
    Ask("position", "Warn about (Enter: no more)", "choice", of="positions", is_needed=True),
    Ask("warning", "What was said", is_needed=True),
)
HAND_BACK = Step(
    "hand_back",
    "Hand back",
    "released",
    (
        Ask("is_test_ridden", "Test ridden", "yes or no", is_needed=True),
        Ask("why_not_ridden", "Why not", is_needed=True, only_if=("is_test_ridden", ("no",))),
        Ask("rechecked", "Rechecked (positions, with commas between)", "many", of="positions"),
        Ask("handed_to", "Handed to", "reference", of="riders"),
    ),
)
CLOSE = Step("close", "Close", "job_closed", (NOTE,))

WALK: tuple[Step, ...] = (
    BIKE, RIDER, BOOKING, DISTANCE, INSPECT, MEASURE, QUOTE, ANSWER,
    Step("work", "Work", each="work"),
    TORQUE, PRESSURES, HAND_BACK, CLOSE,
)  # fmt: skip
"""The trade's order."""

MEASURES: tuple[tuple[str, str], ...] = (
    ("chain", "elongation"),
    ("cassette", "tooth_wear"),
    ("front_brake.pads", "thickness"),
    ("rear_brake.pads", "thickness"),
    ("front_brake.rotor", "thickness"),
    ("rear_brake.rotor", "thickness"),
    ("front_wheel.tyre", "tread_depth"),
    ("rear_wheel.tyre", "tread_depth"),
    ("front_wheel", "runout"),
    ("rear_wheel", "runout"),
)
"""What is measured at a service: position and quantity; whatever was measured before comes too."""

PRESSURED: tuple[str, ...] = ("front_wheel.tyre", "rear_wheel.tyre", "fork", "shock")
