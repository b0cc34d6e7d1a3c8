"""The hot columns: what of an event is laid out beside its canonical bytes, to be queried.

They are derived, never hashed. `COLUMNS` says for each kind which column comes from which field
of the payload.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from decimal import Decimal
from operator import attrgetter
from typing import Any

import pyarrow as pa

from ledger.errors import Problem, Refused
from ledger.events import Event
from ledger.storage.schema import EVENT_SCHEMA, FIGURE, ID

Row = dict[str, Any]


def _fields(*same: str, **renamed: str) -> dict[str, str]:
    return {**{name: name for name in same}, **renamed}


_PUTS_RIGHT = {"fault": "puts_right.fault", "cause": "puts_right.cause"}

COLUMNS: Mapping[str, Mapping[str, str]] = {
    "bike_registered": _fields(
        *("make", "model", "riding", "speeds", "bike_kind", "first_used_on")
    ),
    "rider_changed": _fields("rider", "keeper", "payer", "riding"),
    "distance_read": _fields(
        distance_km="odometer", outcome="source", is_computer_replaced="computer_replaced"
    ),
    "photo_attached": _fields("position"),
    "bike_linked": {},
    "job_opened": _fields(
        *("tier", "riding", "promised_at", "currency", "come_back_of"), money_minor="ceiling_minor"
    ),
    "job_held": _fields(outcome="waiting_for"),
    "job_resumed": {},
    "quote_given": _fields(
        "quote", "currency", "is_found_later", outcome="form", replaces_quote="replaces"
    ),
    "quote_answered": _fields("quote"),
    "labour_started": _fields("task", "minutes_kind"),
    "labour_stopped": _fields("minutes", "is_paused"),
    "labour_logged": _fields("task", "minutes", "minutes_kind"),
    "goodwill_given": _fields("task", "position", "minutes", "currency", money_minor="value_minor"),
    "advised": _fields(
        "position", "verdict", "currency", outcome="urgency", money_minor="price_minor"
    ),
    "advice_answered": _fields(target_id="advice", outcome="answer"),
    "released": {},
    "job_closed": _fields("currency"),
    "come_back_judged": _fields("is_come_back", come_back_of="answers"),
    "inspected": _fields("position", "verdict", "fault", "cause"),
    "diagnosed": _fields("position", "cause", fault="symptom", outcome="why_stopped"),
    "measured": _fields(
        *("position", "part", "quantity", "point", "value", "gauge", "verdict"),
        value_low="low",
        value_high="high",
        limit_value="limit",
        gauge_mark_pitches="over_pitches",
    ),
    "part_fitted": _fields(
        *("position", "part", "make", "model", "is_found", "replaces"),
        outcome="origin",
        **_PUTS_RIGHT,
    ),
    "part_removed": _fields("position", "part", outcome="reason", **_PUTS_RIGHT),
    "adjusted": _fields(
        "position", "quantity", "point", value="after", gauge="tool", **_PUTS_RIGHT
    ),
    "treated": _fields("position", "is_preventive", outcome="treatment", **_PUTS_RIGHT),
    "noted": _fields("position"),
    "terms_set": {},
    "mechanic_registered": {},
    "gauge_registered": {},
    "event_struck": _fields(target_id="target"),
}
"""kind -> column -> the field of the payload it is taken from; a dot steps into a field."""

_ENVELOPE = (
    *("seq", "kind", "schema_version", "shop", "bike", "job", "actor"),
    *("occurred_at", "recorded_at"),
)
_envelope = attrgetter(*_ENVELOPE)
_FIGURES = frozenset(field.name for field in EVENT_SCHEMA if field.type == FIGURE)
_IDS = frozenset(field.name for field in EVENT_SCHEMA if field.type == ID)
_SHORT = frozenset(field.name for field in EVENT_SCHEMA if field.type == pa.int16())
_LARGEST_SHORT = 2**15 - 1
_PLAN = {
    kind: tuple((column, tuple(field.split("."))) for column, field in columns.items())
    for kind, columns in COLUMNS.items()
}


def hot_row(event: Event, commit: int, units: Mapping[str, str]) -> Row:
    """Give the columns of an event that are not null, `canonical` excepted.

    `units` is each quantity's canonical unit. Figures come as Decimal, ids as 16 bytes, instants
    as datetime. Raises Refused where a figure has no place in its column.
    """
    row: Row = dict(zip(_ENVELOPE, _envelope(event), strict=True))
    row["commit"] = commit
    row["id"] = id_bytes(event.id)
    if event.restores is not None:
        row["restores_id"] = id_bytes(event.restores)
    for column, path in _PLAN[event.kind]:
        value: Any = event.data
        for step in path:
            value = getattr(value, step)
            if value is None:
                break
        else:
            row[column] = _cell(event, column, value)
    _add_derived(row, event, units)
    return row


def units_after(units: Mapping[str, str], events: Iterable[Event]) -> Mapping[str, str]:
    """Give the canonical units known once these events hold: terms may add quantities."""
    for event in events:
        if event.kind == "terms_set" and event.data.quantities:
            units = {**units, **{added.code: added.unit for added in event.data.quantities}}
    return units


def id_bytes(text: str) -> bytes:
    """Give the 16 bytes of a UUID written as text."""
    return bytes.fromhex(text.replace("-", ""))


def _cell(event: Event, column: str, value: Any) -> Any:
    if column in _FIGURES:
        return None if value.canonical is None else _decimal(event, column, value.canonical, 12, 6)
    if column in _IDS:
        return id_bytes(value)
    if column in _SHORT and value > _LARGEST_SHORT:
        raise _no_place(event, column, value, f"a figure up to {_LARGEST_SHORT}")
    return value


def _add_derived(row: Row, event: Event, units: Mapping[str, str]) -> None:
    if "quantity" in row:
        row["unit"] = units.get(row["quantity"])
    if "fault" in row:
        puts_right = getattr(event.data, "puts_right", None)
        row["fault_position"] = (puts_right and puts_right.position) or row["position"]
    if event.kind == "goodwill_given":
        row["minutes_kind"] = "goodwill"
    elif event.kind in ("quote_given", "job_closed"):
        row["lines"] = [_line(event, line) for line in event.data.lines]
    elif event.kind == "quote_answered":
        row["lines"] = [{"line_id": one.line, "answer": one.answer} for one in event.data.answers]


def _line(event: Event, line: Any) -> Row:
    return {
        "line_id": line.line,
        "code": line.code,
        "quantity": _decimal(event, "lines.quantity", line.quantity, 9, 3),
        "net": line.net_minor,
        "tax": line.tax_minor,
        "cost": line.cost_minor,
        "payer": line.payer,
        "line_type": line.line_type,
        "minutes": line.minutes,
        "position": line.position,
        "is_goodwill": line.is_goodwill,
        "quote_line": line.quote_line,
    }


def _decimal(event: Event, column: str, text: str, whole_digits: int, digits: int) -> Decimal:
    value = Decimal(text)
    exponent = value.as_tuple().exponent
    if isinstance(exponent, int) and exponent < -digits:
        value = round(value, digits)
    if value.adjusted() >= whole_digits:
        raise _no_place(event, column, text, f"a figure of at most {whole_digits} whole digits")
    return value


def _no_place(event: Event, column: str, value: Any, right: str) -> Refused:
    problem = Problem(
        event=f"{event.kind} {event.id}",
        field=column,
        wrong=f"{value} is too large to be recorded",
        right=f"Give {right}",
        rule="figure_too_large",
    )
    return Refused([problem])
