"""Work not done yet: minutes and a price at a risk, and servicing a part against replacing it."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from ledger.book import Book
from ledger.figures.foresee_shapes import Calibration, JobForecast, ServiceOrReplace


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
) -> JobForecast:
    """Give the minutes a planned job will take.

    The plan is a tier, or tasks with their planned minutes (None for the usual ones), or both:
    then tasks come on top of the tier's own. `bike` is a tag, whose kind and age are taken where
    they are not given. Raises WrongUse for a plan of nothing, an unknown tier, task or kind, a
    risk not between 0.01 and 0.99; UnknownBike.
    """
    raise NotImplementedError


def calibration(
    book: Book, as_at: datetime | None = None, known_seq: int | None = None
) -> Calibration:
    """Give how such forecasts would have fared: each made only from what was known before."""
    raise NotImplementedError


def service_or_replace(
    book: Book,
    bike: str,
    position: str,
    as_at: datetime | None = None,
    known_seq: int | None = None,
) -> ServiceOrReplace:
    """Give the expected cost per remaining km of servicing what is fitted, and of a new part.

    Raises UnknownBike; WrongUse for an unknown position, or one with nothing fitted.
    """
    raise NotImplementedError
