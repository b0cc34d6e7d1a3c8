"""How minutes against quote are worded: ratios, work found late, what is left out."""

from __future__ import annotations

from datetime import date

from babel.dates import format_date

from ledger.figures.fault_words import TOO_FEW, counted
from ledger.figures.labour_shapes import (
    FEWEST_RATIOS,
    FoundLater,
    LabourBy,
    LabourCover,
    LabourRow,
    Period,
    RatioSpread,
)
from ledger.figures.written import Written, percent
from ledger.money import words
from ledger.settings import BookSettings
from ledger.vocabulary import Vocabulary

NO_KEY: dict[LabourBy, str] = {
    "tier": "no tier told", "task": "no task told", "month": "", "kind": "kind not told"
}  # fmt: skip
NO_JOBS = "No job was closed in this time."


class BenchNames(Written):
    """Names and figures in the vocabulary, locale, currency and time zone of one book."""

    def __init__(self, settings: BookSettings, vocabulary: Vocabulary) -> None:
        super().__init__(settings)
        self.words = vocabulary

    # -- names --------------------------------------------------------------------------------

    def tier(self, tier: str | None) -> str:
        """Give the shop's name of a tier."""
        word = self.words.tiers.get(tier or "")
        return word.label if word else tier or NO_KEY["tier"]

    def task(self, task: str | None) -> str:
        """Give the shop's name of a task; of a tier whose tasks are not told, that of the tier."""
        word = self.words.tasks.get(task or "") or self.words.tiers.get(task or "")
        return word.label if word else (task or NO_KEY["task"]).replace("_", " ")

    def kind(self, kind: str | None) -> str:
        """Give what a kind of bike is called."""
        word = self.words.bike_kinds.get(kind or "")
        return word.label if word else (kind or NO_KEY["kind"]).replace("_", " ")

    def month(self, month: str | None) -> str:
        """Give a month such as `2026-03` as people write it."""
        if month is None:
            return ""
        first = date.fromisoformat(f"{month}-01")
        return format_date(first, "MMMM y", locale=self._locale)

    def label(self, by: LabourBy, key: str | None) -> str:
        """Give what a row is called."""
        return {"tier": self.tier, "task": self.task, "month": self.month, "kind": self.kind}[by](
            key
        )

    # -- figures ------------------------------------------------------------------------------

    def money(self, minor: float) -> str:
        """Give an amount in minor units as the book's people write money."""
        return words(round(minor), self.settings)

    def count(self, count: int, noun: str) -> str:
        """Give a count with its noun: `1 job`, `2,345 jobs`."""
        return counted(count, noun, self.figure(count))

    def times(self, ratio: float) -> str:
        """Give a ratio to two digits after the point: `1.08`."""
        return self.figure(round(ratio, 2))

    def hours(self, minutes: float) -> str:
        """Give minutes as hours to one digit after the point."""
        return self.figure(round(minutes / 60, 1), "h")

    def period(self, period: Period) -> str:
        """Give a period: `1 Oct 2025 to 30 Sept 2026`."""
        return f"{self.day(period.since)} to {self.day(period.until)}"

    def still_open(self, count: int) -> str:
        """Say how many jobs are open."""
        return f"{self.count(count, 'job')} still open: in no figure here."

    def without_wage(self, minutes: int) -> str:
        """Say of how many minutes no wage is told."""
        return (
            f"For {self.count(minutes, 'minute')} no wage is told: they cost nothing here. "
            "Wages are set with terms_set."
        )


class LabourWords(BenchNames):
    """Words minutes against quote."""

    def ratio(self, ratio: RatioSpread) -> str:
        """Give a ratio with how often it is far over, or that there are too few to judge."""
        if ratio.is_too_few or ratio.median is None or ratio.share_over is None:
            return f"{TOO_FEW}: {self.figure(ratio.count)} of {FEWEST_RATIOS}"
        over = f"{percent(ratio.share_over)} over by more than 20 %"
        low, high = ratio.share_over_low or 0.0, ratio.share_over_high or 1.0
        return f"median {self.times(ratio.median)}; {over} (95 %: {_ends(low, high)})"

    # -- sentences ----------------------------------------------------------------------------

    def front(self, total: LabourRow) -> str:
        """Give the finding in a sentence."""
        if not total.count_jobs:
            return NO_JOBS
        ratio, jobs = total.ratio, self.count(total.count_jobs, "job")
        if ratio.is_too_few or ratio.median is None or ratio.share_over is None:
            known = self.figure(ratio.count)
            return f"{jobs} closed, {known} with minutes quoted and worked: {TOO_FEW}."
        change = round(100 * (ratio.median - 1))
        half = "just what was quoted" if not change else (
            f"{abs(change)} % {'more' if change > 0 else 'less'} than quoted"
        )  # fmt: skip
        middle = f"The middle one of {self.count(ratio.count, 'job')} took {half}"
        return f"{middle}; {percent(ratio.share_over)} took more than 20 % over."

    def variances(self, total: LabourRow) -> str:
        """Give the variances in a sentence; empty where there are none."""
        of = total.variances
        if not of.count:
            return ""
        return (
            f"In wages, {self.count(of.count, 'job')} cost {self._more(of.total_minor)} than the "
            f"quoted minutes allow: {self._more(of.efficiency_minor)} for the minutes, "
            f"{self._more(of.rate_minor)} for who worked them."
        )

    def _more(self, minor: int) -> str:
        return f"{self.money(abs(minor))} {'less' if minor < 0 else 'more'}"

    def found_later(self, found: FoundLater) -> str:
        """Give the work found late in a sentence."""
        if not found.count_jobs_closed:
            return NO_JOBS
        if not found.count_jobs:
            return "No work was found after the first quote."
        return (
            f"{self.count(found.count_jobs, 'job')} of {self.figure(found.count_jobs_closed)} had "
            f"work found after the first quote: {self.hours(found.minutes)} worked, "
            f"{self.money(found.net_yes_minor)} of it agreed to, "
            f"{self.money(found.net_not_yes_minor)} not."
        )

    def notes(self, total: LabourRow, cover: LabourCover) -> list[str]:
        """Give what the figures rest on and leave out, a sentence each."""
        said = [self.variances(total)]
        if cover.count_unquoted:
            jobs = self.count(cover.count_unquoted, "closed job")
            said.append(f"{jobs} had no minutes quoted and agreed to: in no ratio.")
        if cover.count_unworked:
            jobs = self.count(cover.count_unworked, "closed job")
            said.append(f"{jobs} had minutes quoted, and none booked on them: in no ratio.")
        if cover.minutes_unsplit:
            said.append(
                f"{self.hours(cover.minutes_unsplit)} were quoted in tiers whose tasks no terms "
                "told: they are in no task. A tier's tasks are set with terms_set."
            )
        if cover.minutes_without_task:
            said.append(f"{self.hours(cover.minutes_without_task)} were worked on no task.")
        if cover.minutes_without_wage:
            said.append(self.without_wage(cover.minutes_without_wage))
        if cover.count_open:
            said.append(self.still_open(cover.count_open))
        return [line for line in said if line]


def _ends(low: float, high: float) -> str:
    return f"{100 * low:.0f}-{100 * high:.0f} %"
