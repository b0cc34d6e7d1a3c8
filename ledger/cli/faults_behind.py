"""What stands behind the come-backs, as tables: curves, trends, rates, funnels, prevention."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ledger.cli.output import say, say_table
from ledger.figures.fault_estimates import RECURRENCE_BY
from ledger.figures.fault_words import FaultWords
from ledger.figures.written import made, percent

if TYPE_CHECKING:
    from ledger.cli.faults_forms import Asked
    from ledger.figures.fault_estimates import (
        FaultFunnel,
        ModelRate,
        ModelRates,
        Prevention,
        PreventionArm,
        Recurrence,
        RecurrenceGroup,
        Span,
        Trend,
    )
    from ledger.figures.faults import BookFaults

EVENTS = {"a fault found": "Faults found", "a come-back": "Come-backs"}


def say_behind(found: BookFaults, asked: Asked) -> None:
    """Print what stands behind the front, the mechanics' funnel for the owner alone."""
    words, limit = found.words, asked.limit
    for by in RECURRENCE_BY:
        _say_recurrence(found.recurrence(by), words, limit)
    _say_trends(found.trends, words)
    _say_rates(found.model_rates, words, limit)
    _say_funnel(found.tier_funnel, words)
    if asked.for_owner:
        say_mechanics(found)
    _say_prevention(found.prevention, words, limit)


def say_mechanics(found: BookFaults) -> None:
    """Print whose repairs come back, mechanic by mechanic: for the owner."""
    _say_funnel(found.mechanic_funnel, found.words)


def _name(by: str, key: str | None, words: FaultWords) -> str:
    """Give what a group is called."""
    if by == "system" and key is not None:
        return words.system(key)
    if by == "riding":
        word = words.words.ridings.get(key or "")
        return word.label if word else key or "no riding told"
    return words.tier(key) if by == "tier" else key or "not told"


def _span(span: Span | None, words: FaultWords) -> str:
    if span is None:
        return ""
    return f"{words.rough(span.value)} ({words.rough(span.low)} to {words.rough(span.high)})"


# -- how often --------------------------------------------------------------------------------


def _say_recurrence(found: Recurrence, words: FaultWords, limit: int | None) -> None:
    unit = found.unit.removeprefix("a ")
    units = () if unit == "bike" else (f">{unit}s",)
    say_table(
        f"{EVENTS.get(found.event, found.event)} by {found.by}: mean of {found.unit} in its first "
        f"{words.figure(found.at_days)} days (Nelson's robust 95 %), and how much more than others",
        (found.by, *units, ">bikes", ">events", "mean", "more than others", "in words"),
        [_group_row(found, one, words) for one in found.groups[:limit]],
    )


def _group_row(found: Recurrence, one: RecurrenceGroup, words: FaultWords) -> tuple[str, ...]:
    name = one.label if found.by == "model" else _name(found.by, one.key, words)
    units = () if found.unit == "a bike" else (one.count_units,)
    counts = (*units, one.count_bikes, one.count_events)
    return (
        name.replace("_", " "),
        *(words.figure(count) for count in counts),
        _span(one.mean, words),
        _span(one.difference, words),
        one.words,
    )


def _say_trends(some: tuple[Trend, ...], words: FaultWords) -> None:
    say_table(
        "Do faults come more and more often? A power law's shape above 1 says ever faster",
        (
            "riding",
            "counted in",
            ">bikes",
            ">events",
            "shape",
            "Laplace",
            "MIL-HDBK-189",
            "in words",
        ),
        [
            (
                "all" if one.key is None else _name("riding", one.key, words),
                one.clock,
                words.figure(one.count_units),
                words.figure(one.count_events),
                _span(one.power_law.shape, words) if one.power_law else "",
                *(_test(one, name) for name in ("Laplace", "MIL-HDBK-189")),
                one.words,
            )
            for one in some
        ],
    )


def _test(one: Trend, name: str) -> str:
    return next((f"p {test.p:.2g}" for test in one.tests if test.name == name), "")


def _say_rates(found: ModelRates, words: FaultWords, limit: int | None) -> None:
    for title, of, exposure, rates in (
        ("Faults a year fitted, by part model", "parts", "years fitted", found.by_years),
        ("Faults per 1,000 km, by part model", "parts", "1,000 km", found.by_distance),
        (
            "Repairs that came back, as a share of those followed, by the part model fitted",
            "repairs",
            "come-backs expected",
            found.come_backs,
        ),
    ):
        say_table(
            f"{title}, each drawn towards its sort's where that has another (gamma-Poisson, 95 %)",
            (
                "part",
                f">{of}",
                f">{exposure}",
                ">events",
                "rate",
                "against the rest of its sort",
                "in words",
            ),
            [_rate_row(one, words) for one in sorted(rates, key=_telling)[:limit]],
        )


def _telling(one: ModelRate) -> tuple[bool, int]:
    """Give what rates are listed by: those above the rest of their sort, then most events."""
    return not one.is_above, -one.count_events


def _rate_row(one: ModelRate, words: FaultWords) -> tuple[str, ...]:
    name = made(one.make, one.model)
    return (
        f"{name}, {one.sort.replace('_', ' ')}",
        words.figure(one.count),
        words.figure(round(one.exposure, 1)),
        words.figure(one.count_events),
        _span(one.rate, words),
        "" if one.ratio is None else f"{_span(one.ratio, words)} times",
        one.words,
    )


# -- whose repairs, and prevention ------------------------------------------------------------


def _say_funnel(found: FaultFunnel, words: FaultWords) -> None:
    say_table(
        f"Whose repairs come back, by {found.by}: what chance alone leaves open",
        (found.by, ">repairs", ">came back", ">expected", ">chance allows", ">a doubled rate seen",
         "in words"),
        [
            (
                words.tier(one.key) if found.by == "tier" else one.key or "not told",
                words.figure(one.count_repairs),
                words.figure(one.count_come_back),
                words.figure(round(one.expected, 1)),
                f"{one.low_count} to {one.high_count}",
                percent(one.power),
                one.words,
            )
            for one in found.units
        ],
    )  # fmt: skip
    say(found.words)
    say()


def _say_prevention(found: Prevention, words: FaultWords, limit: int | None) -> None:
    say_table(
        "Trouble after unbilled preventive work, and without it",
        ("position", ">with", ">without", "trouble with", "trouble without", "difference, 80 %",
         ">log-rank p", ">needed each", ">next min. with", ">without it", "in words"),
        [
            (
                words.place(one.position),
                words.figure(one.with_it.count_bikes),
                words.figure(one.without_it.count_bikes),
                _risk(one.with_it, words),
                _risk(one.without_it, words),
                _span(one.difference_80, words),
                "" if one.p is None else f"{one.p:.2g}",
                "" if one.needed_each is None else words.figure(one.needed_each),
                _minutes(one.with_it, words),
                _minutes(one.without_it, words),
                one.words,
            )
            for one in found.rows[:limit]
        ],
    )  # fmt: skip
    say(found.words)
    say()


def _risk(arm: PreventionArm, words: FaultWords) -> str:
    return _span(arm.risk, words)


def _minutes(arm: PreventionArm, words: FaultWords) -> str:
    return "" if arm.next_minutes is None else words.figure(round(arm.next_minutes, 1))
