"""How faults that come back are worded: counts, money, how sure, and what to do about a link."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from decimal import Decimal
from typing import Any

from babel.numbers import format_currency

from ledger.figures.come_backs import WindowAsked
from ledger.figures.fault_shapes import By, FaultCounts, Measure, Source, Unpaid
from ledger.figures.written import Written, percent
from ledger.settings import BookSettings
from ledger.vocabulary import Vocabulary, Window
from ledger.vocabulary.caution import CAUTION, needs_caution

FEWEST = 20
"""Repairs that can be judged below which one more come-back moves the rate by over 5 points: too
few to speak of one."""
TOO_FEW = "too few to judge"
NOT_SHOWN = "not shown"
NONE_FOUND = "No fault was found on any bike."
NO_KEY = {
    "tier": "no tier told",
    "model": "no part on record",
}
NO_FAULT = "said to be a come-back, no fault found again"
MEASURES: dict[Measure, str] = {
    "count": "come-backs",
    "minutes": "minutes nobody paid for",
    "cost": "what they cost the shop",
}
LINKED: dict[Source, str] = {
    "matched": "by itself: a fault it had put right was found again within its window",
    "said at booking-in": "as said when it was booked in",
    "judged": "as somebody judged it",
}


def counted(count: int, noun: str, figure: str) -> str:
    """Give a count with its noun: `1 fault`, `2 faults`."""
    return f"{figure} {noun}{'' if count == 1 else 's'}"


class FaultWords(Written):
    """Words faults in the vocabulary, locale, money and time zone of one book."""

    def __init__(self, settings: BookSettings, words: Vocabulary) -> None:
        super().__init__(settings)
        self.words = words

    # -- the vocabulary -----------------------------------------------------------------------

    def place(self, position: str) -> str:
        """Give what a position is called."""
        word = self.words.positions.get(position)
        return word.label if word else position.replace("_", " ")

    def fault(self, fault: str, cause: str | None = None) -> str:
        """Give what a fault is called, with the cause behind it where one is told."""
        word = self.words.faults.get(fault)
        label = word.label if word else fault.replace("_", " ")
        return label if cause is None else f"{label}, {self.cause(cause)}"

    def cause(self, cause: str) -> str:
        """Give what a cause is called."""
        word = self.words.causes.get(cause)
        return word.label if word else cause.replace("_", " ")

    def system(self, system: str) -> str:
        """Give what a system of the bike is called."""
        return self.words.systems.get(system, system.replace("_", " "))

    def tier(self, tier: str | None) -> str:
        """Give the shop's name of a tier."""
        word = self.words.tiers.get(tier or "")
        return word.label if word else tier or NO_KEY["tier"]

    def work(self, kind: str, treatment: str | None) -> str:
        """Give the work that put a fault right: `part fitted`, `cleaned`."""
        if treatment is None:
            return kind.replace("_", " ")
        word = self.words.treatments.get(treatment)
        return word.label if word else treatment.replace("_", " ")

    def label(self, by: By, key: str | None) -> str:
        """Give what a row of a Pareto is called."""
        if key is None:
            return NO_KEY.get(by, NO_FAULT)
        names: dict[str, Callable[[str], str]] = {
            "fault": self.fault, "position": self.place, "system": self.system, "tier": self.tier
        }  # fmt: skip
        return names[by](key) if by in names else key

    # -- figures ------------------------------------------------------------------------------

    def money(self, minor: int) -> str:
        """Give an amount in minor units as the book's people write money."""
        whole = Decimal(minor).scaleb(-self.settings.minor_digits)
        return format_currency(whole, self.settings.currency, locale=self._locale)

    def count(self, count: int, noun: str) -> str:
        """Give a count with its noun: `1 fault`, `2,345 faults`."""
        return counted(count, noun, self.figure(count))

    def cost(self, unpaid: Unpaid) -> str:
        """Give what come-backs cost, as far as it is told."""
        minor = unpaid.minor
        if not unpaid.is_shown:
            return NOT_SHOWN
        return "wages not told" if minor is None else self.money(minor)

    def window(self, window: Window | WindowAsked) -> str:
        """Give a window: `90 days or 1,000 km, whichever ends later`."""
        days = "its fault's own" if window.days is None else self.figure(window.days)
        km = "its fault's own" if window.distance_km is None else self.figure(window.distance_km)
        return f"{days} days or {km} km, whichever ends later"

    def verdict(self, counts: FaultCounts, low: float | None, high: float | None) -> str:
        """Give both rates, the second with its 80 % interval, or that there are too few."""
        followed = counts.rate_followed
        if counts.count_judged < FEWEST or followed is None or counts.rate_so_far is None:
            judged = self.count(counts.count_judged, "repair")
            return f"{TOO_FEW}: {judged} followed" if counts.count_judged else TOO_FEW
        ends = "" if low is None or high is None else f" (80 %: {_ends(low, high)})"
        return f"{percent(counts.rate_so_far)} so far, {percent(followed)} of those followed{ends}"

    def counted_at(self, by: By) -> str:
        """Say what a row of a Pareto counts where a find and its repair can differ; else empty."""
        what = {"model": "the part that sat there", "tier": "the tier of the job"}.get(by)
        if what is None:
            return ""
        return (
            f"Found counts {what} when the fault was found; put right, did not hold and came back "
            "that of the repair."
        )

    # -- sentences ----------------------------------------------------------------------------

    def front(
        self, counts: FaultCounts, unpaid: Unpaid, count_jobs: int, count_faultless: int = 0
    ) -> str:
        """Give the finding in a sentence: how many repairs came back, and what that took.

        `count_faultless` of the come-backs are jobs in which no fault was found again.
        """
        if not counts.count_found:
            return NONE_FOUND
        if not counts.count_put_right:
            return f"{self.count(counts.count_found, 'fault')} found, none of them put right yet."
        right = self.count(counts.count_put_right, "fault")
        if not counts.count_come_back:
            return f"Of {right} put right, none is known to have come back."
        back = self.back(counts, count_faultless)
        jobs = f"in {self.count(count_jobs, 'job')}" if count_jobs else "found outside any job"
        took = f": {self.took(unpaid)}" if unpaid.is_shown else ""
        return f"Of {right} put right, {back}, {jobs}{took}."

    def back(self, counts: FaultCounts, count_faultless: int = 0) -> str:
        """Give how many repairs came back, and how often what they put right was found again.

        One repair can come back several times, and a job can be said to be a come-back with no
        fault found again: where it is so, each is told apart.
        """
        held_not, finds = counts.count_did_not_hold, counts.count_come_back - count_faultless
        said = f"{self.figure(held_not)} came back"
        if finds != held_not:
            said += f" (found again {self.figure(finds)} times)"
        if count_faultless:
            said += f", and {self.count(count_faultless, 'job')} said to be a come-back besides"
        return said

    def took(self, unpaid: Unpaid) -> str:
        """Give what come-backs took: `1,305 minutes and €640 nobody paid for`."""
        if not unpaid.is_shown:
            return f"what it took is {NOT_SHOWN}"
        minutes = self.count(unpaid.minutes, "minute")
        if unpaid.minor is None:
            parts = f" and parts for {self.money(unpaid.parts_minor)}" if unpaid.parts_minor else ""
            return f"{minutes}{parts} nobody paid for"
        parts = f", {self.money(unpaid.parts_minor)} of it in parts" if unpaid.parts_minor else ""
        return f"{minutes} nobody paid for, {self.money(unpaid.minor)}{parts}"

    def not_told(self, unpaid: Unpaid) -> list[str]:
        """Give what is in no money because nobody told it."""
        said = []
        if unpaid.minutes_without_wage:
            minutes = self.count(unpaid.minutes_without_wage, "minute")
            said.append(
                f"For {minutes} of them no wage is told: they are in no money here. "
                "Wages are set with terms_set."
            )
        if unpaid.parts_without_cost:
            lines = self.count(unpaid.parts_without_cost, "line")
            said.append(f"Of {lines} given away the cost is not on record.")
        return said

    def _followed(self, counts: FaultCounts) -> str:
        """Give how many of the repairs that were followed came back, and what either leaves out."""
        if not counts.count_judged:
            return "; none was followed to the end of its window, so no share of those is told."
        share, count = percent(counts.rate_followed or 0.0), self.figure(counts.count_judged)
        return (
            f", {share} of the {count} that were followed. The first leaves out what came back "
            "elsewhere, the second bikes that ran well and stayed away."
        )

    def how_sure(self, counts: FaultCounts) -> list[str]:
        """Say what the counts rest on: repairs too recent, faults only known by their repair."""
        said = []
        if counts.count_immature:
            one = counts.count_immature == 1
            said.append(
                f"{self.count(counts.count_immature, 'repair')} cannot be judged yet: "
                f"{'its bike was' if one else 'their bikes were'} last seen before the window "
                f"ran out. So far {percent(counts.rate_so_far or 0.0)} of all repairs came back"
                + self._followed(counts)
            )
        if counts.count_open or counts.count_closed_without_work or counts.count_carried:
            said.append(
                f"Not put right: {self.figure(counts.count_open)} open, "
                f"{self.figure(counts.count_closed_without_work)} gone without work; "
                f"{self.count(counts.count_carried, 'fault')} "
                f"{'was' if counts.count_carried == 1 else 'were'} carried over a job's end."
            )
        return said

    def windows(self, window: WindowAsked | None) -> str:
        """Say what window counts."""
        if window is None:
            return (
                "Come back is what was found again within its fault's window, as the terms had it "
                f"on the day it was put right, else {self.window(self.words.windows['default'])}."
            )
        return f"Come back is what was found again within {self.window(window)}, as asked for."

    def remark(
        self,
        faults: Sequence[Mapping[str, Any]],
        others: Sequence[Mapping[str, Any]],
        *,
        is_come_back: bool,
    ) -> str:
        """Say of a job without a fault that came back what was found again; else nothing.

        Of each fault its position, its name and the days since it had been put right.
        """
        if is_come_back:
            return "" if faults else "no fault found again"
        found = "; ".join(
            f"{self.place(one['position'])}, {self.fault(one['fault'])} found again "
            f"{self.count(round(one['days']), 'day')} after the repair"
            for one in (*faults, *others)
        )
        return f"judged no come-back: {found or 'no fault found again'}"

    def linked(self, source: Source, answers: str | None, *, is_come_back: bool) -> str:
        """Say how a job is linked to the one it answers."""
        if not is_come_back:
            return f"no come-back, {LINKED[source]}"
        return f"answers {answers or 'work of no job'}, {LINKED[source]}"


def window_asked(days: int | None, km: int | None) -> WindowAsked | None:
    """Give the window asked for; None where neither end was given."""
    return None if days is None and km is None else WindowAsked(days, km)


def say_otherwise(bike: str, job: str, *, is_come_back: bool) -> tuple[str, ...]:
    """Give the commands that record that a link is wrong, or another one right."""
    start = f"lockring record come_back_judged --bike {bike} --job {job} --set is_come_back="
    other = f"{start}true --set answers=JOB"
    return (f"{start}false", other) if is_come_back else (other,)


def cautions(positions: Iterable[str], words: Vocabulary) -> tuple[str, ...]:
    """Give the caution, where any position is one that may decide whether somebody gets hurt."""
    return (CAUTION,) if any(needs_caution(words, one) for one in positions) else ()


def _ends(low: float, high: float) -> str:
    return f"{100 * low:.0f} to {100 * high:.0f} %"
