"""What was found, measured, fitted, set and treated in one visit."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from decimal import Decimal

from ledger.figures.written import made
from ledger.queries import TimelineEntry
from ledger.reports.shapes import Found, Measured, Moved, Set
from ledger.reports.words import NO_LIMIT, Data, PageWords, capital
from ledger.view import BikeView

GRAVITY = ("unsafe", "due", "watch", "not checked", NO_LIMIT, "", "within limit")
"""The gravest first: what is cut from a long list is never what matters most."""
EVERY_BIKE_HAS = (
    "drivetrain",
    "front_brake",
    "rear_brake",
    "front_wheel",
    "rear_wheel",
    "steering",
    "frame",
)
ORIGINS = {
    "riders own": "the rider's own",
    "second hand": "second hand",
    "warranty": "under warranty",
    "unknown": "where it came from is not known",
}
KEPT = {"given back": "given back", "stored": "stored"}
SINCE = ", part replaced since"
NOT_IN_BOOK = "not in the book"
Still = Collection[tuple[str, str | None]]
"""Positions and faults that stand at the end; no fault where a look named none."""
MAXIMA = ("tyre", "rim", "insert")


def gravity(verdict: str) -> int:
    """Give where a verdict stands among those told first."""
    return GRAVITY.index(verdict) if verdict in GRAVITY else len(GRAVITY)


def found(entries: Iterable[TimelineEntry], view: BikeView, words: PageWords) -> tuple[Found, ...]:
    """Give every look and every search for a cause, the gravest first.

    `view` is the bike at the end of the visit: a fault open in it was not put right.
    """
    still: set[tuple[str, str | None]] = {(one.position, one.fault) for one in view.faults_open}
    still |= {(one.position, None) for one in view.findings_open}
    rows = []
    for entry in entries:
        if entry.kind == "inspected":
            rows.append(_inspected(entry.data, still, words))
        elif entry.kind == "diagnosed":
            rows.append(_diagnosed(entry.data, still, words))
    return tuple(sorted(rows, key=lambda row: gravity(row.verdict)))


def _state(position: str, fault: str | None, still: Still) -> str:
    return "left as it is" if (position, fault) in still else "put right or gone"


def _inspected(data: Data, still: Still, words: PageWords) -> Found:
    taken_in = words.positions(data.get("covers", ()))
    is_left = data["verdict"] == "not checked"
    why = words.text(data, "why_not_checked")
    stands = data.get("fault") is not None or data["verdict"] in ("due", "unsafe")
    return Found(
        what=capital(words.place(data)),
        said=words.said(
            words.fault(data),
            f"why: {why}" if is_left else "",
            f"with {taken_in}" if taken_in and not is_left else "",
            words.text(data, "note"),
        ),
        state=_state(data["position"], data.get("fault"), still) if stands else "",
        verdict=data["verdict"],
    )


def _diagnosed(data: Data, still: Still, words: PageWords) -> Found:
    cause = words.label("causes", data.get("cause")) or "not found"
    stopped = data["why_stopped"]
    return Found(
        what=capital(words.place(data)),
        said=words.said(
            f"{words.label('faults', data['symptom'])}, cause: {cause}",
            "" if stopped == "cause found" else f"the search stopped: {stopped}",
            words.text(data, "note"),
        ),
        state=_state(data["position"], data["symptom"], still),
        verdict="",
    )


def not_looked_at(
    visit: Iterable[TimelineEntry], life: Iterable[TimelineEntry], words: PageWords
) -> tuple[str, ...]:
    """Give the systems of which no look and no reading was recorded in the visit.

    Those every bike has, and those this bike ever had anything recorded of.
    """
    seen = {words.system(position) for entry in visit for position in _looked_at(entry)}
    has = {*EVERY_BIKE_HAS, *(entry.system for entry in life if entry.system)}
    systems = words.vocabulary.systems
    return tuple(systems[code] for code in systems if code in has and code not in seen)


def _looked_at(entry: TimelineEntry) -> Iterator[str]:
    if entry.kind in ("measured", "inspected"):  # what was not checked says so in its own row
        yield entry.data["position"]
        yield from entry.data.get("covers", ())


def measured(entries: Iterable[TimelineEntry], words: PageWords) -> tuple[Measured, ...]:
    """Give every reading, the gravest first; what has no limit has no verdict either."""
    entries = list(entries)
    last_fitted = {
        entry.data["position"]: entry.occurred_at
        for entry in entries
        if entry.kind == "part_fitted" and not entry.data.get("is_found")
    }

    def since(entry: TimelineEntry) -> str:
        fitted_at = last_fitted.get(entry.data["position"])
        return SINCE if fitted_at is not None and fitted_at > entry.occurred_at else ""

    rows = [
        Measured(
            what=capital(words.what(entry.data)),
            figure=words.reading(entry.data) + since(entry),
            limit=words.limit(entry.data),
            verdict=entry.data.get("verdict") or NO_LIMIT,
        )
        for entry in entries
        if entry.kind == "measured"
    ]
    return tuple(sorted(rows, key=lambda row: gravity(row.verdict)))


def moved(entries: Iterable[TimelineEntry], words: PageWords) -> tuple[Moved, ...]:
    """Give the parts that were fitted and taken off; one that was found fitted is neither."""
    rows = []
    for entry in entries:
        if entry.kind == "part_fitted" and not entry.data.get("is_found"):
            rows.append(_fitted(entry.data, words))
        elif entry.kind == "part_removed":
            rows.append(_removed(entry.data, words))
    return tuple(rows)


def _fitted(data: Data, words: PageWords) -> Moved:
    name = made(data.get("make"), data.get("model")) or "make not noted"
    return Moved(
        what=capital(words.place(data)),
        part=" ".join(filter(None, (name, data.get("size")))),
        said=words.said(
            "fitted in place of the old one" if data.get("replaces") else "fitted",
            ORIGINS.get(data.get("origin", "shop"), ""),
            words.text(data, "note"),
        ),
    )


def _removed(data: Data, words: PageWords) -> Moved:
    reason = data.get("reason", "other")
    return Moved(
        what=capital(words.place(data)),
        part="taken off",
        said=words.said(
            "" if reason == "other" else reason,
            KEPT.get(data.get("kept", "other"), ""),
            words.text(data, "note"),
        ),
    )


# -- what was set --------------------------------------------------------------------------------


def settings(
    visit: Iterable[TimelineEntry], life: Sequence[TimelineEntry], words: PageWords
) -> tuple[Set, ...]:
    """Give the figures that were set, with the maker's range or maximum where the book has it.

    Of a pressure with no range, the maximum is the lowest that the makers of the tyre, the rim
    and an insert on the same wheel give.
    """
    maxima = _pressure_maxima(life, words)
    return tuple(
        _set(entry.data, maxima, words)
        for entry in visit
        if entry.kind == "adjusted" and entry.data.get("quantity")
    )


def _set(data: Data, maxima: Mapping[str, Data], words: PageWords) -> Set:
    quantity, low, high = data["quantity"], data.get("maker_low"), data.get("maker_high")
    if quantity == "pressure" and low is None and high is None:
        high = maxima.get(words.system(data["position"]))
    before = words.amount(quantity, data.get("before"))
    figure = words.amount(quantity, data["after"])
    told = words.range(quantity, low, high)
    return Set(
        what=capital(words.what(data)),
        figure=f"{figure} (was {before})" if before else figure,
        makers=told or NOT_IN_BOOK,
        is_outside=_is_outside(data["after"], low, high),
    )


def _is_outside(after: Data, low: Data | None, high: Data | None) -> bool:
    value, least, most = (_canonical(amount) for amount in (after, low, high))
    if value is None:
        return False
    return (least is not None and value < least) or (most is not None and value > most)


def _canonical(amount: Data | None) -> Decimal | None:
    told = (amount or {}).get("canonical")
    return None if told is None else Decimal(told)


def _pressure_maxima(life: Iterable[TimelineEntry], words: PageWords) -> dict[str, Data]:
    """Give by wheel the lowest maximum pressure of what is fitted there now."""
    by_place: dict[str, Data] = {}
    for entry in life:
        if entry.kind in ("part_fitted", "part_removed"):
            by_place[entry.data["position"]] = entry.data if entry.kind == "part_fitted" else {}
    found: dict[str, Data] = {}
    for place, data in by_place.items():
        told = [one["limit"] for one in data.get("limits", ()) if one["quantity"] == "pressure"]
        if place.rpartition(".")[2] in MAXIMA:
            system = words.system(place)
            known = [one for one in (*told, found.get(system)) if _canonical(one) is not None]
            if known:
                found[system] = min(known, key=lambda one: _canonical(one) or Decimal(0))
    return found


def treated(entries: Iterable[TimelineEntry], words: PageWords) -> tuple[str, ...]:
    """Give what was cleaned, lubricated, trued, and what was adjusted without a figure."""
    rows = []
    for entry in entries:
        data = entry.data
        if entry.kind == "treated":
            done = words.label("treatments", data["treatment"])
        elif entry.kind == "adjusted" and not data.get("quantity"):
            done = "adjusted"
        else:
            continue
        right = words.fault(data.get("puts_right") or {})
        said = words.said(right, words.text(data, "note"))
        rows.append(f"{words.place(data)} {done}" + (f": {said}" if said else ""))
    return tuple(rows)
