"""A small book of random entries that keep meeting one another."""

from __future__ import annotations

import random
from datetime import UTC, datetime, timedelta
from typing import Any

from ledger.errors import Refused
from tests.independent.hand_made import FIRST, FOURTH, SECOND, THIRD, Bench, amount, km

PLACES = (
    *("chain", "crank", "bottom_bracket", "chainring", "chainring.inner", "front_wheel"),
    *("front_wheel.tyre", "front_brake.rotor", "rear_wheel", "cassette", "stem", "headset"),
)


class Dice:
    """Random entries of a few bikes: few places, few parts, few days, so that they meet."""

    def __init__(self, bench: Bench, seed: int) -> None:
        self.bench = bench
        self.random = random.Random(seed)
        self.tags = [FIRST, SECOND, THIRD, FOURTH]
        self.entered: list[tuple[str, str, str | None]] = []
        self.struck: list[tuple[str, str, str | None]] = []
        self.count_refused = 0

    def roll(self, count: int) -> None:
        for tag in self.tags:
            self.bench.enter(tag, "01-01", "bike_registered", {"speeds": 11})
        for _ in range(count):
            try:
                self._one()
            except Refused:
                self.count_refused += 1

    def _one(self) -> None:
        which = self.random.random()
        if which < 0.07 and self.entered:
            one = self.random.choice(self.entered)
            self.bench.strike(one[0])
            self.struck.append(one)
        elif which < 0.11 and self.struck:
            restored, kind, bike = self.random.choice(self.struck)
            self._enter(kind, bike, restores=restored)
        else:
            self._enter(self.random.choice(KINDS), self.random.choice(self.tags))

    def _enter(self, kind: str, bike: str | None, **more: Any) -> None:
        data = getattr(self, f"_{kind}")()
        if kind in ("bike_linked", "terms_set"):
            bike = None
        elif kind.startswith("job_"):
            more["job"] = f"job-{bike}-{self.random.randrange(4)}"
        at = datetime(2025, 2, 1, tzinfo=UTC) + timedelta(days=self.random.randrange(40))
        identity = self.bench.enter(bike, at.isoformat(), kind, data, **more)
        self.entered.append((identity, kind, bike))

    def _maybe(self, name: str, *values: Any) -> dict[str, Any]:
        return {name: self.random.choice(values)} if self.random.random() < 0.5 else {}

    def _at(self) -> dict[str, Any]:
        return {"position": self.random.choice(PLACES)}

    def _code(self) -> str:
        return self.random.choice(("creak", "play"))

    def _puts_right(self) -> dict[str, Any]:
        return self._maybe("puts_right", {"fault": self._code(), **self._maybe_at()})

    def _maybe_at(self) -> dict[str, Any]:
        return self._maybe("position", *PLACES)

    def _part(self) -> str:
        return f"part-{self.random.randrange(6)}"

    def _rider_changed(self) -> dict[str, Any]:
        rider = self._maybe("rider", "r1", "r2") | self._maybe("keeper", "r3", "r4")
        return rider | self._maybe("riding", "courier", "touring")

    def _distance_read(self) -> dict[str, Any]:
        replaced = self.random.random() < 0.3
        return km(self.random.randrange(20) * 100, computer_replaced=replaced)

    def _bike_linked(self) -> dict[str, Any]:
        first, second = self.random.sample(self.tags, 2)
        return {"first": {"bike": first}, "second": {"bike": second}}

    def _terms_set(self) -> dict[str, Any]:
        hides = self.random.sample(PLACES, 2)
        code = self.random.choice(("sidecar", "trailer"))
        new = {"code": code, "label": code, "hides": hides}
        return {"from_on": "2025-02-20", "positions": [new]}

    def _job_opened(self) -> dict[str, Any]:
        promised = self._maybe("promised_at", "2025-03-20T15:00:00Z")
        return promised | self._maybe("riding", "family", "sport")

    def _job_held(self) -> dict[str, Any]:
        return {"waiting_for": self.random.choice(("answer", "part"))}

    def _job_resumed(self) -> dict[str, Any]:
        return {}

    def _job_closed(self) -> dict[str, Any]:
        return {}

    def _advised(self) -> dict[str, Any]:
        return self._at() | {"verdict": "due", "urgency": "soon"}

    def _advice_answered(self) -> dict[str, Any]:
        known = [identity for identity, kind, _ in self.entered if kind == "advised"]
        answer = self.random.choice(("yes", "no", "later", "no reply"))
        return {"advice": self.random.choice(known or [""]), "answer": answer, "how": "phone"}

    def _inspected(self) -> dict[str, Any]:
        verdict = self.random.choice(("within limit", "watch", "due", "unsafe", "not checked"))
        why = {"why_not_checked": "Dark."} if verdict == "not checked" else {}
        cause = self._maybe("cause", "wear", "dry")
        return self._at() | {"verdict": verdict} | self._maybe("fault", self._code()) | cause | why

    def _diagnosed(self) -> dict[str, Any]:
        found = {"symptom": self._code(), "why_stopped": "other"}
        return self._at() | found | self._maybe("cause", "salt", "age")

    def _measured(self) -> dict[str, Any]:
        quantity, unit = self.random.choice((("gap", "mm"), ("thickness", "mm")))
        figure = amount(self.random.randrange(1, 12), unit)
        reading = {self.random.choice(("value", "low", "high")): figure}
        return self._at() | reading | {"quantity": quantity} | self._maybe("point", "left", "right")

    def _part_fitted(self) -> dict[str, Any]:
        fitting = {"part": self._part(), "make": "Tolva", "is_found": self.random.random() < 0.3}
        return self._at() | fitting | self._maybe("replaces", self._part()) | self._puts_right()

    def _part_removed(self) -> dict[str, Any]:
        return self._at() | self._puts_right()

    def _adjusted(self) -> dict[str, Any]:
        chosen = self.random.randrange(5)
        if chosen == 0:
            return self._at() | self._puts_right()
        figure = amount(self.random.randrange(3, 9), "mm" if chosen == 1 else "N·m")
        quantity = {"quantity": "gap" if chosen == 1 else "torque", "after": figure}
        return self._at() | quantity | self._maybe("point", "left", "right") | self._puts_right()

    def _treated(self) -> dict[str, Any]:
        return self._at() | {"treatment": "greased"} | self._puts_right()


KINDS = (
    *("rider_changed", "distance_read", "distance_read", "bike_linked", "job_opened"),
    *("job_held", "job_resumed", "job_closed", "advised", "advice_answered", "inspected"),
    *("inspected", "diagnosed", "measured", "measured", "part_fitted", "part_fitted"),
    *("part_removed", "adjusted", "adjusted", "adjusted", "treated"),
)
