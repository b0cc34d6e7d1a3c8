"""Declined advice that came back dearer, of a period."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import numpy as np
import pyarrow as pa

from ledger.figures.advice_dearer import WITHIN_DAYS
from ledger.figures.fault_arrays import NULL_TIME, micros
from ledger.figures.fault_words import cautions
from ledger.figures.held_rows import instant_us
from ledger.figures.job_sums import whole
from ledger.figures.labour_shapes import Period
from ledger.figures.labour_words import BenchNames
from ledger.figures.margin_shapes import Dearer, DearerAdvice
from ledger.settings import BookSettings
from ledger.vocabulary import Vocabulary
from ledger.vocabulary.caution import needs_caution

_DAY_US = 86_400_000_000


def dearer(advice: pa.Table, period: Period, settings: BookSettings, words: BenchNames) -> Dearer:
    """Give the rows of `JobLedger.advice` whose later job was closed in the period, dearer ones.

    The line in words is left empty.
    """
    first = instant_us(settings.end_of_day(period.since - timedelta(days=1))) + 1
    last = instant_us(settings.end_of_day(period.until))
    advised, closed = micros(advice["advised_at"]), micros(advice["closed_at"])
    is_asked = (advised <= last) & (advised + WITHIN_DAYS * _DAY_US >= first)
    is_back = (closed != NULL_TIME) & (closed >= first) & (closed <= last)
    more = whole(advice["later_minor"]) - whole(advice["price"])
    rows = np.flatnonzero(is_back & (more > 0))
    found = [_row(row, words.words) for row in advice.take(pa.array(rows)).to_pylist()]
    found.sort(key=lambda row: (row.price_minor - row.later_minor, row.advised_at, row.bike,
                                row.job, row.position))  # fmt: skip
    return Dearer(
        rows=tuple(found),
        count_not_taken=int(is_asked.sum()),
        count_came_back=int(is_back.sum()),
        dearer_minor=int(more[rows].sum()),
        line="",
        cautions=cautions([row.position for row in found], words.words),
    )


def _row(row: dict[str, Any], words: Vocabulary) -> DearerAdvice:
    word = words.positions.get(row["position"])
    return DearerAdvice(
        bike=row["bike"],
        position=row["position"],
        place=word.label if word else row["position"].replace("_", " "),
        advised_at=row["advised_at"],
        answer=row["answer"],
        price_minor=row["price"],
        job=row["job"],
        closed_at=row["closed_at"],
        days=(row["closed_at"] - row["advised_at"]).days,
        later_minor=row["later_minor"],
        is_same_position=row["is_same_position"],
        decides_safety=needs_caution(words, row["position"]),
    )
