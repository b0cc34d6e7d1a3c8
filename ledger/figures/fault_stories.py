"""One bike's faults told: each in a line, all in a sentence, and what to know at booking-in."""

from __future__ import annotations

from collections.abc import Sequence

from ledger.figures.fault_estimates import Trend
from ledger.figures.fault_shapes import (
    NOT_SHOWN,
    CameBack,
    CarriedFault,
    FaultCounts,
    FaultEpisode,
    Unpaid,
)
from ledger.figures.fault_words import FaultWords
from ledger.view import OpenAdvice
from ledger.vocabulary import Window

NEVER_FOUND = "No fault was ever found on it."


def story(one: FaultEpisode, words: FaultWords) -> str:
    """Give an episode in a line: found, what became of it, and what it followed."""
    cause = f", {one.cause_label}" if one.cause_label else ""
    found = ", ".join([_found(one, words), *_follows(one, words)])
    parts = [found, *_carried(one, words), _ended(one, words)]
    return f"{one.place}, {one.fault_label}{cause}: {'; '.join(parts)}."


def _found(one: FaultEpisode, words: FaultWords) -> str:
    if not one.is_found_recorded:
        return "found when it was put right"
    verdict = f" ({one.verdict})" if one.verdict else ""
    return f"found {words.day(one.found_at)}{verdict}"


def _carried(one: FaultEpisode, words: FaultWords) -> list[str]:
    if not one.count_jobs_carried:
        return []
    return [f"carried over the end of {words.count(one.count_jobs_carried, 'job')}"]


def _ended(one: FaultEpisode, words: FaultWords) -> str:
    if one.put_right_at is not None:
        return f"put right {words.day(one.put_right_at)} ({one.put_right_by})"
    if one.cleared_at is not None:
        return f"not found any more {words.day(one.cleared_at)}, with no work on record"
    return "still open"


def _follows(one: FaultEpisode, words: FaultWords) -> list[str]:
    if one.days_since_repair is None:
        return []
    how = "a come-back" if one.is_come_back else "no come-back"
    after = f"{gone_since(one, words)} after it had been put right, {how}"
    if one.window_days is None or one.window_km is None:
        return [after]
    return [f"{after} (window {words.window(Window(one.window_days, round(one.window_km)))})"]


def gone_since(one: FaultEpisode, words: FaultWords) -> str:
    """Give how long after the repair a fault was found again: `40 days and about 310 km`."""
    days = words.count(round(one.days_since_repair or 0.0), "day")
    return days if one.km_since_repair is None else f"{days} and about {_km(one, words)}"


def _km(one: FaultEpisode, words: FaultWords) -> str:
    return words.rough(one.km_since_repair or 0.0, "km")


def getting_worse(trends: Sequence[Trend]) -> str:
    """Say whether faults are found more and more often on a bike, from its trend by days."""
    if not trends:
        return "Is it getting worse? It was not watched long enough to say."
    said = trends[0].words
    return f"Is it getting worse? {said[:1].upper()}{said[1:]}."


def summary(
    counts: FaultCounts, unpaid: Unpaid, words: FaultWords, count_faultless: int = 0
) -> str:
    """Give one bike's faults in a sentence; `count_faultless` as `FaultWords.front` has it."""
    if not counts.count_found:
        return NEVER_FOUND
    found = f"{words.count(counts.count_found, 'fault')} found"
    right = f"{words.figure(counts.count_put_right)} put right"
    back = words.back(counts, count_faultless)
    still = f"{words.figure(counts.count_open)} open"
    is_nothing = unpaid in (Unpaid(), NOT_SHOWN)
    took = "" if is_nothing else f" What came back took {words.took(unpaid)}."
    return f"{found}, {right}, {back}, {still}.{took}"


# -- at booking-in ----------------------------------------------------------------------------


def came_back(some: Sequence[FaultEpisode], words: FaultWords) -> CameBack:
    """Give one fault at one place that was found again, from all its episodes that were."""
    last, times = some[-1], len(some)
    within = sum(one.is_come_back for one in some)
    often = "once" if times == 1 else f"{words.figure(times)} times"
    inside = f", {words.figure(within)} of them within the window" if times > 1 and within else ""
    if times == 1 and within:
        inside = ", within the window"
    line = (
        f"{last.place}, {last.fault_label}: found again {often} after it was put right{inside}; "
        f"last {words.day(last.found_at)}, {gone_since(last, words)} after the repair"
        f"{f', {last.cause_label}' if last.cause_label else ''}."
    )
    return CameBack(
        position=last.position,
        place=last.place,
        fault=last.fault,
        fault_label=last.fault_label,
        times=times,
        times_in_window=within,
        last_found_at=last.found_at,
        last_put_right_at=last.put_right_at,
        last_cause=last.cause,
        line=line,
    )


def carried(one: FaultEpisode, words: FaultWords) -> CarriedFault:
    """Give a fault that is open."""
    cause = f", {one.cause_label}" if one.cause_label else ""
    verdict = f" ({one.verdict})" if one.verdict else ""
    jobs = one.count_jobs_carried
    over = f", carried over the end of {words.count(jobs, 'job')}" if jobs else ""
    return CarriedFault(
        position=one.position,
        place=one.place,
        fault=one.fault,
        fault_label=one.fault_label,
        cause=one.cause,
        verdict=one.verdict,
        found_at=one.found_at,
        count_jobs_carried=jobs,
        line=f"{one.place}, {one.fault_label}{cause}: open since "
        f"{words.day(one.found_at)}{verdict}{over}.",
    )


def advice_line(one: OpenAdvice, words: FaultWords) -> str:
    """Give a piece of open advice in a line."""
    answer = f"answered {one.answer}" if one.answer else "no answer yet"
    return (
        f"{words.place(one.position)}: {one.verdict}, advised {words.day(one.advised_at)} "
        f"for {one.urgency}, {answer}."
    )
