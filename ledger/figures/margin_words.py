"""How what tiers earn is worded."""

from __future__ import annotations

from collections.abc import Sequence

from ledger.figures.fault_words import TOO_FEW
from ledger.figures.labour_shapes import Period
from ledger.figures.labour_words import NO_JOBS, BenchNames
from ledger.figures.margin_shapes import (
    FEWEST_JOBS,
    BreakEven,
    Capacity,
    Dearer,
    Earning,
    Estimate,
    Held,
    NotCarried,
    TierMargin,
    WhatIf,
)
from ledger.figures.written import percent

WAITED: dict[str, str] = {
    "answer": "an answer", "part": "a part", "payment": "a payment", "other": "something else"
}  # fmt: skip
_NO_HOURS = "No terms tell how many bench hours a week can be sold. They are set with terms_set."


class MarginWords(BenchNames):
    """Words earnings in the locale, currency and time zone of one book."""

    def rate(self, minor: float | None) -> str:
        """Give money an hour."""
        return "no hours worked" if minor is None else f"{self.money(minor)} an hour"

    def of_net(self, earning: Earning) -> str:
        """Give what is left (or lost) of what was charged, with its share."""
        share, what = earning.margin_share, "left" if earning.margin_minor >= 0 else "lost"
        said = self.money(abs(earning.margin_minor))
        return f"{said} {what}" if share is None else f"{said} ({percent(abs(share))}) {what}"

    def verdict(self, earning: Earning, hour: Estimate | None) -> str:
        """Give what a tier earns, or that there are too few jobs to judge."""
        if hour is None:
            return "no minutes at the bench of its own"
        if earning.count_jobs < FEWEST_JOBS:
            return f"{TOO_FEW}: {self.figure(earning.count_jobs)} of {FEWEST_JOBS} jobs"
        if hour.low_80 is None or hour.high_80 is None:
            return f"{self.rate(hour.value)} before fixed cost; too few bikes for an interval"
        ends = f"{self.money(hour.low_80)} to {self.money(hour.high_80)}"
        return f"{self.rate(hour.value)} before fixed cost (80 %: {ends})"

    # -- sentences ----------------------------------------------------------------------------

    def front(
        self,
        total: Earning,
        tiers: Sequence[TierMargin],
        charge: BreakEven | None,
        rest: NotCarried,
    ) -> str:
        """Give the finding; with the shop's whole, where fixed cost was not all carried."""
        if not total.count_jobs:
            return NO_JOBS
        said = (
            f"{self.money(total.net_minor)} charged net of tax, {self.of_net(total)} after "
            f"parts, wages, consumables and {self._whole(total, rest)}."
        )
        judged = [row for row in tiers if row.tier is not None and not row.is_too_few]
        if len(judged) > 1:
            most, least = (f"{row.label} ({self._hour(row)})" for row in (judged[0], judged[-1]))
            said += (
                f" Before fixed cost an hour at the bench does best in {most}, worst in {least}."
            )
        if charge is None:
            return said
        even = f" It takes {self.rate(charge.charge_minor)} to break even"
        return f"{said}{even}: {self._below(judged, charge)}."

    def _whole(self, total: Earning, rest: NotCarried) -> str:
        """Give what became of the fixed cost, and of the shop's whole where hours left some."""
        over = rest.not_carried_minor
        if over <= 0:
            return "fixed cost"
        whole = total.margin_minor - over
        came = f"lost {self.money(-whole)}" if whole < 0 else f"kept {self.money(whole)}"
        return (
            f"the fixed cost that hours worked carried; with the {self.money(over)} of fixed cost "
            f"that no hour carried, the shop as a whole {came}"
        )

    def _below(self, judged: Sequence[TierMargin], charge: BreakEven) -> str:
        if not judged:
            return f"{TOO_FEW} any tier by it"
        return self._listed([row.label for row in judged if self._is_below(row, charge)])

    def _hour(self, row: TierMargin) -> str:
        return self.money(row.contribution_per_hour.value if row.contribution_per_hour else 0)

    def _is_below(self, row: TierMargin, charge: BreakEven) -> bool:
        earned = row.earning.earned_rate_minor
        return earned is not None and earned < charge.charge_minor

    def _listed(self, below: Sequence[str]) -> str:
        if not below:
            return "no tier earns less"
        *others, last = below
        named = f"{', '.join(others)} and {last}" if others else last
        return f"{named} {'earn' if others else 'earns'} less"

    def not_carried(self, of: NotCarried) -> str:
        """Say what of the fixed cost no hour carried."""
        if of.days_untold == of.days:
            return "No fixed cost is told: none is in these figures. It is set with terms_set."
        over = of.not_carried_minor
        said = (
            f"{self.money(of.fixed_cost_minor)} of fixed cost in {self.count(of.days, 'day')}, "
            f"{self.money(of.carried_minor)} of it carried by hours worked"
        )
        rest = f"{self.money(abs(over))} {'not carried' if over >= 0 else 'more than there was'}"
        untold = f" (no fixed cost told for {self.count(of.days_untold, 'day')})"
        return f"{said}: {rest}{untold if of.days_untold else ''}."

    def what_if(self, of: WhatIf) -> str:
        """Give a what-if in a sentence."""
        change = of.margin_after_minor - of.margin_minor
        if not change:
            return f"The margin stays at {self.money(of.margin_minor)}."
        more = f"{self.money(abs(change))} {'more' if change > 0 else 'less'}"
        return f"The margin would have been {self.money(of.margin_after_minor)}: {more}."

    def capacity(self, of: Capacity) -> str:
        """Give the bench in a sentence."""
        jobs = self.count(len(of.open_jobs), "open job")
        ahead = f"{self.hours(of.minutes_ahead)} left on {jobs}"
        if of.open_minutes is None or of.weeks_ahead is None:
            return f"{self.hours(of.bench_minutes)} worked; {ahead}. {_NO_HOURS}"
        share = percent(of.bench_minutes / of.open_minutes) if of.open_minutes else "none"
        weeks = self.figure(round(of.weeks_ahead, 1))
        return (
            f"{self.hours(of.bench_minutes)} worked of {self.hours(of.open_minutes)} open "
            f"({share}); {ahead}: {weeks} weeks booked ahead."
        )

    def held(self, of: Held) -> str:
        """Give what jobs were held for, in a sentence."""
        if not of.rows:
            return "No job was held in this time."
        first = of.rows[0]
        days = self.figure(round(first.days, 1))
        return (
            f"Jobs waited longest for {WAITED[first.waiting_for]}: {days} days in "
            f"{self.count(first.count_holds, 'hold')}, the middle one "
            f"{self.figure(round(first.median_days, 1))} days."
        )

    def dearer(self, of: Dearer, period: Period) -> str:
        """Give what advice not taken came to, in a sentence."""
        if not of.count_not_taken:
            return "No advice with a price was turned down."
        pieces = "piece" if of.count_not_taken == 1 else "pieces"
        advice = f"{self.figure(of.count_not_taken)} {pieces} of advice not taken"
        if not of.rows:
            back = self.figure(of.count_came_back)
            return f"Of {advice}, {back} came back, none dearer."
        return (
            f"Of {advice}, {self.figure(of.count_came_back)} came back in this time, "
            f"{self.figure(len(of.rows))} dearer than advised: {self.money(of.dearer_minor)} more."
        )

    def earning_notes(
        self, total: Earning, charge: BreakEven | None, is_in_blocks: bool
    ) -> list[str]:
        """Give what the figures rest on and leave out, a sentence each."""
        said = []
        if total.caused.minutes or total.caused.parts_minor:
            said.append(
                f"Come-backs took {self.hours(total.caused.minutes)} and "
                f"{self.money(total.caused.minor)} unpaid, charged to the tiers that caused them."
            )
        if total.minutes_without_wage:
            said.append(self.without_wage(total.minutes_without_wage))
        if total.count_lines_without_cost:
            lines = self.count(total.count_lines_without_cost, "part line")
            said.append(f"{lines} with no cost on record: they cost nothing here.")
        if charge is None:
            said.append("Break-even is not known: it takes wages, fixed cost and sellable hours.")
        elif not charge.is_paid_hours_told:
            said.append("Hours paid are not told: taken to be the hours that can be sold.")
        if is_in_blocks:
            said.append("Intervals by bikes dealt at random into 2,000 blocks (random groups).")
        return said
