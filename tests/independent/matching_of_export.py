"""A second, independent answer to what was found again: loops over the export, by the Words.

It reads the lines of `lockring export --form cloudevents --clear` through `fold_of_export` and
imports nothing of the ledger. Every definition is that of "Words" in DEVELOPERS.md.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import Any
from zoneinfo import ZoneInfo

from tests.independent.fold_of_export import MENDING, OPENING, Entry, Export

DAY = timedelta(days=1)
RIDING = ("bike_registered", "rider_changed", "job_opened")
MOVES = ("part_fitted", "part_removed")
Row = dict[str, Any]


@dataclass(frozen=True)
class Mark:
    """An event that finds a fault, puts it right, or finds it gone."""

    entry: Entry
    role: str
    """`opening`, `repair` or `clearing`."""
    position: str
    fault: str
    cause: str | None

    @property
    def place(self) -> tuple[str, str]:
        return self.position, self.fault

    @property
    def is_after_work(self) -> bool:
        return self.role != "opening"


def mark_of(entry: Entry) -> Mark | None:
    data = entry.data
    if entry.kind == "diagnosed":
        return Mark(entry, "opening", entry.place, data["symptom"], data.get("cause"))
    if entry.kind == "inspected" and data.get("fault"):
        role = {"within limit": "clearing", **dict.fromkeys(OPENING, "opening")}.get(
            data["verdict"]
        )
        return role and Mark(entry, role, entry.place, data["fault"], data.get("cause"))
    if entry.kind in MENDING and data.get("puts_right"):
        right = data["puts_right"]
        at = right.get("position") or entry.place
        return Mark(entry, "repair", at, right["fault"], right.get("cause"))
    return None


@dataclass
class Episode:
    """One fault at one position of one bike, from found until put right or cleared."""

    marks: list[Mark]

    @property
    def found(self) -> Entry:
        return self.marks[0].entry

    @property
    def repair(self) -> Entry | None:
        """The last repair."""
        repairs = [mark.entry for mark in self.marks if mark.role == "repair"]
        return repairs[-1] if repairs else None

    @property
    def cleared(self) -> Entry | None:
        """The first clearing, where nothing was put right."""
        cleared = [mark.entry for mark in self.marks if mark.role == "clearing"]
        return cleared[0] if cleared and self.repair is None else None

    @property
    def end(self) -> Entry | None:
        return self.repair or self.cleared

    @property
    def cause(self) -> str | None:
        told = [mark.cause for mark in self.marks if mark.cause]
        return told[-1] if told else None

    @property
    def verdict(self) -> str | None:
        looks = [m.entry.data["verdict"] for m in self.marks
                 if m.role == "opening" and m.entry.kind == "inspected"]  # fmt: skip
        return looks[-1] if looks else None

    def begins_anew(self, mark: Mark) -> bool:
        """Say whether the mark that follows the last of these is of another episode."""
        last = self.marks[-1]
        if not last.is_after_work or mark.role == "clearing":
            return False
        same_job = mark.entry.job is not None and mark.entry.job == last.entry.job
        return mark.role == "opening" or not same_job


def episodes_of(marks: list[Mark]) -> list[Episode]:
    """Give the episodes of one fault at one position, in order."""
    found: list[Episode] = []
    for mark in marks:
        if not found:
            if mark.role != "clearing":
                found.append(Episode([mark]))
        elif found[-1].begins_anew(mark):
            found.append(Episode([mark]))
        else:
            found[-1].marks.append(mark)
    return found


@dataclass
class Bike:
    """One bike with its live events, and what can be told from them."""

    name: str
    live: list[Entry]
    readings: list[tuple[Entry, float, int]] = field(default_factory=list)
    """(event, km summed over computers, number of the computer)."""

    def __post_init__(self) -> None:
        earlier, highest, computer = 0.0, 0.0, 0
        for entry in self.live:
            if entry.kind == "distance_read":
                shown = float(entry.figure("odometer") or 0)
                if entry.data.get("computer_replaced"):
                    earlier, highest, computer = earlier + highest, 0.0, computer + 1
                highest = max(highest, shown)
                self.readings.append((entry, earlier + shown, computer))
        self.place = {entry.id: number for number, entry in enumerate(self.live)}

    def until(self, entry: Entry) -> list[Entry]:
        return self.live[: self.place[entry.id] + 1]

    def episodes(self) -> list[tuple[tuple[str, str], list[Episode]]]:
        marks: dict[tuple[str, str], list[Mark]] = defaultdict(list)
        for entry in self.live:
            if mark := mark_of(entry):
                marks[mark.place].append(mark)
        return [(place, episodes_of(own)) for place, own in marks.items()]

    def riding(self, entry: Entry) -> str | None:
        told = [e.data.get("riding") for e in self.until(entry) if e.kind in RIDING]
        return ([riding for riding in told if riding] or [None])[-1]

    def tier(self, entry: Entry) -> str | None:
        opened = [e for e in self.live if e.kind == "job_opened" and e.job == entry.job]
        return opened[-1].data.get("tier") if opened and entry.job else None

    def model(self, entry: Entry, position: str, *, is_repair: bool) -> str | None:
        if is_repair and entry.kind == "part_fitted":
            return entry.data.get("model")
        moves = [e for e in self.until(entry) if e.kind in MOVES and e.place == position]
        return moves[-1].data.get("model") if moves and moves[-1].kind == "part_fitted" else None

    def carried(self, episode: Episode) -> int:
        end = len(self.live) if episode.end is None else self.place[episode.end.id]
        span = self.live[self.place[episode.found.id] : end]
        return len([entry for entry in span if entry.kind == "job_closed"])

    # -- distances -------------------------------------------------------------------------

    @property
    def km_a_day(self) -> float | None:
        pairs = [
            (a, b) for a, b in zip(self.readings, self.readings[1:], strict=False) if a[2] == b[2]
        ]
        days = sum((b[0].at - a[0].at) / DAY for a, b in pairs)
        km = sum(b[1] - a[1] for a, b in pairs)
        return max(km, 0.0) / days if days >= 30 else None

    def km(self, entry: Entry | None) -> float | None:
        """Give how far the bike had gone at an event."""
        if entry is None:
            return None
        order = (entry.at, entry.seq)
        earlier = [r for r in self.readings if (r[0].at, r[0].seq) < order]
        later = [r for r in self.readings if (r[0].at, r[0].seq) > order]
        since = (entry.at - earlier[-1][0].at) / DAY if earlier else None
        ahead = (later[0][0].at - entry.at) / DAY if later else None
        if since is not None and since <= 1 and (ahead is None or since <= ahead):
            return earlier[-1][1]
        if ahead is not None and ahead <= 1:
            return later[0][1]
        if since is not None and ahead is not None:
            share = since / (since + ahead)
            return earlier[-1][1] + share * (later[0][1] - earlier[-1][1])
        if self.km_a_day is None or (since is None and ahead is None):
            return None
        if since is not None:
            return earlier[-1][1] + since * self.km_a_day
        return later[0][1] - (ahead or 0.0) * self.km_a_day

    def km_between(self, first: Entry, second: Entry) -> float | None:
        start, end = self.km(first), self.km(second)
        return None if start is None or end is None else max(end - start, 0.0)


@dataclass(frozen=True)
class Repeat:
    """An episode found again, the one whose repair it answers, and how it came back."""

    bike: Bike
    later: Episode
    first: Episode
    window: tuple[int, int]

    @property
    def repair(self) -> Entry:
        assert self.first.repair is not None
        return self.first.repair

    @property
    def days(self) -> float:
        return (self.later.found.at - self.repair.at) / DAY

    @property
    def km(self) -> float | None:
        return self.bike.km_between(self.repair, self.later.found)

    @property
    def is_in_window(self) -> bool:
        is_early = self.later.found.at - self.repair.at <= timedelta(days=self.window[0])
        return is_early or (self.km is not None and self.km <= self.window[1])


def answered(episodes: list[Episode], number: int) -> Episode | None:
    """Give the earlier episode whose repair this one answers, if it was found again."""
    later = episodes[number]
    for first in reversed(episodes[:number]):
        contradicts = first.cause and later.cause and first.cause != later.cause
        if first.repair is not None and not contradicts:
            job = later.found.job
            return None if job is not None and job == first.repair.job else first
    return None


@dataclass
class Matched:
    """Every bike's faults matched, as at an instant, as known to a seq."""

    export: Export
    as_at: datetime
    known: int
    zone: ZoneInfo
    asked: tuple[int | None, int | None] = (None, None)
    """Days and km in place of every window's own; None leaves them."""
    episodes: list[Row] = field(default_factory=list)
    repeats: list[Row] = field(default_factory=list)
    jobs: list[Row] = field(default_factory=list)

    def __post_init__(self) -> None:
        for tags in {frozenset(self.export.tags(tag, self.known)) for tag in self.export.of_bike}:
            bike = Bike(min(tags), self.export.live(min(tags), self.as_at, self.known))
            self._match(bike)

    def window(self, fault: str, repair: Entry) -> tuple[int, int]:
        """Give days and km of a fault's window in force on the day it was put right."""
        on = repair.at.astimezone(self.zone).date()
        set_by = [
            (date.fromisoformat(terms.data["from_on"]), terms.seq, window)
            for terms in self.export.terms
            if self.export.is_known(terms, self.known)
            for window in terms.data.get("windows", [])
            if window["fault"] == fault and date.fromisoformat(terms.data["from_on"]) <= on
        ]
        last = max(set_by, key=lambda one: one[:2])[2] if set_by else {}
        own = last.get("days", 90), last.get("distance_km", 1000)
        days, km = (mine if one is None else one for mine, one in zip(own, self.asked, strict=True))
        return days, km

    def _match(self, bike: Bike) -> None:
        repeats = []
        for (position, fault), episodes in bike.episodes():
            for number, later in enumerate(episodes):
                self.episodes.append(self._episode(bike, later, position, fault))
                if first := answered(episodes, number):
                    assert first.repair is not None
                    repeats.append(Repeat(bike, later, first, self.window(fault, first.repair)))
        links = {link["job"]: link for link in self._links(bike, repeats)}
        self.jobs += links.values()
        self.repeats += [_repeat(one, links.get(one.later.found.job)) for one in repeats]

    def _episode(self, bike: Bike, one: Episode, position: str, fault: str) -> Row:
        found, repair, latest = one.found, one.repair, bike.readings[-1:]
        window = self.window(fault, repair) if repair else (None, None)
        return {
            "bike": bike.name,
            "position": position,
            "fault": fault,
            "found_at": found.at,
            "found_seq": found.seq,
            "found_job": found.job,
            "found_tier": bike.tier(found),
            "found_riding": bike.riding(found),
            "found_model": bike.model(found, position, is_repair=one.marks[0].role == "repair"),
            "found_km": bike.km(found),
            "is_found_recorded": any(mark.role == "opening" for mark in one.marks),
            "put_right_at": repair and repair.at,
            "put_right_seq": repair and repair.seq,
            "put_right_job": repair and repair.job,
            "put_right_kind": repair and repair.kind,
            "put_right_treatment": repair and repair.data.get("treatment"),
            "put_right_tier": repair and bike.tier(repair),
            "put_right_riding": repair and bike.riding(repair),
            "put_right_model": repair and bike.model(repair, position, is_repair=True),
            "put_right_km": bike.km(repair),
            "cleared_at": one.cleared and one.cleared.at,
            "ended_at": one.end and one.end.at,
            "cause": one.cause,
            "verdict": one.verdict,
            "count_jobs_carried": bike.carried(one),
            "observed_until": bike.live[-1].at,
            "latest_km": latest[0][1] if latest else None,
            "window_days": window[0],
            "window_km": window[1],
        }

    def _links(self, bike: Bike, repeats: list[Repeat]) -> Iterator[Row]:
        """Give each job that answers an earlier one, or was judged not to."""
        for job in sorted({entry.job for entry in bike.live if entry.job}):
            own = [entry for entry in bike.live if entry.job == job]
            judged = [e.data for e in own if e.kind == "come_back_judged"]
            said = [e.data.get("come_back_of") for e in own if e.kind == "job_opened"]
            matched = [one for one in repeats if one.later.found.job == job and one.is_in_window]
            link = {"bike": bike.name, "job": job}
            if judged:
                is_back, answers = judged[-1]["is_come_back"], judged[-1].get("answers")
                yield {**link, "answers": answers, "source": "judged", "is_come_back": is_back}
            elif any(said):
                what = {"answers": said[-1], "source": "said at booking-in"}
                yield {**link, **what, "is_come_back": True}
            elif matched:
                last = max(matched, key=lambda one: (one.repair.at, one.repair.seq))
                what = {"answers": last.repair.job, "source": "matched"}
                yield {**link, **what, "is_come_back": True}


def _repeat(one: Repeat, link: Row | None) -> Row:
    is_denied = link is not None and not link["is_come_back"]
    is_told = (
        link is not None
        and link["source"] != "matched"
        and link["answers"] is not None
        and link["answers"] == one.repair.job
    )
    is_back = (one.is_in_window or is_told) and not is_denied
    source = "matched" if one.is_in_window else link and link["source"]
    return {
        "bike": one.bike.name,
        "found_seq": one.later.found.seq,
        "answers_seq": one.first.found.seq,
        "is_cause_told": one.later.cause is not None and one.later.cause == one.first.cause,
        "cause": one.later.cause or one.first.cause,
        "first_seq": one.repair.seq,
        "first_put_right_at": one.repair.at,
        "first_job": one.repair.job,
        "again_found_at": one.later.found.at,
        "again_job": one.later.found.job,
        "days": one.days,
        "km": one.km,
        "window_days": one.window[0],
        "window_km": one.window[1],
        "is_in_window": one.is_in_window,
        "is_come_back": is_back,
        "source": source if is_back else None,
    }
