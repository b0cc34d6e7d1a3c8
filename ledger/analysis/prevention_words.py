"""What bikes with and without a treatment let one say, and how."""

from __future__ import annotations

from typing import Literal

from ledger.analysis.log_rank import LogRank

Verdict = Literal["less often", "more often", "no clear difference", "too few to judge"]


def verdict_of(test: LogRank, count_found: int, needed: float, level: float) -> Verdict:
    """Give what can be said: a difference by the exact test; else whether it would have shown."""
    if test.p_exact <= 1 - level:
        return "less often" if test.observed < test.expected else "more often"
    return "no clear difference" if count_found >= needed else "too few to judge"


def words_of(
    verdict: Verdict, treated: tuple[int, int], untreated: tuple[int, int], a_side: int | None
) -> str:
    """Say it; `treated` and `untreated` are how many bikes, and how many of them had trouble."""
    if verdict == "too few to judge":
        return f"too few to judge: {_sides(treated[0], untreated[0])}, {_needed(a_side)}"
    seen = f"{treated[1]} of {treated[0]} against {untreated[1]} of {untreated[0]}"
    if verdict == "no clear difference":
        return f"bikes that had it showed trouble about as often: {seen}"
    rates = treated[1] / treated[0], untreated[1] / untreated[0]
    is_against = (rates[0] >= rates[1]) == (verdict == "less often")
    alike = " (all together; of a kind it is the other way)" if is_against else ""
    return (
        f"bikes that had it showed trouble {verdict}: {seen}{alike}; this does not say it was why"
    )


def _sides(with_it: int, without: int) -> str:
    bikes = f"{with_it} {'bike' if with_it == 1 else 'bikes'}"
    return f"{bikes} a side" if with_it == without else f"{bikes} with it and {without} without"


def _needed(a_side: int | None) -> str:
    if a_side is None:
        return "and no trouble seen yet"
    return f"about {a_side} a side are needed"
