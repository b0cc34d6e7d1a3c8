"""Drafts, ids and commits: how one workshop's events are written down, in order of recording."""

from __future__ import annotations

from random import Random
from typing import Any

from demo_events.days import moment_text
from demo_events.names import SHOP

Draft = dict[str, Any]
Commit = tuple[int, list[Draft]]
"""(recorded at, in µs of Unix time; the drafts saved together, complete but for `seq`)."""

VERSIONS = {"distance_read": 2}


class Desk:
    """Makes drafts and gathers the commits of a day; later days' commits wait their turn."""

    def __init__(self, rng: Random) -> None:
        self.rng = rng
        self.saved: list[Commit] = []
        self.by_day: dict[int, list[Commit]] = {}

    def new_id(self, instant: int) -> str:
        """Give a UUIDv7 (RFC 9562) of a simulated instant; its random bits are seeded."""
        bits = self.rng.getrandbits(84)
        number = (instant * 1000 + bits % 1000) << 80 | 0x7 << 76 | (bits >> 10 & 0xFFF) << 64
        text = f"{number | 0x2 << 62 | bits >> 22:032x}"
        return f"{text[:8]}-{text[8:12]}-{text[12:16]}-{text[16:20]}-{text[20:]}"

    def draft(
        self, kind: str, at: int, actor: str, data: dict[str, Any], *,
        bike: str | None = None, job: str | None = None, now: int = 0,
    ) -> Draft:  # fmt: skip
        """Give one event but for seq and recorded_at; `now` is later than `at` if backdated."""
        made: Draft = {"id": self.new_id(max(at, now)), "kind": kind}
        made["schema_version"] = VERSIONS.get(kind, 1)
        made["shop"] = SHOP
        if bike is not None:
            made["bike"] = bike
        if job is not None:
            made["job"] = job
        made["actor"] = actor
        made["occurred_at"] = moment_text(at)
        made["data"] = data
        return made

    def save(self, instant: int, drafts: list[Draft]) -> None:
        """Commit drafts together at a recording instant of the day being worked."""
        microsecond = int(self.rng.random() * 1e6)
        recorded = moment_text(instant, microsecond)
        for draft in drafts:
            draft["recorded_at"] = recorded
        self.saved.append((instant * 1_000_000 + microsecond, drafts))

    def take_day(self) -> list[Commit]:
        """Give the day's commits in order of recording, and start the next day empty."""
        self.saved.sort(key=_recorded)
        taken, self.saved = self.saved, []
        return taken


def _recorded(commit: Commit) -> int:
    return commit[0]
