"""A job to foretell put together: its tasks with their minutes, and the kind and age of bike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import pyarrow.compute as pc

from ledger.analysis.job_time import Plan, PlannedTask
from ledger.book import Book
from ledger.engines.duckdb import Asked
from ledger.errors import WrongUse
from ledger.figures.foresee_words import AS_ASKED, OF_TIER, USUAL
from ledger.figures.job_stretches import NO_DAY, first_used_days
from ledger.figures.job_tables import JobTables
from ledger.figures.job_times import age_class
from ledger.figures.terms_in_force import day_number
from ledger.queries import bike_tables

DAYS_A_YEAR = 365.25


@dataclass(frozen=True, slots=True)
class BikeAge:
    """The kind and age of a bike, as far as they are told."""

    kind: str | None = None
    is_old: bool | None = None
    """It came with an unknown history."""
    years: float | None = None
    """Since it was first used."""

    @property
    def age_class(self) -> str | None:
        """Give its class of age."""
        return age_class(self.is_old, None if self.years is None else self.years * DAYS_A_YEAR)


@dataclass(frozen=True, slots=True)
class Sourced:
    """A plan, and where the minutes of each of its tasks come from, in words."""

    plan: Plan
    sources: tuple[str, ...]


def bike_age(book: Book, bike: str, told: BikeAge, when: Asked) -> BikeAge:
    """Give the kind and age of a bike of the book, what is told going first; raises UnknownBike."""
    table = bike_tables(book, bike, ["bike_histories"], when.as_at, when.known_seq)
    history = table["bike_histories"]
    if not len(history):
        return told
    row = history.to_pylist()[0]
    used = int(first_used_days(history["first_used_on"])[0])
    today = day_number(book.settings.local(when.as_at).date())
    years = None if used == NO_DAY else max(today - used, 0) / DAYS_A_YEAR
    is_told = told.is_old is not None or told.years is not None
    return BikeAge(
        told.kind or row["bike_kind"],
        told.is_old if is_told else used == NO_DAY,
        told.years if is_told else years,
    )


def planned_job(
    tier: str | None, tasks: Mapping[str, float | None], age: BikeAge, ledger: JobTables, today: int
) -> Sourced:
    """Give the plan that is asked for; raises WrongUse where it is none."""
    _check(tier, tasks, age, ledger)
    own = _of_tier(tier, ledger, today) if tier is not None else []
    more = [
        (PlannedTask(task, minutes), USUAL if minutes is None else AS_ASKED)
        for task, minutes in tasks.items()
    ]
    every = [*own, *more]
    if not every:
        raise WrongUse(
            "A job of nothing takes no time. Give a tier or a task, such as --task brakes."
        )
    plan = Plan(tuple(task for task, _ in every), tier, age.kind, age.age_class)
    return Sourced(_filled(plan, ledger), tuple(source for _, source in every))


def _filled(plan: Plan, ledger: JobTables) -> Plan:
    """Give no kind where none was ever recorded."""
    is_known = pc.any(pc.is_valid(ledger.jobs["bike_kind"])).as_py()
    return plan if is_known else replace(plan, bike_kind=None)


def _of_tier(tier: str, ledger: JobTables, today: int) -> list[tuple[PlannedTask, str]]:
    """Give the tier's tasks as its terms tell; as one where they tell none."""
    told = ledger.terms.tier_on(tier, today)
    tasks = () if told is None else told.tasks
    found = [
        (PlannedTask(task.task, float(task.minutes)), OF_TIER) for task in tasks if task.minutes
    ]
    if found:
        return found
    if told is not None and told.minutes:
        return [(PlannedTask(tier, float(told.minutes)), OF_TIER)]
    return [(PlannedTask(tier, None), USUAL)]


def _check(
    tier: str | None, tasks: Mapping[str, float | None], age: BikeAge, ledger: JobTables
) -> None:
    words = ledger.words
    if tier is not None and tier not in words.tiers:
        raise WrongUse(_unknown("tier", tier, words.tiers))
    for task, minutes in tasks.items():
        if task not in words.tasks:
            raise WrongUse(_unknown("task", task, words.tasks))
        if minutes is not None and not 0 < minutes <= 10_000:
            raise WrongUse(f"{task} cannot take {minutes} minutes. Give minutes above 0.")
    if age.kind is not None and age.kind not in words.bike_kinds:
        raise WrongUse(_unknown("kind of bike", age.kind, words.bike_kinds))
    if age.years is not None and age.years < 0:
        raise WrongUse(f"A bike cannot be {age.years} years old. Give 0 or more.")


def _unknown(what: str, name: str, known: Mapping[str, object]) -> str:
    return f"There is no {what} {name}. There are: {', '.join(sorted(known)) or 'none yet'}."
