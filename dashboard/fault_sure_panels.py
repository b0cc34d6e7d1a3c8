"""What stands behind the figures of faults, as tables: groups, trends, models, funnels, work."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from math import isinf

from dashboard.fault_panels import folded, headed, kept
from dashboard.fault_say import model_name, span
from dashboard.markup import capital, text
from ledger.figures.fault_estimates import (
    FaultFunnel,
    FunnelUnit,
    ModelRate,
    PreventionArm,
    PreventionRow,
    Recurrence,
    Span,
    Trend,
)
from ledger.figures.fault_words import TOO_FEW, FaultWords
from ledger.figures.written import percent

Named = Callable[[str | None], str]
CLOCKS = {"days": "by days", "km": "by distance"}
COUNTED = {"years": "Years fitted", "distance": "1,000 km", "come-backs": "Come-backs expected"}
"""What a model's events are held against."""


def groups_table(found: Recurrence, names: Sequence[str], words: FaultWords) -> str:
    """Give each group's mean with its interval, and how it stands against the rest, folded."""
    heads = ("Group", f"{capital(found.unit.removeprefix('a '))}s", "Events",
             f"By {words.figure(found.at_days)} days", "Against the rest", "In words")  # fmt: skip
    rows = [
        (
            text(capital(name)),
            text(words.figure(one.count_units)),
            text(words.figure(one.count_events)),
            text(span(one.mean, words)),
            text(span(one.difference, words)),
            text(one.words),
        )
        for one, name in zip(found.groups, names, strict=True)
    ]
    return folded("All groups as a table", headed(heads, rows))


# -- trends -----------------------------------------------------------------------------------


def trends_table(found: Sequence[Trend], riding: Callable[[str], str], words: FaultWords) -> str:
    """Give whether faults come more often, by kind of riding, with both tests."""
    heads = ("Bikes", "Judged", "In words", "Tests", "Power law")
    return headed(heads, [_trend(one, riding, words) for one in found])


def _trend(one: Trend, riding: Callable[[str], str], words: FaultWords) -> tuple[str, ...]:
    name = "all bikes" if one.key is None else riding(one.key)
    counted = f"{words.count(one.count_units, 'bike')}, {words.count(one.count_events, 'find')}"
    tests = "; ".join(f"{test.name} p {_chance(test.p)}" for test in one.tests)
    shape = span(one.power_law.shape, words) if one.power_law else ""
    law = f"shape {shape}" if shape else "too few for one"
    return (
        f"{text(capital(name))}<small>{text(f'{CLOCKS[one.clock]}; {counted}')}</small>",
        text(one.judgement),
        text(capital(one.words)),
        text(tests),
        text(law),
    )


def _chance(p: float) -> str:
    """Give a chance to two digits; a tiny one as such."""
    return "under 0.001" if p < 0.001 else f"{p:.2g}"


# -- part models ------------------------------------------------------------------------------


def rates_table(rates: Sequence[ModelRate], counted: str, words: FaultWords) -> str:
    """Give models' rates, drawn together and as counted, folded."""
    of = "Repairs" if counted == "come-backs" else "Parts"
    heads = ("Model", of, COUNTED[counted], "Events", "Rate, drawn together",
             "As counted", "Against the rest", "In words")  # fmt: skip
    rows = [
        (
            text(model_name(one)),
            text(words.figure(one.count)),
            text(words.rough(one.exposure)),
            text(words.figure(one.count_events)),
            text(span(one.rate, words)),
            text("" if one.counted_rate is None else words.rough(one.counted_rate)),
            text(f"{span(one.ratio, words)} times" if one.ratio else "no rest to hold it against"),
            text(one.words.replace("_", " ")),
        )
        for one in rates
    ]
    return folded("These models as a table", headed(heads, rows))


# -- funnels ----------------------------------------------------------------------------------


def funnel_table(found: FaultFunnel, name: Named, words: FaultWords) -> str:
    """Give each unit's repairs beside what chance allows."""
    who = "Tier" if found.by == "tier" else "Mechanic"
    heads = (who, "Repairs", "Came back", "Chance allows", "A doubled rate would be seen",
             "In words")  # fmt: skip
    return headed(heads, [_unit(one, name, words) for one in found.units])


def _unit(one: FunnelUnit, name: Named, words: FaultWords) -> tuple[str, ...]:
    expected = f"expected {words.rough(one.expected)}"
    waiting = f"{words.figure(one.count_immature)} not to be judged yet"
    return (
        text(capital(name(one.key))),
        f"{text(words.figure(one.count_repairs))}<small>{text(waiting)}</small>",
        f"{text(words.figure(one.count_come_back))}<small>{text(expected)}</small>",
        text(f"{words.figure(one.low_count)} to {words.figure(one.high_count)}"),
        text(f"in {percent(one.power)} of shops"),
        text(capital(one.words)),
    )


# -- prevention -------------------------------------------------------------------------------


def prevention_table(rows: Sequence[PreventionRow], words: FaultWords) -> str:
    """Give trouble at each position with and without preventive work, and what it would take."""
    heads = ("Position", "With it", "Without it", "Difference", "Next job's minutes", "In words")
    return headed(heads, [_prevention(one, words) for one in rows])


def _prevention(one: PreventionRow, words: FaultWords) -> tuple[str, ...]:
    work = ", ".join(words.work("treated", each) for each in one.treatments)
    needed = 0 if one.words.startswith(TOO_FEW) else one.needed_each or 0
    more = f"; to see a halving: {words.count(needed, 'bike')} a side" if needed else ""
    return (
        f"{text(capital(words.place(one.position)))}<small>{text(work)}</small>",
        _arm(one.with_it, words),
        _arm(one.without_it, words),
        f"{text(_points(one))}<small>{text(_test(one, words))}</small>",
        f"{text(_minutes(one, words))}",
        text(f"{capital(kept(one.words))}{more}"),
    )


def _test(one: PreventionRow, words: FaultWords) -> str:
    """Give the log-rank test of one position, and how many times as often trouble comes."""
    if one.p is None:
        return "no test"
    return f"log-rank p {_chance(one.p)}{_times(one.hazard_ratio, words)}"


def _times(ratio: Span | None, words: FaultWords) -> str:
    """Give how many times as often trouble comes with the work, with 95 %."""
    if ratio is None:
        return ""
    if isinf(ratio.value):
        return f", at least {words.rough(ratio.low)} times as often"
    value, low, high = (words.rough(each) for each in (ratio.value, ratio.low, ratio.high))
    return f", {value} times as often ({low} to {high})"


def _arm(arm: PreventionArm, words: FaultWords) -> str:
    small = f"{words.count(arm.count_bikes, 'bike')}, trouble on {words.figure(arm.count_trouble)}"
    risk = arm.risk
    said = "not told yet" if risk is None else (
        f"{percent(risk.value)} ({100 * risk.low:.0f} to {100 * risk.high:.0f} %)"
    )  # fmt: skip
    return f"{text(kept(said))}<small>{text(small)}</small>"


def _points(one: PreventionRow) -> str:
    """Give a difference in points of percent, with 95 %."""
    if one.difference is None:
        return "not told yet"
    value, low, high = (
        100 * each for each in (one.difference.value, one.difference.low, one.difference.high)
    )
    return f"{_signed(value)} points ({_signed(low)} to {_signed(high)})"


def _signed(points: float) -> str:
    whole = round(points)
    return f"\u2212{-whole}" if whole < 0 else f"+{whole}" if whole else "0"


def _minutes(one: PreventionRow, words: FaultWords) -> str:
    """Give the next job's median minutes on both sides, and the difference where it is told."""
    sides = (one.with_it.next_minutes, one.without_it.next_minutes)
    told = ["not told" if side is None else words.figure(round(side)) for side in sides]
    apart = one.minutes_difference
    more = f"; difference {span(apart, words)}" if apart else ""
    return f"{told[0]} with, {told[1]} without{more}"
