"""What happened, in the bench's words: one line an event, from its kind and payload."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from dashboard.words import Words

Payload = Mapping[str, Any]
MOST_COVERED = 3
"""How many positions a look names before it only counts them."""


def _joined(*parts: str) -> str:
    return ", ".join(part for part in parts if part)


def named_as(make: str | None, model: str | None) -> str:
    """Give make and model, the make once where the model's name begins with it already."""
    if make and model and f"{model} ".casefold().startswith(f"{make} ".casefold()):
        return model
    return " ".join(filter(None, (make, model)))


def _of_part(data: Payload) -> str:
    named = named_as(data.get("make"), data.get("model"))
    return " ".join(filter(None, (named, data.get("size"))))


def _right(words: Words, data: Payload) -> str:
    cured = data.get("puts_right")
    return f"puts right: {words.fault(cured['fault'])}" if cured else ""


def _registered(words: Words, data: Payload) -> str:
    kind = words.bike_kind(data["bike_kind"]) if data.get("bike_kind") else ""
    return f"Entered in the book: {_joined(_of_part(data), kind) or 'make not known'}"


def _rider(words: Words, data: Payload) -> str:
    who = f"Rider is now {data['rider']}" if data.get("rider") else "No rider from here on"
    riding = words.riding(data["riding"]) if data.get("riding") else ""
    return _joined(who, riding)


def _distance(words: Words, data: Payload) -> str:
    told = "" if data.get("source", "read") == "read" else data["source"]
    new = "another computer" if data.get("computer_replaced") else ""
    return f"Distance {_joined(words.amount(data['odometer']), told, new)}"


def _opened(words: Words, data: Payload) -> str:
    tier, answers = data.get("tier"), data.get("come_back_of")
    back = f", said to be a come-back of {answers}" if answers else ""
    return f"Booked in{': ' + words.tier(tier) if tier else ''}{back}"


def _judged(words: Words, data: Payload) -> str:
    if not data["is_come_back"]:
        return "Judged no come-back"
    return f"Judged a come-back of {data['answers']}"


def _quote(words: Words, data: Payload) -> str:
    later = "work found later" if data.get("is_found_later") else ""
    count = len(data.get("lines", ()))
    return f"Quoted, {_joined(data['form'], f'{count} line' + ('s' if count != 1 else ''), later)}"


def _quote_answer(words: Words, data: Payload) -> str:
    answers = [item["answer"] for item in data.get("answers", ())]
    counted = [f"{answers.count(answer)} × {answer}" for answer in dict.fromkeys(answers)]
    return f"Quote answered: {_joined(*counted)}"


def _inspected(words: Words, data: Payload) -> str:
    fault = words.fault(data["fault"]) if data.get("fault") else ""
    cause = words.cause(data["cause"]) if data.get("cause") else ""
    found = _joined(fault, cause)
    covers = [words.position(code) for code in data.get("covers", ())]
    listed = ", ".join(covers) if len(covers) <= MOST_COVERED else f"{len(covers)} positions"
    taken_in = f" ({listed})" if covers else ""
    what = f"{_place(words, data)}{taken_in} looked at"
    return f"{what}: {found}" if found else what


def _diagnosed(words: Words, data: Payload) -> str:
    cause = words.cause(data["cause"]) if data.get("cause") else "cause not found"
    return f"{_place(words, data)}, {words.fault(data['symptom'])}: {cause} ({data['why_stopped']})"


def _measured(words: Words, data: Payload) -> str:
    value = words.amount(data.get("value"))
    if not value:
        low, high = words.amount(data.get("low")), words.amount(data.get("high"))
        value = f"{low} to {high}" if low and high else f"over {low}" if low else f"under {high}"
    point = f" at {data['point']}" if data.get("point") else ""
    return f"{_place(words, data)}, {words.quantity(data['quantity'])}{point}: {value}"


def _fitted(words: Words, data: Payload) -> str:
    if data.get("is_found"):
        return f"{_place(words, data)} found on the bike: {_of_part(data) or 'make not known'}"
    origin = {"riders own": "rider's own", "second hand": "second hand", "warranty": "warranty"}
    from_where = origin.get(data.get("origin", "shop"), "")
    part = _of_part(data) or "make not noted"
    return f"{_place(words, data)} fitted: {_joined(part, from_where, _right(words, data))}"


def _removed(words: Words, data: Payload) -> str:
    reason = data.get("reason", "other")
    why = "" if reason == "other" else reason
    return f"{_place(words, data)} removed{': ' if why else ''}{_joined(why, _right(words, data))}"


def _adjusted(words: Words, data: Payload) -> str:
    if not data.get("after"):
        return _joined(f"{_place(words, data)} adjusted", _right(words, data))
    before = words.amount(data.get("before"))
    change = f"{before} → " if before else ""
    set_to = f"{words.quantity(data['quantity'])} {change}{words.amount(data['after'])}"
    return (
        f"{_place(words, data)} set: {_joined(set_to, data.get('thread', ''), _right(words, data))}"
    )


def _treated(words: Words, data: Payload) -> str:
    preventive = "preventive" if data.get("is_preventive") else ""
    done = f"{_place(words, data)} {words.treatment(data['treatment'])}"
    return _joined(done, preventive, _right(words, data))


def _labour(words: Words, data: Payload) -> str:
    minutes, task = data.get("minutes"), data.get("task")
    spent = f"{words.formats.number(minutes)} minutes" if minutes is not None else "clock"
    kind = data.get("minutes_kind", "quoted")
    name = words.task(task) if task else ""
    return f"Labour: {_joined(spent, name, '' if kind == 'quoted' else kind)}"


def _released(words: Words, data: Payload) -> str:
    ridden = "test ridden" if data.get("is_test_ridden") else "not test ridden"
    count = len(data.get("warnings", ()))
    warned = f"{count} warning{'s' if count != 1 else ''} given" if count else ""
    return f"Handed back: {_joined(ridden, warned)}"


def _closed(words: Words, data: Payload) -> str:
    left = [words.position(code) for code in data.get("disturbed", ())]
    return f"Job closed{'; not torqued since: ' + ', '.join(left) if left else ''}"


def _place(words: Words, data: Payload) -> str:
    label = words.position(data["position"])
    return label[:1].upper() + label[1:]


LINES: dict[str, Callable[[Words, Payload], str]] = {
    "bike_registered": _registered,
    "rider_changed": _rider,
    "distance_read": _distance,
    "photo_attached": lambda words, data: "Photo attached",
    "bike_linked": lambda words, data: (
        f"Tags {data['first']['bike']} and {data['second']['bike']} are one bike"
    ),
    "job_opened": _opened,
    "job_held": lambda words, data: f"Waiting for {data['waiting_for']}",
    "job_resumed": lambda words, data: "Work goes on",
    "quote_given": _quote,
    "quote_answered": _quote_answer,
    "labour_started": _labour,
    "labour_stopped": _labour,
    "labour_logged": _labour,
    "goodwill_given": lambda words, data: "Goodwill given",
    "advised": lambda words, data: f"{_place(words, data)}: advised, {data['urgency']}",
    "advice_answered": lambda words, data: f"Advice answered: {data['answer']}",
    "released": _released,
    "job_closed": _closed,
    "come_back_judged": _judged,
    "inspected": _inspected,
    "diagnosed": _diagnosed,
    "measured": _measured,
    "part_fitted": _fitted,
    "part_removed": _removed,
    "adjusted": _adjusted,
    "treated": _treated,
    "noted": lambda words, data: f"{_place(words, data)}: standing note",
}
