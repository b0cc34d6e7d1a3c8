"""What the page of faults says of its charts: the finding over each, in words."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import takewhile

from dashboard.markup import capital
from ledger.figures.fault_estimates import (
    FaultFunnel,
    ModelRate,
    Prevention,
    PreventionRow,
    Recurrence,
    RecurrenceGroup,
    Span,
)
from ledger.figures.fault_shapes import By, Measure, Pareto, ParetoRow
from ledger.figures.fault_words import FEWEST, TOO_FEW, FaultWords
from ledger.figures.written import made, percent

WHAT: dict[By, str] = {
    "fault": "fault",
    "position": "position",
    "system": "system",
    "model": "part model",
    "tier": "tier",
}
"""What the Pareto counts by, one of it."""
MOST: dict[Measure, str] = {"count": "come-backs", "minutes": "minutes", "cost": "cost"}
ALL: dict[Measure, str] = {
    "count": "come-backs",
    "minutes": "minutes nobody paid for",
    "cost": "cost of come-backs",
}
MOST_NAMED = 3
"""How many rows a title names at most."""
HALF = 0.5


def figure_of(row: ParetoRow, measure: Measure, words: FaultWords) -> str:
    """Give a row's figure as it stands at its bar."""
    if measure == "minutes":
        return words.figure(row.unpaid.minutes, "min")
    if measure == "cost":
        return words.cost(row.unpaid)
    counts = row.counts
    if not counts.count_put_right:
        return words.figure(counts.count_come_back)
    back, held_not = counts.count_come_back, counts.count_did_not_hold
    of = f"{words.figure(held_not)} of {words.figure(counts.count_put_right)}"
    return of if back == held_not else f"{words.figure(back)}, {of} repairs"


def rows_drawn(told: Pareto) -> tuple[ParetoRow, ...]:
    """Give the rows that have any of the measure."""
    return tuple(row for row in told.rows if row.measured)


def pareto_title(told: Pareto, words: FaultWords) -> str:
    """Give what the Pareto says: which few make up most of it, or that none do."""
    rows = rows_drawn(told)
    count = sum(row.counts.count_come_back for row in told.rows)
    if count < FEWEST:
        return f"{words.count(count, 'come-back')} in all: {TOO_FEW} what comes back most"
    if len(rows) == 1:
        return f"{capital(rows[0].label)} makes up all of the {ALL[told.measure]}"
    before = list(takewhile(lambda row: row.cumulative_share < HALF, rows))
    most = rows[: len(before) + 1]
    if len(most) > MOST_NAMED:
        few = rows[:MOST_NAMED]
        return f"No few stand out: the first {len(few)} make up {_share(few)}"
    verb = "makes" if len(most) == 1 else "make"
    named = capital(listed([row.label for row in most]))
    return f"{named} {verb} up {_share(most)} of the {ALL[told.measure]}"


def _share(rows: Sequence[ParetoRow]) -> str:
    return percent(rows[-1].cumulative_share)


def listed(names: Sequence[str]) -> str:
    """Give names in a row: `a, b and c`."""
    *most, last = names
    return f"{', '.join(most)} and {last}" if most else last


def told_by(measure: Measure) -> str:
    """Give what stands at the Pareto's bars."""
    at_bar = {
        "count": "At each bar: come-backs, of so many repairs.",
        "minutes": "At each bar: minutes booked as come-back or goodwill on jobs that came back.",
        "cost": "At each bar: wages of those minutes, and parts given away.",
    }[measure]
    return f"{at_bar} At the right: the share of all, with the rows above it."


# -- how often --------------------------------------------------------------------------------


def group_name(
    by: str, group: RecurrenceGroup, words: FaultWords, riding: Callable[[str], str]
) -> str:
    """Give what a group is called."""
    if by == "tier":
        return words.tier(group.key)
    if group.key is None:
        return f"{by} not told"
    if by == "system":
        return words.system(group.key)
    return riding(group.key) if by == "riding" else group.label


def span(figure: Span | None, words: FaultWords, factor: float = 1.0, unit: str = "") -> str:
    """Give a figure with its interval, or that it cannot be told."""
    if figure is None:
        return "not told yet"
    middle, low, high = (
        words.rough(factor * one) for one in (figure.value, figure.low, figure.high)
    )
    return f"{middle} ({low} to {high}){unit}"


def curves_title(found: Recurrence, names: Sequence[str], words: FaultWords) -> str:
    """Give what the curves say: who differs from the rest, or that nobody does."""
    enough = [(one, name) for one, name in zip(found.groups, names, strict=True) if one.is_enough]
    if not enough:
        return f"{capital(TOO_FEW)} how often {plural(found.event)} come, by {found.by}"
    differ = [(one, name) for one, name in enough if one.is_different]
    if not differ:
        return _foremost(found, enough, words)
    above = [name for one, name in differ if one.difference and one.difference.low > 0]
    side, named = ("more", above) if above else ("fewer", [name for _, name in differ])
    shown = named[:MOST_NAMED]
    more = f" and {len(named) - MOST_NAMED} more" if len(named) > MOST_NAMED else ""
    have = "has" if len(named) == 1 else "have"
    names_shown = ", ".join(shown) if more else listed(shown)
    return f"{capital(names_shown)}{more} {have} {side} {plural(found.event)} than the rest"


def _foremost(
    found: Recurrence, enough: Sequence[tuple[RecurrenceGroup, str]], words: FaultWords
) -> str:
    """Say which group has most, where they are not held against each other, or none differs."""
    is_held = any(one.difference for one, _ in enough)
    first, name = enough[0]
    if is_held or first.mean is None:
        what = "part model" if found.by == "model" else found.by
        return f"No {what} is shown to differ from the rest"
    said = f"{words.rough(first.mean.value)} {found.unit} within {words.figure(found.at_days)} days"
    return f"{capital(name)} has most {plural(found.event)}: {said}"


def plural(event: str) -> str:
    """Give `faults found` for `a fault found`."""
    first, *rest = event.removeprefix("a ").split(" ")
    return " ".join([f"{first}s", *rest])


# -- models, funnels, prevention --------------------------------------------------------------


def model_name(one: ModelRate) -> str:
    """Give a model with its make."""
    return made(one.make, one.model)


def rates_title(rates: Sequence[ModelRate], sort: str) -> str:
    """Give what the rates of one sort of part say."""
    above = [model_name(one) for one in rates if one.is_above]
    if above:
        have = "has" if len(above) == 1 else "have"
        return f"{capital(sort)}: {listed(above[:MOST_NAMED])} {have} more than the other models"
    if all(one.words == TOO_FEW for one in rates):
        return f"{capital(sort)}: {TOO_FEW}"
    return f"{capital(sort)}: no model is shown to have more than the others"


def funnel_title(found: FaultFunnel) -> str:
    """Give what a funnel says; where nobody can be judged, that."""
    if all(one.words.startswith(TOO_FEW) for one in found.units):
        return f"{capital(TOO_FEW)} whose repairs hold better"
    return capital(found.words)


def prevention_title(rows: Sequence[PreventionRow], words: FaultWords) -> str:
    """Give where preventive work goes with less trouble, or more, or that nothing is shown."""
    if not any(one.is_enough for one in rows):
        return f"{capital(TOO_FEW)} whether preventive work goes with less trouble"
    for verdict, much in (("less often", "less"), ("more often", "more")):
        places = [words.place(one.position) for one in rows if one.verdict == verdict]
        if places:
            named = listed(places[:MOST_NAMED])
            return f"Preventive work at {named} goes with {much} trouble there"
    return "Preventive work is not shown to go with less trouble, nor with more"


def prevention_note(found: Prevention, words: FaultWords) -> str:
    """Give what prevention's figures say and rest on, and what was left out."""
    left = found.count_not_compared
    out = (
        f" {words.count(left, 'treatment')} put no bike on its side: billed, or not done in the "
        "bike's first job with nothing open there."
        if left
        else ""
    )
    return (
        f"{capital(found.words)}. Bikes are followed from the closing of that job; what goes "
        f"together need not be cause and effect.{out}"
    )
