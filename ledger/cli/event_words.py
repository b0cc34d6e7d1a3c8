"""One event in a few words of the bench, for the timeline."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from ledger.cli import words
from ledger.events import payload_class
from ledger.events.text import text_fields
from ledger.money import written

if TYPE_CHECKING:
    from ledger.settings import BookSettings
    from ledger.vocabulary import Vocabulary

Data = Mapping[str, Any]
FORGOTTEN = "(forgotten)"
LONGEST = 70
"""Characters of free text shown in a line."""


class Describer:
    """Describes events in one book's words."""

    def __init__(self, vocabulary: Vocabulary, settings: BookSettings) -> None:
        self.known = vocabulary
        self._settings = settings

    def describe(self, kind: str, data: Data) -> str:
        """Give an event's kind and what matters of its payload (free text opened)."""
        describe = _BY_KIND.get(kind)
        parts = [kind.replace("_", " ")]
        parts += [part for part in describe(self, data) if part] if describe else []
        parts += [
            _quoted(data[name])
            for name, nested in text_fields(payload_class(kind))
            if nested is None and name in data
        ]
        return ", ".join(parts)

    # -- the pieces -------------------------------------------------------------------------

    def place(self, data: Data) -> str:
        """Give the position, with the point on it."""
        code = data.get("position")
        return words.position_words(self.known, code, data.get("point")) if code else ""

    def amount(self, quantity: str, amount: Data | None) -> str:
        """Give a figure as it was entered, and in the canonical unit where that is another."""
        if amount is None:
            return ""
        written = f"{amount['value']} {amount['unit']}"
        word = self.known.quantities.get(quantity)
        if word is None or "canonical" not in amount or amount["unit"] == word.unit:
            return written
        return f"{written} ({words.figure(Decimal(amount['canonical']), word.unit)})"

    def word(self, list_name: str, code: str | None) -> str:
        """Give the label of a code of the vocabulary."""
        if code is None:
            return ""
        word = getattr(self.known, list_name).get(code)
        return str(word.label) if word else code

    def put_right(self, data: Data) -> str:
        """Give the fault that a piece of work put right."""
        right = data.get("puts_right")
        if right is None:
            return ""
        return f"puts right {words.fault_words(self.known, right['fault'], right.get('cause'))}"

    def money(self, minor: int | None, currency: str | None) -> str:
        """Give an amount of money as the shop's locale writes it; of no currency, in the book's."""
        if minor is None:
            return ""
        return written(minor, currency or self._settings.currency, self._settings.locale)


def _quoted(text: Any) -> str:
    if text is None:
        return FORGOTTEN
    flat = " ".join(str(text).split())
    return f"“{flat if len(flat) <= LONGEST else flat[: LONGEST - 1] + '…'}”"


def _bike(d: Describer, data: Data) -> list[str]:
    what = [data.get("make"), data.get("model"), d.word("bike_kinds", data.get("bike_kind"))]
    return [" ".join(part for part in what if part)]


def _rider(d: Describer, data: Data) -> list[str]:
    parts = [f"rider {data.get('rider') or 'none'}"]
    if data.get("keeper") != data.get("rider"):
        parts.append(f"keeper {data.get('keeper')}")
    return parts


def _distance(d: Describer, data: Data) -> list[str]:
    said = data.get("source", "read")
    return [
        d.amount("distance", data["odometer"]),
        "" if said == "read" else said,
        "another computer" if data.get("computer_replaced") else "",
    ]


def _job(d: Describer, data: Data) -> list[str]:
    answers = data.get("come_back_of")
    return [words.tier_words(d.known, data.get("tier")), f"answers {answers}" if answers else ""]


def _judged(d: Describer, data: Data) -> list[str]:
    return [f"answers {data['answers']}" if data["is_come_back"] else "no come-back"]


def _inspected(d: Describer, data: Data) -> list[str]:
    fault = data.get("fault")
    found = words.fault_words(d.known, fault, data.get("cause")) if fault else ""
    return [d.place(data), data["verdict"], found]


def _diagnosed(d: Describer, data: Data) -> list[str]:
    found = words.fault_words(d.known, data["symptom"], data.get("cause"))
    return [d.place(data), found, data["why_stopped"]]


def _measured(d: Describer, data: Data) -> list[str]:
    quantity = data["quantity"]
    ends = [d.amount(quantity, data.get(name)) for name in ("low", "high")]
    reading = d.amount(quantity, data.get("value")) or " to ".join(end for end in ends if end)
    return [
        d.place(data),
        f"{words.quantity_words(d.known, quantity)} {reading}",
        data.get("verdict", ""),
        _limit(d, quantity, data.get("limit")),
    ]


def _limit(d: Describer, quantity: str, limit: Data | None) -> str:
    """Give a limit, which mostly nobody entered, in the canonical unit."""
    word = d.known.quantities.get(quantity)
    if limit is None or word is None or "canonical" not in limit:
        return "" if limit is None else f"limit {d.amount(quantity, limit)}"
    return f"limit {words.figure(Decimal(limit['canonical']), word.unit)}"


def _fitted(d: Describer, data: Data) -> list[str]:
    what = " ".join(data[name] for name in ("make", "model") if name in data)
    found = "found fitted" if data.get("is_found") else ""
    replaces = f"in place of {data['replaces']}" if "replaces" in data else ""
    return [d.place(data), what, f"part {data.get('part', '')}", found, replaces, d.put_right(data)]


def _removed(d: Describer, data: Data) -> list[str]:
    return [d.place(data), f"part {data.get('part', '')}", data.get("reason", "")]


def _adjusted(d: Describer, data: Data) -> list[str]:
    quantity = data.get("quantity")
    if quantity is None:
        return [d.place(data), d.put_right(data)]
    setting = f"{words.quantity_words(d.known, quantity)} {d.amount(quantity, data['after'])}"
    before = d.amount(quantity, data.get("before"))
    return [d.place(data), setting, f"was {before}" if before else "", d.put_right(data)]


def _treated(d: Describer, data: Data) -> list[str]:
    preventive = "preventive" if data.get("is_preventive") else ""
    return [d.place(data), d.word("treatments", data["treatment"]), preventive, d.put_right(data)]


def _labour(d: Describer, data: Data) -> list[str]:
    minutes = f"{data['minutes']} min" if "minutes" in data else ""
    kind = data.get("minutes_kind", "quoted")
    return [d.word("tasks", data.get("task")), minutes, "" if kind == "quoted" else kind]


def _goodwill(d: Describer, data: Data) -> list[str]:
    return [
        *_labour(d, data),
        d.place(data),
        d.money(data.get("value_minor"), data.get("currency")),
    ]


def _lines(d: Describer, data: Data) -> list[str]:
    lines = data.get("lines", ())
    total = d.money(sum(line["net_minor"] for line in lines), data.get("currency"))
    count = f"{len(lines)} line{'' if len(lines) == 1 else 's'}"
    open_torque = [words.position_words(d.known, code) for code in data.get("disturbed", ())]
    return [
        data.get("form", ""),
        f"{count}, {total} before tax" if lines else "",
        "found later" if data.get("is_found_later") else "",
        f"not torqued since disturbed: {', '.join(open_torque)}" if open_torque else "",
    ]


def _answers(d: Describer, data: Data) -> list[str]:
    return [", ".join(f"{each['line']}: {each['answer']}" for each in data["answers"]), data["how"]]


def _advised(d: Describer, data: Data) -> list[str]:
    return [d.place(data), data["verdict"], data["urgency"]]


def _released(d: Describer, data: Data) -> list[str]:
    ridden = "test ridden" if data["is_test_ridden"] else "not test ridden"
    warned = [words.position_words(d.known, each["position"]) for each in data.get("warnings", ())]
    return [ridden, f"warned about {', '.join(warned)}" if warned else ""]


_BY_KIND: Mapping[str, Callable[[Describer, Data], list[str]]] = {
    "bike_registered": _bike,
    "rider_changed": _rider,
    "distance_read": _distance,
    "job_opened": _job,
    "come_back_judged": _judged,
    "job_held": lambda d, data: [f"waiting for {data['waiting_for']}"],
    "inspected": _inspected,
    "diagnosed": _diagnosed,
    "measured": _measured,
    "part_fitted": _fitted,
    "part_removed": _removed,
    "adjusted": _adjusted,
    "treated": _treated,
    "noted": lambda d, data: [d.place(data)],
    "labour_started": _labour,
    "labour_stopped": _labour,
    "labour_logged": _labour,
    "goodwill_given": _goodwill,
    "quote_given": _lines,
    "quote_answered": _answers,
    "advised": _advised,
    "advice_answered": lambda d, data: [data["answer"], data["how"]],
    "photo_attached": lambda d, data: [d.place(data)],
    "released": _released,
    "job_closed": _lines,
    "event_struck": lambda d, data: [data["target"]],
    "mechanic_registered": lambda d, data: [data["mechanic"]],
    "gauge_registered": lambda d, data: [data["gauge"], data["label"]],
    "terms_set": lambda d, data: [f"from {data['from_on']}"],
}
