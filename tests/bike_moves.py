"""What can happen to a bike, from a few small numbers and the state it is in."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, NamedTuple

from ledger.state import BikeState

POSITIONS = (
    "chain",
    "cassette",
    "rear_brake",
    "rear_brake.pads",
    "rear_brake.rotor",
    "rear_wheel",
    "bottom_bracket",
    "crank",
    "stem",
)
FAULTS = ("squeal", "play", "worn")
CAUSES = (None, "wear", None, "glazed_pad")
VERDICTS = ("within limit", "watch", "due", "unsafe", "not checked")
TEXT = "written at the bench"


class Move(NamedTuple):
    """One thing that happens, as small numbers; the maker of each kind reads what it needs."""

    kind: str
    bike: int
    pick: int
    other: int
    hours: int
    """Since the last event; 0 for the same instant."""
    back: int
    """0 for now; else the event is entered late, at the time of an earlier one."""


def _amount(value: object, unit: str) -> dict[str, str]:
    return {"value": str(value), "unit": unit}


def open_job(state: BikeState, move: Move, *, is_needed: bool = False) -> str | None:
    """Give an open job, now and then none where none is needed."""
    names = [job.job for job in state.jobs.values() if not job.is_closed]
    if not names or (move.other % 3 == 0 and not is_needed):
        return None
    return names[move.pick % len(names)]


def _cause(move: Move) -> dict[str, Any]:
    """Give a cause, now and then none; what is told of one fault may contradict."""
    cause = CAUSES[move.other // 5 % 4]
    return {} if cause is None else {"cause": cause}


def _puts_right(state: BikeState, move: Move) -> dict[str, Any]:
    """Give the fault that work puts right: one that is open, or one nobody found before."""
    if move.other % 2:
        return {}
    if state.faults and move.other % 8:
        position, fault = sorted(state.faults)[move.pick % len(state.faults)]
        return {"puts_right": {"fault": fault, "position": position, **_cause(move)}}
    if move.other % 4:
        return {}
    return {"puts_right": {"fault": FAULTS[move.pick % 3], **_cause(move)}}


def _position(move: Move) -> str:
    return POSITIONS[move.pick % len(POSITIONS)]


def _rider_changed(state: BikeState, move: Move) -> dict[str, Any]:
    riding = {"riding": "commute"} if move.other % 2 else {}
    return {"rider": f"r{move.pick % 3}", "keeper": f"k{move.other % 2}", **riding}


def _distance_read(state: BikeState, move: Move) -> dict[str, Any]:
    if move.other % 4 == 0:
        return {"odometer": _amount(move.pick % 50, "km"), "computer_replaced": True}
    shown = state.shown_highest_km + move.pick
    unit = "miles" if move.other % 4 == 1 else "km"
    return {"odometer": _amount(shown, unit), "source": ("read", "told")[move.other % 2]}


def _job_opened(state: BikeState, move: Move) -> dict[str, Any]:
    tiers: list[dict[str, Any]] = [{}, {"tier": "quick_check"}, {"tier": "full_service"}]
    data = {**tiers[move.pick % 3], **({"riding": "courier"} if move.other % 3 == 0 else {})}
    known = _opened_before(state, None)
    if known and move.other % 4 == 1:
        data["come_back_of"] = known[-1 - move.pick // 9 % min(len(known), 2)]
    return data


def _opened_before(state: BikeState, job: str | None) -> list[str]:
    """Give the jobs opened before another, or all, in order of time."""
    opened = {job.job: job.opened_at for job in state.jobs.values() if job.opened_at is not None}
    until = opened.get(job or "")
    known = sorted(opened, key=lambda name: (opened[name], name))
    return [name for name in known if until is None or opened[name] < until]


def judged_job(state: BikeState, move: Move) -> str | None:
    """Give the job that is judged a come-back or none: any there ever was, closed ones too."""
    known = _opened_before(state, None)
    return known[-1 - move.pick // 9 % len(known)] if known else None


def _come_back_judged(state: BikeState, move: Move) -> dict[str, Any]:
    earlier = _opened_before(state, judged_job(state, move))
    if not earlier or move.other % 3 == 0:
        return {"is_come_back": False, "why": TEXT}
    return {"is_come_back": True, "answers": earlier[-1 - move.pick // 9 % min(len(earlier), 2)]}


def _quote_given(state: BikeState, move: Move) -> dict[str, Any]:
    """A labour line and now and then a part; now and then it replaces one that stands."""
    name = f"q{move.pick}-{len(state.quotes)}"
    usual = {"tax_rate": "0.21"}
    code = ("chain", "brakes", "quick_check", "full_service")[move.pick % 4]
    labour = {"line_type": "labour", "code": code, "minutes": 5 + move.pick % 90}
    part = {"line_type": "part", "code": "M1", "position": _position(move)}
    part |= {"cost_minor": move.pick // 2} if move.pick % 3 else {}
    lines = [
        {"line": f"{name}.{index}", "net_minor": move.pick * (1 + index), **usual, **line}
        for index, line in enumerate((labour, part)[: 1 + move.other % 2])
    ]
    job = open_job(state, move, is_needed=True)
    standing = [quote.quote for quote in state.standing_quotes(job)]
    replaces = {"replaces": standing[-1]} if standing and move.other % 3 == 0 else {}
    form = ("fixed", "up to")[move.pick % 2]
    data = {"quote": name, "form": form, "currency": "EUR", "lines": lines}
    return {**data, "is_found_later": move.other % 5 == 0, **replaces}


def _quote_answered(state: BikeState, move: Move) -> dict[str, Any]:
    name = sorted(state.quotes)[move.pick % len(state.quotes)]
    answer = ("yes", "yes", "yes", "no", "later", "no reply")[move.other % 6]
    lines = list(state.quotes[name].answers)[: 1 + move.pick % 3]
    answers = [{"line": line, "answer": answer} for line in lines]
    return {"quote": name, "answers": answers, "how": "phone"}


def _inspected(state: BikeState, move: Move) -> dict[str, Any]:
    verdict = VERDICTS[move.other % 5]
    data: dict[str, Any] = {"position": _position(move), "verdict": verdict}
    if verdict == "not checked":
        data["why_not_checked"] = TEXT
    if move.pick % 4:
        data["fault"] = FAULTS[move.pick % 3]
    return data | _cause(move)


def _diagnosed(state: BikeState, move: Move) -> dict[str, Any]:
    found = {"cause": "glazed_pad", "why_stopped": "cause found"}
    return {
        "position": _position(move),
        "symptom": FAULTS[move.other % 3],
        **(found if move.other % 2 else {"why_stopped": "time spent"}),
    }


def _measured(state: BikeState, move: Move) -> dict[str, Any]:
    kind = move.other % 5
    if kind == 0:
        return {
            "position": "chain",
            "quantity": "elongation",
            "value": _amount(f"{(move.pick % 90) / 100:.2f}", "%"),
            "gauge": "caliper",
        }
    if kind == 1:
        over = {"over_pitches": 24, "value": _amount(f"12.{move.pick % 1000:04d}", "in")}
        return {"position": "chain", "quantity": "elongation", "point": "middle", **over}
    if kind == 2:
        marks = {"low": _amount("0.5", "%")} if move.pick % 2 else {"high": _amount("0.5", "%")}
        return {"position": "chain", "quantity": "elongation", **marks}
    if kind == 3:
        pressure = _amount(20 + move.pick % 60, "psi")
        return {"position": "rear_wheel.tyre", "quantity": "pressure", "value": pressure}
    thickness = _amount(f"{(move.pick % 40) / 10}", "mm")
    return {"position": "rear_brake.pads", "quantity": "thickness", "value": thickness}


def _part_fitted(state: BikeState, move: Move) -> dict[str, Any]:
    at = _position(move)
    data: dict[str, Any] = {"position": at, "model": f"M{move.other % 3}"}
    data["is_found"] = move.other % 5 == 0
    if at in state.fitted:
        data["replaces"] = state.fitted[at].part
    if move.other % 3:
        data["part"] = f"p{move.pick % 40}"
    return data | _puts_right(state, move)


def _part_removed(state: BikeState, move: Move) -> dict[str, Any]:
    at = sorted(state.fitted)[move.pick % len(state.fitted)]
    named = {"part": state.fitted[at].part} if move.other % 2 else {}
    return {"position": at, "reason": "worn", **named, **_puts_right(state, move)}


def _adjusted(state: BikeState, move: Move) -> dict[str, Any]:
    at, kind = _position(move), move.other % 4
    if kind == 0:
        return {"position": at, **_puts_right(state, move)}
    if kind == 1:
        gap = _amount(f"{move.pick % 30}", "mm")
        return {"position": at, "quantity": "gap", "after": gap, "before": gap}
    point = {"point": ("drive side", "other side")[move.pick % 2]} if kind == 3 else {}
    torque = _amount(20 + move.pick % 80, "lbf.in")
    return {"position": at, "quantity": "torque", "after": torque, **point}


def _treated(state: BikeState, move: Move) -> dict[str, Any]:
    treatment = {"treatment": "cleaned", "is_preventive": move.other % 3 == 0}
    return {"position": _position(move), **treatment, **_puts_right(state, move)}


def _advised(state: BikeState, move: Move) -> dict[str, Any]:
    at = _position(move)
    if state.unsafe and move.other % 2:
        at = sorted(state.unsafe)[move.pick % len(state.unsafe)][1]
    return {"position": at, "verdict": "unsafe", "urgency": "now", "advice": TEXT}


def _advice_answered(state: BikeState, move: Move) -> dict[str, Any]:
    advice = sorted(state.advice)[move.pick % len(state.advice)]
    answer = ("yes", "no", "later", "no reply")[move.other % 4]
    return {"advice": advice, "answer": answer, "how": "in person"}


def _job_closed(state: BikeState, move: Move) -> dict[str, Any]:
    """What was agreed in the job is charged, at the price or below; now and then one is given."""
    quotes = state.standing_quotes(open_job(state, move, is_needed=True))
    agreed = [
        quote.lines[line]
        for quote in quotes
        for line, answer in quote.answers.items()
        if answer == "yes" and line in quote.lines
    ]
    lines: list[dict[str, Any]] = [
        {
            "line": f"c{line.line}",
            **{name: getattr(line, name) for name in ("line_type", "code", "tax_rate")},
            "quote_line": line.line,
            "net_minor": line.net_minor - line.net_minor // 5,
        }
        for line in agreed
    ]
    if move.other % 4 == 1:
        given = {"net_minor": 0, "cost_minor": move.pick, "is_goodwill": True}
        lines.append({"line": "given", "line_type": "part", "code": "M1", **given})
    return {"currency": "EUR", "lines": lines} if lines else {}


def _labour_stopped(state: BikeState, move: Move) -> dict[str, Any]:
    """The clock's own minutes, or those entered; now and then it is only paused."""
    paused = {"is_paused": True} if move.pick % 3 == 0 else {}
    return {"minutes": move.pick % 90, **paused} if move.other % 2 else paused


MAKERS: dict[str, Callable[[BikeState, Move], dict[str, Any]]] = {
    "rider_changed": _rider_changed,
    "distance_read": _distance_read,
    "job_opened": _job_opened,
    "job_held": lambda state, move: {"waiting_for": ("answer", "part")[move.pick % 2]},
    "job_resumed": lambda state, move: {},
    "quote_given": _quote_given,
    "quote_answered": _quote_answered,
    "labour_started": lambda state, move: {"task": "brakes"},
    "labour_stopped": _labour_stopped,
    "labour_logged": lambda state, move: {
        "task": ("chain", "brakes")[move.pick % 2],
        "minutes": move.pick % 90,
        "minutes_kind": ("quoted", "found later", "come-back", "goodwill")[move.other % 4],
    },
    "goodwill_given": lambda state, move: {"value_minor": move.pick, "minutes": 5},
    "advised": _advised,
    "advice_answered": _advice_answered,
    "released": lambda state, move: {"is_test_ridden": True},
    "job_closed": _job_closed,
    "come_back_judged": _come_back_judged,
    "inspected": _inspected,
    "diagnosed": _diagnosed,
    "measured": _measured,
    "part_fitted": _part_fitted,
    "part_removed": _part_removed,
    "adjusted": _adjusted,
    "treated": _treated,
    "noted": lambda state, move: {"position": _position(move), "text": TEXT},
    "photo_attached": lambda state, move: {
        "photo": f"{move.pick:064x}",
        "key": "book",
        "media_type": "image/png",
    },
}
IN_A_JOB = frozenset(
    [
        "job_held",
        "job_resumed",
        "quote_given",
        "quote_answered",
        "labour_started",
        "labour_stopped",
        "labour_logged",
        "released",
        "job_closed",
    ]
)
