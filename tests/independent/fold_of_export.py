"""A second, independent answer to what a bike is: a fold of the export, from DEVELOPERS.md alone.

It reads the lines of `lockring export --form cloudevents --clear`, takes the canonical units and
`hides` from the vocabulary's TOML files as data, and imports nothing of the ledger. By hand:

    python -m tests.independent.fold_of_export events.jsonl 7K3M9QXA 2026-03-01T12:00:00Z 4711
"""

from __future__ import annotations

import json
import sys
import tomllib
from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

WORDS = Path(__file__).resolve().parents[2] / "ledger" / "vocabulary"
OPENING = ("watch", "due", "unsafe")
MENDING = ("part_fitted", "part_removed", "adjusted", "treated")


@dataclass(frozen=True)
class Entry:
    """One line of the export."""

    seq: int
    id: str
    kind: str
    bike: str | None
    job: str | None
    at: datetime
    data: dict[str, Any]

    @property
    def place(self) -> str:
        return self.data["position"]

    def figure(self, name: str) -> Decimal | None:
        amount = self.data.get(name)
        return None if amount is None else Decimal(amount["canonical"])


def moment(text: str) -> datetime:
    return datetime.fromisoformat(text).astimezone(UTC)


def written(at: datetime | None) -> str | None:
    return None if at is None else at.strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def parse(line: str) -> Entry:
    raw = json.loads(line)
    kind = raw["type"].split(".")[1]
    at = moment(raw["time"])
    return Entry(raw["seq"], raw["id"], kind, raw.get("subject"), raw.get("job"), at, raw["data"])


def _standard(name: str, part: str) -> dict[str, Any]:
    return tomllib.loads((WORDS / f"{name}.toml").read_text("utf-8"))[part]


@dataclass
class Export:
    """Every line of an export, by what it is about."""

    shop: str
    entries: list[Entry]
    of_bike: dict[str, list[Entry]] = field(default_factory=lambda: defaultdict(list))
    struck_by: dict[str, int] = field(default_factory=dict)
    links: list[Entry] = field(default_factory=list)
    terms: list[Entry] = field(default_factory=list)
    units: dict[str, str] = field(default_factory=dict)
    hides: dict[str, list[str]] = field(default_factory=dict)

    @classmethod
    def read(cls, lines: Iterable[str]) -> Export:
        rows = [line for line in lines if line.strip()]
        export = cls(json.loads(rows[0])["source"].split("/")[-1], [parse(row) for row in rows])
        for entry in export.entries:
            export._sort(entry)
        quantities = _standard("quantities", "quantities")
        export.units = {code: word["unit"] for code, word in quantities.items()}
        positions = _standard("positions", "positions")
        export.hides = {code: word.get("hides", []) for code, word in positions.items()}
        for entry in export.terms:
            added = entry.data.get("quantities", [])
            export.units |= {word["code"]: word["unit"] for word in added}
        return export

    def _sort(self, entry: Entry) -> None:
        if entry.bike is not None:
            self.of_bike[entry.bike].append(entry)
        if entry.kind == "event_struck":
            self.struck_by[entry.data["target"]] = entry.seq
        elif entry.kind == "bike_linked":
            self.links.append(entry)
        elif entry.kind == "terms_set":
            self.terms.append(entry)

    def is_known(self, entry: Entry, known: int) -> bool:
        """Say whether it was recorded by `known` and not struck by then."""
        return entry.seq <= known < self.struck_by.get(entry.id, known + 1)

    def hides_as_known(self, known: int) -> dict[str, list[str]]:
        """Give what each position hides, terms that hold from a later day last."""
        terms = [entry for entry in self.terms if self.is_known(entry, known)]
        terms.sort(key=lambda entry: (entry.data["from_on"], entry.seq))
        words = (word for entry in terms for word in entry.data.get("positions", []))
        return self.hides | {word["code"]: word.get("hides", []) for word in words}

    def tags(self, bike: str, known: int) -> set[str]:
        """Give every tag of that one bike: itself and what links join to it, however far."""
        pairs = [self._ends(link) for link in self.links if self.is_known(link, known)]
        found = {bike}
        while more := {t for pair in pairs if pair & found for t in pair} - found:
            found |= more
        return found

    def _ends(self, link: Entry) -> set[str]:
        ends = (link.data["first"], link.data["second"])
        return {end["bike"] for end in ends if end.get("shop", self.shop) == self.shop}

    def live(self, bike: str, as_at: datetime, known: int) -> list[Entry]:
        """Give what of the bike is live, in the order it occurred."""
        events = (e for tag in self.tags(bike, known) for e in self.of_bike.get(tag, ()))
        counts = (e for e in events if e.kind != "event_struck" and e.at <= as_at)
        return sorted((e for e in counts if self.is_known(e, known)), key=lambda e: (e.at, e.seq))

    def state(self, bike: str, as_at: datetime, known: int) -> dict[str, Any]:
        """Give what `lockring state` prints; figures are Decimal."""
        known = min(known, len(self.entries))
        live = self.live(bike, as_at, known)
        distances = list(_distances(live))
        return {
            "shop": self.shop,
            "bike": bike,
            "as_at": written(as_at),
            "as_known": known,
            **_people(live),
            "distance_km": distances[-1] if distances else None,
            "fitted": _fitted(live, distances, as_at),
            "readings": _readings(live, self.units),
            "settings": _settings(live, self.units, self.hides_as_known(known)),
            "faults_open": _faults(live),
            "findings_open": _findings(live),
            "advice_open": _advice(live),
            "jobs_open": _jobs(live),
            "events_used": len(live),
        }


def _people(live: list[Entry]) -> dict[str, Any]:
    changes = [e.data for e in live if e.kind == "rider_changed"]
    last = changes[-1] if changes else {}
    telling = ("bike_registered", "rider_changed", "job_opened")
    ridings = [e.data["riding"] for e in live if e.kind in telling and e.data.get("riding")]
    return {
        "rider": last.get("rider"),
        "keeper": last.get("keeper"),
        "riding": ridings[-1] if ridings else None,
    }


def _distances(live: list[Entry]) -> Iterator[Decimal | None]:
    """Give the distance after each live event: None before the first reading."""
    earlier, highest, now = Decimal(0), Decimal(0), None
    for entry in live:
        if entry.kind == "distance_read":
            shown = entry.figure("odometer")
            assert shown is not None
            if entry.data.get("computer_replaced"):
                earlier, highest = earlier + highest, Decimal(0)
            highest = max(highest, shown)
            now = earlier + shown
        yield now


def _fitted(
    live: list[Entry], distances: list[Decimal | None], as_at: datetime
) -> list[dict[str, Any]]:
    there: dict[str, dict[str, Any]] = {}
    for entry, before in zip(live, distances, strict=True):
        if entry.kind == "part_removed":
            there.pop(entry.place, None)
        elif entry.kind == "part_fitted":
            is_found = entry.data.get("is_found", False)
            since = None if is_found or before is None else distances[-1] - before
            there[entry.place] = {
                "position": entry.place,
                "part": entry.data.get("part"),
                "make": entry.data.get("make"),
                "model": entry.data.get("model"),
                "fitted_at": None if is_found else written(entry.at),
                "distance_since_fitted_km": since,
                "days_since_fitted": None if is_found else (as_at - entry.at) // timedelta(days=1),
            }
    return [there[place] for place in sorted(there)]


def _changes_part(entry: Entry) -> bool:
    is_fitting = entry.kind == "part_fitted" and not entry.data.get("is_found")
    return is_fitting or entry.kind == "part_removed"


def _is_within(place: str, other: str) -> bool:
    return place == other or place.startswith(other + ".")


def _key(entry: Entry) -> tuple[str, str, str | None]:
    return entry.place, entry.data.get("quantity", ""), entry.data.get("point")


def _in_order(rows: dict[Any, dict[str, Any]]) -> list[dict[str, Any]]:
    def place(row: dict[str, Any]) -> tuple[Any, ...]:
        return row["position"], row["quantity"], row["point"] is not None, row["point"] or ""

    return sorted(rows.values(), key=place)


def _readings(live: list[Entry], units: dict[str, str]) -> list[dict[str, Any]]:
    held: dict[Any, dict[str, Any]] = {}
    for entry in live:
        if _changes_part(entry):
            held = {k: v for k, v in held.items() if not _is_within(k[0], entry.place)}
        elif entry.kind == "measured":
            position, quantity, point = _key(entry)
            held[_key(entry)] = {
                "position": position,
                "quantity": quantity,
                "point": point,
                "value": entry.figure("value"),
                "value_low": entry.figure("low"),
                "value_high": entry.figure("high"),
                "unit": units[quantity],
                "measured_at": written(entry.at),
                "limit": entry.figure("limit"),
                "verdict": entry.data.get("verdict"),
                "event": entry.id,
            }
    return _in_order(held)


def _voids(entry: Entry, key: tuple[str, str, str | None], hides: dict[str, list[str]]) -> bool:
    """Say whether what was done here ends the setting `key`, made before."""
    place, quantity, _ = key
    if _changes_part(entry) and _is_within(place, entry.place):
        return True
    if quantity != "torque" or not (_changes_part(entry) or entry.kind == "adjusted"):
        return False
    if entry.place in hides.get(place, []):
        return True
    is_torque = entry.data.get("quantity") == "torque"
    return entry.kind == "adjusted" and not is_torque and entry.place == place


def _settings(
    live: list[Entry], units: dict[str, str], hides: dict[str, list[str]]
) -> list[dict[str, Any]]:
    held: dict[Any, dict[str, Any]] = {}
    for entry in live:
        if entry.kind not in ("adjusted", "part_fitted", "part_removed"):
            continue
        held = {k: v for k, v in held.items() if not _voids(entry, k, hides)}
        if entry.kind == "adjusted" and entry.figure("after") is not None:
            position, quantity, point = _key(entry)
            held[_key(entry)] = {
                "position": position,
                "quantity": quantity,
                "point": point,
                "value": entry.figure("after"),
                "unit": units[quantity],
                "set_at": written(entry.at),
                "event": entry.id,
            }
    return _in_order(held)


def _found(entry: Entry) -> str | None:
    """Give the fault an event opens, if any."""
    if entry.kind == "diagnosed":
        return entry.data["symptom"]
    if entry.kind == "inspected" and entry.data["verdict"] in OPENING:
        return entry.data.get("fault")
    return None


def _mended(entry: Entry) -> tuple[str, str] | None:
    """Give the position and the fault an event closes, if any."""
    if entry.kind == "inspected" and entry.data["verdict"] == "within limit":
        fault = entry.data.get("fault")
        return (entry.place, fault) if fault else None
    right = entry.data.get("puts_right") if entry.kind in MENDING else None
    return (right.get("position", entry.place), right["fault"]) if right else None


def _faults(live: list[Entry]) -> list[dict[str, Any]]:
    held: dict[tuple[str, str], dict[str, Any]] = {}
    for entry in live:
        if mended := _mended(entry):
            held.pop(mended, None)
        elif fault := _found(entry):
            row = held.setdefault(
                (entry.place, fault),
                {
                    "position": entry.place,
                    "fault": fault,
                    "cause": None,
                    "verdict": None,
                    "found_at": written(entry.at),
                    "event": entry.id,
                },
            )
            row["cause"] = entry.data.get("cause", row["cause"])
            if entry.kind == "inspected":
                row["verdict"] = entry.data["verdict"]
    return [held[key] for key in sorted(held)]


def _findings(live: list[Entry]) -> list[dict[str, Any]]:
    held: dict[str, dict[str, Any]] = {}
    for entry in live:
        if _changes_part(entry):
            held = {k: v for k, v in held.items() if not _is_within(k, entry.place)}
        elif entry.kind == "inspected" and not entry.data.get("fault"):
            verdict = entry.data["verdict"]
            if verdict != "not checked":
                held.pop(entry.place, None)
            if verdict in ("due", "unsafe"):
                held[entry.place] = {
                    "position": entry.place,
                    "verdict": verdict,
                    "found_at": written(entry.at),
                    "event": entry.id,
                }
    return [held[key] for key in sorted(held)]


def _advice(live: list[Entry]) -> list[dict[str, Any]]:
    answers = {e.data["advice"]: e.data["answer"] for e in live if e.kind == "advice_answered"}
    rows = [
        {
            "position": e.place,
            "verdict": e.data["verdict"],
            "urgency": e.data["urgency"],
            "advised_at": written(e.at),
            "answer": answers.get(e.id),
            "event": e.id,
        }
        for e in live
        if e.kind == "advised" and answers.get(e.id) not in ("yes", "no")
    ]
    return sorted(rows, key=lambda row: row["event"])


def _jobs(live: list[Entry]) -> list[dict[str, Any]]:
    held: dict[str, dict[str, Any]] = {}
    closed = {e.job for e in live if e.kind == "job_closed"}
    waiting: dict[str, str | None] = {}
    for entry in live:
        if entry.job is None:
            continue
        if entry.kind == "job_opened" and entry.job not in closed:
            promised = entry.data.get("promised_at")
            held[entry.job] = {
                "job": entry.job,
                "tier": entry.data.get("tier"),
                "opened_at": written(entry.at),
                "promised_at": written(moment(promised)) if promised else None,
            }
        elif entry.kind in ("job_held", "job_resumed"):
            waiting[entry.job] = entry.data.get("waiting_for")
    return [{**row, "waiting_for": waiting.get(job)} for job, row in sorted(held.items())]


def main(path: str, bike: str, as_at: str, known: str) -> None:
    """Print one bike of an export, figures as plain numbers."""
    with Path(path).open(encoding="utf-8") as lines:
        state = Export.read(lines).state(bike, moment(as_at), int(known))

    def number(figure: Decimal) -> int | float:
        return int(figure) if figure == figure.to_integral_value() else float(figure)

    print(json.dumps(state, indent=2, default=number))


if __name__ == "__main__":
    main(*sys.argv[1:])
