"""A second, independent answer to minutes and money of jobs: loops over the export, by the Words.

It reads the lines of `lockring export --form cloudevents --clear` and imports nothing of the
ledger. Every definition is that of "Minutes and money of jobs" in DEVELOPERS.md; all of it is
worked out in whole numbers and fractions.
"""

from __future__ import annotations

import json
import math
import tomllib
from collections import defaultdict
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from fractions import Fraction
from typing import Any
from zoneinfo import ZoneInfo

from tests.independent.fold_of_export import WORDS, Entry, Export
from tests.independent.matching_of_export import Matched

Row = dict[str, Any]
KINDS = ("quoted", "found later", "come-back", "goodwill")
POSITIONS = tomllib.loads((WORDS / "positions.toml").read_text("utf-8"))["positions"]
UNPAID = ("come-back", "goodwill")


def system_of(position: str) -> str:
    word = POSITIONS.get(position, {})
    return word.get("system") or position.partition(".")[0]


def rounded(value: Fraction, rounding: str) -> int:
    whole, left = divmod(abs(value), 1)
    is_up = left > Fraction(1, 2) or (
        left == Fraction(1, 2) and (rounding == "half up" or whole % 2 == 1)
    )
    return int(whole + is_up) * (1 if value >= 0 else -1)


def by_largest_remainder(total: int, weights: list[int]) -> list[int]:
    due = [Fraction(total * weight, sum(weights)) for weight in weights]
    shares = [math.floor(one) for one in due]
    for place in sorted(range(len(due)), key=lambda i: (shares[i] - due[i], i))[
        : total - sum(shares)
    ]:
        shares[place] += 1
    return shares


class Terms:
    """The shop's terms, looked through from the first to the last for every question."""

    def __init__(self, export: Export, known: int) -> None:
        told = [entry for entry in export.terms if export.is_known(entry, known)]
        self.told = sorted(told, key=lambda entry: (entry.data["from_on"], entry.seq))

    def until(self, day: date) -> list[Row]:
        return [e.data for e in self.told if date.fromisoformat(e.data["from_on"]) <= day]

    def last(self, name: str, day: date) -> Any:
        found = None
        for data in self.until(day):
            found = data.get(name) if data.get(name) is not None else found
        return found

    def rounding(self, day: date) -> str:
        return self.last("rounding", day) or "half even"

    def wages(self, day: date) -> dict[str, int]:
        every = (wage for data in self.until(day) for wage in data.get("wages", []))
        return {wage["mechanic"]: wage["minor_per_hour"] for wage in every}

    def tier(self, code: str | None, day: date) -> Row | None:
        every = (tier for data in self.until(day) for tier in data.get("tiers", []))
        return {tier["code"]: tier for tier in every}.get(code)

    def codes(self) -> set[str]:
        return {tier["code"] for entry in self.told for tier in entry.data.get("tiers", [])}

    def sellable(self, day: date) -> Fraction | None:
        told = self.last("sellable_hours", day)
        return Fraction(told) if told is not None and Fraction(told) > 0 else None

    def fixed_an_hour(self, day: date) -> Fraction:
        cost, hours = self.last("fixed_cost_minor", day), self.sellable(day)
        if cost is None or hours is None:
            return Fraction(0)
        return Fraction(cost * 12) / (Fraction(36525, 100) / 7 * hours)


@dataclass
class Stretch:
    """One stretch of labour, costed."""

    day: date
    kind: str
    task: str | None
    minutes: int
    actor: str
    wage: int | None
    wages: int
    consumables: int
    fixed: int


@dataclass
class Job:
    """One job that was opened."""

    bike: str
    name: str
    tier: str | None
    opened: Entry
    closed: Entry | None = None
    promised: str | None = None
    stretches: list[Stretch] = field(default_factory=list)
    quoted: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    """Minutes by task, found later apart."""
    later: dict[str, int] = field(default_factory=lambda: defaultdict(int))
    has_later: bool = False
    is_quoted: bool = False
    net_yes: int = 0
    later_yes: int = 0
    later_not_yes: int = 0
    lines: list[Row] = field(default_factory=list)
    answers: str | None = None
    is_back: bool = False
    kind: str | None = None

    def minutes(self, *kinds: str, task: str | None = "any") -> int:
        return sum(
            s.minutes
            for s in self.stretches
            if s.kind in (kinds or KINDS) and task in ("any", s.task)
        )

    def worked(self, what: str, *kinds: str) -> int:
        return sum(getattr(s, what) for s in self.stretches if s.kind in (kinds or KINDS))

    def without_wage(self, *kinds: str) -> int:
        every = (s for s in self.stretches if s.kind in (kinds or KINDS))
        return sum(s.minutes for s in every if s.wage is None)

    @property
    def quoted_minutes(self) -> int:
        return sum(self.quoted.values())

    def net(self, *types: str) -> int:
        return sum(x["net_minor"] for x in self.lines if x["line_type"] in types)

    def goods(self) -> list[Row]:
        return [line for line in self.lines if line["line_type"] != "labour"]

    def parts_cost(self) -> int:
        return sum(line.get("cost_minor", 0) or 0 for line in self.goods())

    def given_away(self) -> int:
        given = (x for x in self.goods() if x.get("is_goodwill") or not x["net_minor"])
        return sum(line.get("cost_minor", 0) or 0 for line in given)

    def untold(self) -> int:
        parts = (line for line in self.lines if line["line_type"] == "part")
        return sum(line.get("cost_minor") is None for line in parts)

    def tier_lines(self) -> list[int]:
        return [
            line["net_minor"]
            for line in self.lines
            if line["line_type"] == "labour"
            and line["code"] == self.tier
            and not line.get("is_goodwill")
        ]


class Jobs:
    """Every job of a book as at an instant, as known to a seq."""

    def __init__(self, lines: list[str], as_at: datetime, known: int, zone: ZoneInfo) -> None:
        self.export, self.zone, self.as_at, self.known = Export.read(lines), zone, as_at, known
        self.actors = {raw["seq"]: raw["actor"] for raw in map(json.loads, lines)}
        self.terms = Terms(self.export, known)
        self.jobs: list[Job] = []
        self.stray: list[Stretch] = []
        self.advice: list[Row] = []
        self.holds: list[Row] = []
        links = Matched(self.export, as_at, known, zone).jobs
        self.links = {(row["bike"], row["job"]): row for row in links}
        for bike in sorted(self._bikes()):
            self._bike(bike, self.export.live(bike, as_at, known))

    def _bikes(self) -> set[str]:
        return {min(self.export.tags(tag, self.known)) for tag in self.export.of_bike}

    def day(self, at: datetime) -> date:
        return at.astimezone(self.zone).date()

    # -- one bike -----------------------------------------------------------------------------

    def _bike(self, bike: str, live: list[Entry]) -> None:
        kinds = [e.data.get("bike_kind") for e in live if e.kind == "bike_registered"]
        jobs = {
            e.job: Job(bike, e.job, e.data.get("tier"), e, promised=e.data.get("promised_at"))
            for e in live
            if e.kind == "job_opened" and e.job
        }
        for job in jobs.values():
            of = [e for e in live if e.job == job.name]
            job.kind = kinds[-1] if kinds else None
            self._job(job, of)
            link = self.links.get((bike, job.name))
            if link is not None and link["is_come_back"]:
                job.is_back, job.answers = True, link["answers"]
        for job_name, stretch in self._stretches(live):
            (jobs[job_name].stretches if job_name in jobs else self.stray).append(stretch)
        self.jobs += jobs.values()
        self._advised(bike, live, jobs)

    def _job(self, job: Job, of: list[Entry]) -> None:
        closings = [e for e in of if e.kind == "job_closed"]
        if closings:
            job.closed = closings[-1]
            job.lines = [line for e in closings for line in e.data.get("lines", [])]
        turns = [e for e in of if e.kind in ("job_held", "job_resumed", "job_closed")]
        for place, entry in enumerate(turns):
            if entry.kind == "job_held":
                ends = turns[place + 1].at if place + 1 < len(turns) else None
                self.holds.append(
                    {"job": job, "for": entry.data["waiting_for"], "from": entry.at, "to": ends}
                )
        gone = {e.data["replaces"] for e in of if e.kind == "quote_given" and "replaces" in e.data}
        for quote in of:
            if quote.kind == "quote_given" and quote.data["quote"] not in gone:
                self._quote(job, quote)

    def _quote(self, job: Job, quote: Entry) -> None:
        is_later = quote.data.get("is_found_later", False)
        said = self._answers(job.bike, quote.data["quote"])
        for line in quote.data["lines"]:
            job.is_quoted = True
            job.has_later |= is_later
            answer = said.get(line["line"])
            if answer == "yes":
                if is_later:
                    job.later_yes += line["net_minor"]
                else:
                    job.net_yes += line["net_minor"]
                self._split(job.later if is_later else job.quoted, line, self.day(quote.at))
            elif is_later:
                job.later_not_yes += line["net_minor"]

    def _answers(self, bike: str, quote: str) -> dict[str, str]:
        found = {}
        for entry in self.export.live(bike, self.as_at, self.known):
            if entry.kind == "quote_answered" and entry.data["quote"] == quote:
                found |= {one["line"]: one["answer"] for one in entry.data["answers"]}
        return found

    def _split(self, into: dict[str, int], line: Row, day: date) -> None:
        if line["line_type"] != "labour" or not line.get("minutes"):
            return
        tier = self.terms.tier(line["code"], day)
        tasks = list((tier or {}).get("tasks", []))
        if not sum(task["minutes"] for task in tasks):
            into[line["code"]] += line["minutes"]
            return
        shares = by_largest_remainder(line["minutes"], [task["minutes"] for task in tasks])
        for task, share in zip(tasks, shares, strict=True):
            into[task["task"]] += share

    # -- stretches ----------------------------------------------------------------------------

    def _stretches(self, live: list[Entry]) -> Iterable[tuple[str | None, Stretch]]:
        running: dict[str, Entry | None] = {}
        for entry in live:
            actor = self.actors[entry.seq]
            if entry.kind == "labour_started":
                running[actor] = entry
            elif entry.kind == "labour_stopped":
                begun = running.get(actor)
                running[actor] = None
                if entry.data.get("minutes") is not None:
                    of = begun.data if begun is not None else {}
                    yield entry.job, self._costed(entry, actor, of.get("task"),
                                                  of.get("minutes_kind") or "quoted")  # fmt: skip
            elif entry.kind == "labour_logged":
                kind = entry.data.get("minutes_kind") or "quoted"
                yield entry.job, self._costed(entry, actor, entry.data["task"], kind)
            elif entry.kind == "goodwill_given" and entry.data.get("minutes") is not None:
                yield entry.job, self._costed(entry, actor, entry.data.get("task"), "goodwill")

    def _costed(self, entry: Entry, actor: str, task: str | None, kind: str) -> Stretch:
        day, minutes, terms = self.day(entry.at), entry.data["minutes"], self.terms
        wage, rounding = terms.wages(day).get(actor), terms.rounding(day)

        def costs(an_hour: int | Fraction) -> int:
            return rounded(Fraction(minutes) * an_hour / 60, rounding)

        used = terms.last("consumables_minor", day) or 0
        fixed = terms.fixed_an_hour(day)
        return Stretch(
            day, kind, task, minutes, actor, wage, costs(wage or 0), costs(used), costs(fixed)
        )

    # -- advice -------------------------------------------------------------------------------

    def _advised(self, bike: str, live: list[Entry], jobs: dict[str, Job]) -> None:
        for entry in live:
            if entry.kind == "advised" and entry.data.get("price_minor") is not None:
                said = [
                    e.data["answer"]
                    for e in live
                    if e.kind == "advice_answered" and e.data["advice"] == entry.id
                ]
                if not said or said[-1] != "yes":
                    later = self._later(entry, jobs)
                    self.advice.append({"advice": entry, "bike": bike, "later": later})

    def _later(self, advice: Entry, jobs: dict[str, Job]) -> tuple[Job, int] | None:
        system = system_of(advice.place)
        found = []
        for job in jobs.values():
            if job.closed is None or job.name == advice.job:
                continue
            span = job.closed.at - advice.at
            charged = sum(
                line["net_minor"]
                for line in job.lines
                if "position" in line and system_of(line["position"]) == system
            )
            if timedelta(0) < span <= timedelta(days=730) and charged:
                found.append((job.closed.at, job.name, job, charged))
        return (found and min(found)[2:]) or None

    # -- figures ------------------------------------------------------------------------------

    def closed(self, since: date, until: date) -> list[Job]:
        return [j for j in self.jobs if j.closed and since <= self.day(j.closed.at) <= until]

    def every_stretch(self) -> list[Stretch]:
        return [*(s for job in self.jobs for s in job.stretches), *self.stray]

    def cause(self, job: Job) -> str | None:
        """Give the tier that a come-back job's unpaid work is charged to."""
        at: Job | None = job
        seen: set[str] = set()
        while at is not None and at.is_back and at.name not in seen:
            seen.add(at.name)
            at = next((j for j in self.jobs if (j.bike, j.name) == (job.bike, at.answers)), None)
            if at is not None and at.tier is not None:
                return at.tier
        return job.tier

    def earning(self, jobs: list[Job], tier: Callable[[str | None], bool]) -> Row:
        """Give what the jobs brought in and took of tiers that are asked about."""
        own = [job for job in jobs if tier(job.tier)]
        backs = [job for job in jobs if job.is_back and tier(self.cause(job))]
        moved = [job for job in own if job.is_back]

        def summed(of: Callable[[Job], int], unpaid: Callable[[Job], int]) -> int:
            return sum(map(of, own)) - sum(map(unpaid, moved)) + sum(map(unpaid, backs))

        def worked(what: str) -> int:
            return summed(lambda j: j.worked(what), lambda j: j.worked(what, *UNPAID))

        return {
            "count_jobs": len(own),
            "bench_minutes": worked("minutes"),
            "net_labour_minor": sum(job.net("labour") for job in own),
            "net_parts_minor": sum(job.net("part") for job in own),
            "net_consumables_minor": sum(job.net("consumable") for job in own),
            "net_other_minor": sum(job.net("other") for job in own),
            "parts_cost_minor": summed(Job.parts_cost, Job.given_away),
            "wages_minor": worked("wages"),
            "consumables_minor": worked("consumables"),
            "fixed_minor": worked("fixed"),
            "minutes_without_wage": summed(Job.without_wage, lambda j: j.without_wage(*UNPAID)),
            "count_lines_without_cost": sum(map(Job.untold, own)),
            "caused": {
                "count_jobs": len(backs),
                "minutes": sum(job.minutes(*UNPAID) for job in backs),
                "wages_minor": sum(job.worked("wages", *UNPAID) for job in backs),
                "consumables_minor": sum(job.worked("consumables", *UNPAID) for job in backs),
                "fixed_minor": sum(job.worked("fixed", *UNPAID) for job in backs),
                "parts_minor": sum(map(Job.given_away, backs)),
            },
        }

    def variances(self, job: Job, quoted: int, worked: list[Stretch]) -> Row | None:
        """Give the variances of a job or of one task of it; None where it has no standard."""
        assert job.closed is not None
        day, actual = self.day(job.closed.at), sum(s.minutes for s in worked)
        wages = list(self.terms.wages(day).values())
        if not quoted or not actual or not wages:
            return None
        mean, rounding = Fraction(sum(wages), len(wages)), self.terms.rounding(day)
        cost = sum(s.wages for s in worked)
        standard = rounded(quoted * mean / 60, rounding)
        efficiency = rounded((actual - quoted) * mean / 60, rounding)
        return {
            "count": 1,
            "standard_minutes": quoted,
            "actual_minutes": actual,
            "standard_minor": standard,
            "actual_minor": cost,
            "rate_minor": cost - standard - efficiency,
            "efficiency_minor": efficiency,
            "total_minor": cost - standard,
            "minutes_without_wage": sum(s.minutes for s in worked if s.wage is None),
        }
