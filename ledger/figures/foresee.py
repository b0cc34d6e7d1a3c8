"""Work not done yet: minutes and a price at a risk, and servicing a part against replacing it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime

from ledger.analysis import job_time
from ledger.analysis.unfit import CannotFit
from ledger.asking import Asker, require
from ledger.book import Book
from ledger.errors import WrongUse
from ledger.figures.foresee_bench import bench_today, room_alone
from ledger.figures.foresee_fitted import Foreseen, foreseen
from ledger.figures.foresee_plan import BikeAge, bike_age, planned_job
from ledger.figures.foresee_shapes import (
    Calibration,
    FoldScore,
    JobForecast,
    PlannedTask,
    ServiceOrReplace,
)
from ledger.figures.foresee_words import ForeseeWords
from ledger.figures.job_tables import JobTables
from ledger.figures.terms_in_force import day_number, day_of
from ledger.queries import asked_of
from ledger.vocabulary.caution import CAUTION, task_needs_caution

LEAST_RISK, MOST_RISK = 0.01, 0.99
ROUGH = "Minutes at the bench alone: parts, and the wait for them, are not in them."


def foresee(
    book: Book,
    *,
    tier: str | None = None,
    tasks: Mapping[str, float | None] | None = None,
    bike: str | None = None,
    bike_kind: str | None = None,
    is_old: bool | None = None,
    years: float | None = None,
    risk: float = 0.2,
    price_minor: int | None = None,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    asker: Asker,
) -> JobForecast:
    """Give the minutes a planned job will take.

    The plan is a tier, or tasks with their planned minutes (None for the usual ones), or both:
    then tasks come on top of the tier's own. `bike` is a tag, whose kind and age are taken where
    they are not given. Raises WrongUse for a plan of nothing, an unknown tier, task or kind, a
    risk not between 0.01 and 0.99; UnknownBike; NotForRole for whoever does not quote. How full
    the bench is, and how many jobs stand behind it, is told to whoever sees colleagues' minutes.
    """
    require(asker, "quotes", "What a job would take")
    if not LEAST_RISK <= risk <= MOST_RISK:
        raise WrongUse(f"A risk of {risk} is none. Give one from 0.01 to 0.99, such as 0.2.")
    when = asked_of(book, as_at, known_seq)
    known = foreseen(book, when)
    ledger = known.tables
    today = day_number(book.settings.local(when.as_at).date())
    age = BikeAge(bike_kind, is_old, years)
    if bike is not None:
        age = bike_age(book, bike, age, when)
    planned = planned_job(tier, tasks or {}, age, ledger, today)
    try:
        seen = known.forecast(planned.plan)
    except CannotFit as error:
        raise WrongUse(f"{error.wrong}. Give its minutes, such as brakes=45.") from None
    found = _forecast(known, today, age, planned.sources, seen, risk)
    if not asker.sees("colleagues"):
        found = replace(found, bench=room_alone(found.bench))
    return _priced(replace(found, bike=bike), ledger, today, seen, price_minor)


def _forecast(
    known: Foreseen,
    today: int,
    age: BikeAge,
    sources: tuple[str, ...],
    seen: job_time.Forecast,
    risk: float,
) -> JobForecast:
    """Give a forecast without its prices and words."""
    ledger = known.tables
    words = ForeseeWords(ledger.settings, ledger.words)
    p50, p80 = seen.quantile(0.5), seen.quantile(0.8)
    tasks = tuple(
        PlannedTask(task.task, words.task(task.task), float(task.minutes or 0), source)
        for task, source in zip(seen.plan.tasks, sources, strict=True)
    )
    return JobForecast(
        tasks=tasks,
        tier=seen.plan.tier,
        bike=None,
        bike_kind=age.kind,
        is_old=age.is_old,
        years=age.years,
        planned_minutes=seen.planned_minutes,
        p50_minutes=p50,
        p80_minutes=p80,
        risk=risk,
        risk_minutes=seen.quantile(1 - risk),
        rate_minor=ledger.terms.posted_rate_minor(today),
        risk_price_minor=None,
        price_minor=None,
        chance_not_enough=None,
        count_jobs=seen.count_jobs,
        count_alike=seen.count_alike,
        bench=bench_today(known.bench(today), p50, p80, words),
        front="",
        notes=(),
        cautions=(CAUTION,) if any(task_needs_caution(task.task) for task in tasks) else (),
    )


def _priced(
    found: JobForecast,
    ledger: JobTables,
    today: int,
    seen: job_time.Forecast,
    price_minor: int | None,
) -> JobForecast:
    """Give a forecast with its prices and words."""
    words, rate = ForeseeWords(ledger.settings, ledger.words), found.rate_minor
    price = None if not rate else job_time.price_at_risk(seen, rate, found.risk)
    is_asked = price_minor is not None and bool(rate)
    chance = seen.chance_price_short(price_minor or 0, rate or 1) if is_asked else None
    usual = [words.task(task) for task in seen.usual_tasks]
    notes = words.notes(found.count_jobs, found.count_alike, usual, chance)
    return replace(
        found,
        risk_price_minor=price,
        price_minor=price_minor,
        chance_not_enough=chance,
        front=words.front(found.p50_minutes, found.p80_minutes, found.risk, price),
        notes=(*notes, ROUGH),
    )


def calibration(
    book: Book, as_at: datetime | None = None, known_seq: int | None = None, *, asker: Asker
) -> Calibration:
    """Give how such forecasts would have fared: each made only from what was known before.

    Raises NotForRole for whoever does not quote.
    """
    require(asker, "quotes", "How well forecasts held")
    when = asked_of(book, as_at, known_seq)
    known = foreseen(book, when)
    words = ForeseeWords(known.tables.settings, known.tables.words)
    scored = known.scored()
    found = _no_calibration() if scored is None else _calibration(scored)
    return replace(found, front=words.calibration(found))


def _no_calibration() -> Calibration:
    return Calibration((), 0, None, None, None, None, None, True, "", ())


def _calibration(scored: job_time.Calibration) -> Calibration:
    folds = tuple(
        FoldScore(
            day_of(int(fold.fitted_until)),
            day_of(int(fold.scored_until)),
            fold.count_fitted,
            fold.count_scored,
            fold.share_under_p50,
            fold.share_under_p80,
        )
        for fold in scored.folds
    )
    return Calibration(
        folds=folds,
        count_scored=scored.count,
        share_under_p50=scored.share_under_p50,
        share_under_p80=scored.share_under_p80,
        pinball_minutes=scored.loss,
        pinball_planned_minutes=scored.loss_planned,
        pinball_ratio_minutes=scored.loss_median_ratio,
        is_too_few=False,
        front="",
        notes=("A job that took just P50 or P80, to the minute, counts half.",),
    )


def service_or_replace(
    book: Book,
    bike: str,
    position: str,
    as_at: datetime | None = None,
    known_seq: int | None = None,
    *,
    asker: Asker,
) -> ServiceOrReplace:
    """Give the expected cost per remaining km of servicing what is fitted, and of a new part.

    Costs are what keepers were charged here, not what it cost the shop. Raises UnknownBike;
    WrongUse for an unknown position, or one with nothing fitted; NotForRole for whoever does not
    quote.
    """
    require(asker, "quotes", "What a part would be charged at")
    from ledger.figures.foresee_parts import service_or_replace as worked_out

    return worked_out(book, bike, position, asked_of(book, as_at, known_seq))
