"""The home page's words: what is on the bench, what waits, and the month in three figures."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import UTC, date, datetime, timedelta

from dashboard.labour_say import LabourSay
from dashboard.words import Words
from ledger.figures.fault_words import TOO_FEW
from ledger.figures.home_shapes import (
    BenchJob,
    MonthFigure,
    MonthJob,
    MonthSpan,
    Name,
    OnIt,
    Sort,
    Waiting,
)

WAITS: Mapping[Sort, tuple[str, str]] = {
    "unsafe": ("unsafe finding open", "unsafe findings open"),
    "late": ("job past its promised time", "jobs past their promised time"),
    "quote": ("quote without an answer", "quotes without an answer"),
    "advice": ("pressing advice without an answer", "pieces of pressing advice without an answer"),
    "come-back": ("come-back to judge", "come-backs to judge"),
    "clock": ("clock left running", "clocks left running"),
}
MARKS: Mapping[Sort, str] = {"unsafe": "unsafe", "late": "due", "clock": "due"}
"""The shape beside what waits; `open` for the others."""
SINCE: Mapping[Sort, str] = {
    "unsafe": "found",
    "late": "promised for",
    "quote": "given",
    "advice": "advised",
    "come-back": "booked in",
    "clock": "started",
}
NAMES: Mapping[Name, str] = {
    "contribution": "Contribution a bench hour",
    "ratio": "Minutes against quote",
    "come_backs": "Come-backs",
    "own_minutes": "Your time at the bench",
    "own_jobs": "Jobs you worked on",
    "booked_in": "Bikes booked in",
    "quoted": "Of those with a quote",
}
OF_OPENED: tuple[Name, ...] = ("come_backs", "quoted")
NEAR = timedelta(days=300)
"""A day no further off than this is told without its year."""


class HomeWords:
    """Words the home page in one book's vocabulary and locale."""

    def __init__(self, words: Words, say: LabourSay) -> None:
        self.words, self.say = words, say

    # -- the bench ----------------------------------------------------------------------------

    def title(self, jobs: Sequence[BenchJob], count: int) -> str:
        """Give the finding of today's bench."""
        late = sum(job.is_late for job in jobs)
        if not count:
            return "Nothing is on the bench"
        on = f"{self.say.count(count, 'bike')} on the bench"
        if not late:
            return f"{on}, none past its promised time"
        past = "all" if late == count > 1 else self.say.figure(late)
        return f"{on}, {past} past {'their' if late > 1 else 'its'} promised time"

    def when(self, moment: datetime) -> str:
        """Give an instant: of today its time, else its day, with its year where that is far."""
        formats, now = self.words.formats, datetime.now(UTC)
        if formats.local(moment).date() == formats.local(now).date():
            return f"today, {formats.time(moment)}"
        is_near = abs(now - moment) < NEAR
        return formats.short_day(moment) if is_near else formats.day(moment)

    def job(self, job: BenchJob) -> str:
        """Give a job on the bench in a line: what was sold, since when it is in, until when."""
        promised = f"promised for {self.when(job.promised_at)}" if job.promised_at else None
        booked = f"in since {self.when(job.opened_at)}"
        return ", ".join(one for one in (self.say.tier(job.tier), booked, promised) if one)

    def stands(self, job: BenchJob) -> tuple[str, str]:
        """Give how a job stands, as (shape, words)."""
        if job.is_late:
            return "due", "past its time"
        if job.waiting_for:
            return "not checked", f"waits for {job.waiting_for}"
        return "open", "open"

    def beside(self, job: BenchJob) -> list[str]:
        """Give what else is to be known: what a late job waits for, and who is on it."""
        waits = [f"waits for {job.waiting_for}"] if job.waiting_for and job.is_late else []
        return [*waits, *map(self.on_it, job.on_it)]

    def on_it(self, one: OnIt) -> str:
        """Give who is on a job."""
        what = f"{one.mechanic} on {self.say.task(one.task)}"
        if one.is_paused:
            return f"{what}, paused"
        if one.is_forgotten:
            return f"{what}, clock forgotten since {self.words.formats.day(one.since)}"
        return f"{what} since {self.when(one.since)}"

    # -- what waits ---------------------------------------------------------------------------

    def waits(self, sort: Sort, count: int) -> str:
        """Give how many of a sort wait: `2 quotes without an answer`."""
        one, more = WAITS[sort]
        return f"{self.say.figure(count)} {one if count == 1 else more}"

    def oldest(self, rows: Sequence[Waiting]) -> str:
        """Give since when the oldest waits."""
        first = min(one.since for one in rows)
        which = "" if len(rows) == 1 else "the oldest "
        return f"{which}{SINCE[rows[0].sort]} {self.when(first)}"

    def row(self, one: Waiting) -> str:
        """Give what waits on a bike, in a line."""
        since = f"{SINCE[one.sort]} {self.when(one.since)}"
        place = self.words.position(one.position) if one.position else ""
        if one.sort == "unsafe":
            what = one.what
            if what is None:
                return f"{place}: judged unsafe, nothing named, {since}"
            known = what in self.words.vocabulary.faults
            named = self.words.fault(what) if known else self.words.quantity(what)
            return f"{place}: {named}, {since}"
        if one.sort == "advice":
            answer = "no reply yet" if one.answer else "not asked yet"
            return f"{place}: {one.what}, {since}, {answer}"
        if one.sort == "quote":
            return f"quote {one.what}, {since}"
        if one.sort == "clock":
            return f"{one.who} on {self.say.task(one.what)}, {since}"
        return f"{self.say.tier(one.what)}, {since}"

    # -- the month ----------------------------------------------------------------------------

    def month_title(self, span: MonthSpan) -> str:
        """Give which month the figures are of."""
        named = self.say.month(f"{span.since:%Y-%m}")
        return f"{named} so far" if span.is_now else f"{named}, the last with entries"

    def month_note(self, span: MonthSpan) -> str:
        """Give the days of both months."""
        return (
            f"{self._days(span.since, span.until)}, beside the same days of the month before, "
            f"{self._days(span.since_before, span.until_before)}."
        )

    def _days(self, first: date, last: date) -> str:
        day = self.words.formats.day
        return day(first) if first == last else f"{day(first)} to {day(last)}"

    def value(self, one: MonthFigure) -> str:
        """Give a figure of the month."""
        return self._figure(one.name, one.value) if one.value is not None else "–"

    def _figure(self, name: Name, value: float) -> str:
        if name == "contribution":
            return self.say.money(value)
        if name == "ratio":
            return self.say.times(value)
        return self.say.hours(value) if name == "own_minutes" else self.say.figure(round(value))

    def rests_on(self, one: MonthFigure) -> str:
        """Give what a figure rests on, or that there are too few to judge."""
        if one.is_too_few:
            return f"{TOO_FEW}: {self.say.figure(one.count)} of {one.fewest} jobs"
        if one.name in OF_OPENED:
            return f"of {self.say.count(one.count, 'job')} opened"
        if one.name == "ratio":
            return f"the middle of {self.say.count(one.count, 'job')} closed"
        if one.name == "contribution":
            return f"of {self.say.count(one.count, 'job')} closed"
        return f"on {self.say.count(one.count, 'job')}" if one.name == "own_minutes" else ""

    def change(self, one: MonthFigure) -> str:
        """Give a figure's change against the same days of the month before."""
        if one.before is None:
            few = f"{TOO_FEW} the month before" if one.fewest else ""
            return few if one.value is not None else ""
        before = self._figure(one.name, one.before)
        if one.value is None:
            return f"{before} the month before"
        if self._figure(one.name, one.value) == before:
            return "as the month before"
        way = "up" if one.value > one.before else "down"
        of = (
            f" of {self.say.figure(one.count_before)}"
            if one.name in ("come_backs", "quoted")
            else ""
        )
        return f"{way} from {before}{of}"

    def job_row(self, one: MonthJob) -> str:
        """Give a job behind a figure in a line."""
        said = [self.say.tier(one.tier), f"booked in {self.words.formats.day(one.opened_at)}"]
        said += [f"closed {self.words.formats.day(one.closed_at)}"] if one.closed_at else ["open"]
        said += [f"{self.say.minutes(one.minutes)} of yours"] if one.minutes is not None else []
        return ", ".join(said)

    def month_rows_title(self, name: Name, count: int, span: MonthSpan) -> str:
        """Give the title of the jobs behind a figure."""
        what = {"come_backs": "come-back", "quoted": "quoted job"}.get(name, "job")
        return f"{self.say.count(count, what)}, {self.month_title(span)}"
