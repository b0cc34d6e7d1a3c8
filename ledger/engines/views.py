"""Rows of the relations made into the one shape people see, `ledger.view.BikeView`."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import datetime, timedelta
from itertools import groupby
from typing import Any, TypeVar
from uuid import UUID

from ledger.view import (
    BikeView,
    FittedPart,
    OpenAdvice,
    OpenFault,
    OpenFinding,
    OpenJob,
    Reading,
    Setting,
)

Row = Mapping[str, Any]
Made = TypeVar("Made")

RELATIONS = (
    "bike_summary",
    "fitted_parts",
    "standing_figures",
    "open_faults",
    "open_findings",
    "open_advice",
    "open_jobs",
)
"""What a view is made from."""


def event_id(raw: bytes) -> str:
    """Give an event's id as text."""
    return str(UUID(bytes=bytes(raw)))


def _fitted(row: Row, as_at: datetime) -> FittedPart:
    fitted_at = row["fitted_at"]
    return FittedPart(
        position=row["position"],
        part=row["part"],
        make=row["make"],
        model=row["model"],
        fitted_at=fitted_at,
        distance_since_fitted_km=row["distance_since_fitted_km"],
        days_since_fitted=None if fitted_at is None else (as_at - fitted_at) // timedelta(days=1),
    )


def _reading(row: Row) -> Reading:
    return Reading(
        position=row["position"],
        quantity=row["quantity"],
        point=row["point"],
        value=row["value"],
        value_low=row["value_low"],
        value_high=row["value_high"],
        unit=row["unit"],
        measured_at=row["occurred_at"],
        limit=row["limit_value"],
        verdict=row["verdict"],
        event=event_id(row["id"]),
    )


def _setting(row: Row) -> Setting:
    return Setting(
        position=row["position"],
        quantity=row["quantity"],
        point=row["point"],
        value=row["value"],
        unit=row["unit"],
        set_at=row["occurred_at"],
        event=event_id(row["id"]),
    )


def _fault(row: Row) -> OpenFault:
    return OpenFault(
        position=row["position"],
        fault=row["fault"],
        cause=row["cause"],
        verdict=row["verdict"],
        found_at=row["found_at"],
        event=event_id(row["id"]),
    )


def _finding(row: Row) -> OpenFinding:
    return OpenFinding(
        position=row["position"],
        verdict=row["verdict"],
        found_at=row["found_at"],
        event=event_id(row["id"]),
    )


def open_advice(row: Row) -> OpenAdvice:
    """Give a row of the relation `open_advice` as people see it."""
    return OpenAdvice(
        position=row["position"],
        verdict=row["verdict"],
        urgency=row["urgency"],
        advised_at=row["advised_at"],
        answer=row["answer"],
        event=event_id(row["id"]),
    )


def _job(row: Row) -> OpenJob:
    return OpenJob(
        job=row["job"],
        tier=row["tier"],
        opened_at=row["opened_at"],
        promised_at=row["promised_at"],
        waiting_for=row["waiting_for"],
    )


def _sorted(rows: Iterable[Row], make: Callable[[Row], Made], *keys: str) -> tuple[Made, ...]:
    ordered = sorted(rows, key=lambda row: tuple(row[key] or "" for key in keys))
    return tuple(make(row) for row in ordered)


def make_view(
    shop: str, bike: str, as_at: datetime, as_known: int, rows: Mapping[str, list[Row]]
) -> BikeView:
    """Give the view of one bike from its rows of RELATIONS; a relation may have none."""
    summary: Row = next(iter(rows.get("bike_summary", [])), {})
    place = ("position", "quantity", "point")
    readings, settings = (
        [row for row in rows.get("standing_figures", []) if row["kind"] == kind]
        for kind in ("measured", "adjusted")
    )
    return BikeView(
        shop=shop,
        bike=bike,
        as_at=as_at,
        as_known=as_known,
        rider=summary.get("rider"),
        keeper=summary.get("keeper"),
        riding=summary.get("riding"),
        distance_km=summary.get("distance_km"),
        fitted=_sorted(rows.get("fitted_parts", []), lambda row: _fitted(row, as_at), "position"),
        readings=_sorted(readings, _reading, *place),
        settings=_sorted(settings, _setting, *place),
        faults_open=_sorted(rows.get("open_faults", []), _fault, "position", "fault"),
        findings_open=_sorted(rows.get("open_findings", []), _finding, "position"),
        advice_open=tuple(
            sorted(map(open_advice, rows.get("open_advice", [])), key=lambda one: one.event)
        ),
        jobs_open=_sorted(rows.get("open_jobs", []), _job, "job"),
        events_used=summary.get("events_used", 0),
    )


_Group = tuple[tuple[str, str], list[Row]]
"""Shop and bike, with the rows of one relation."""


def views_of_rows(
    rows: Mapping[str, Iterable[Row]], as_at: datetime, as_known: int
) -> Iterator[BikeView]:
    """Give the views of all bikes from rows of RELATIONS, each in order of shop and bike."""
    waiting = {relation: _groups(of_all) for relation, of_all in rows.items()}
    coming = {relation: next(groups, None) for relation, groups in waiting.items()}
    while (summary := coming["bike_summary"]) is not None:
        key = summary[0]
        found: dict[str, list[Row]] = {}
        for relation, group in coming.items():
            if group is not None and group[0] == key:
                found[relation] = group[1]
        coming |= {relation: next(waiting[relation], None) for relation in found}
        yield make_view(*key, as_at, as_known, found)


def _groups(rows: Iterable[Row]) -> Iterator[_Group]:
    for key, group in groupby(rows, key=lambda row: (row["shop"], row["bike"])):
        yield key, list(group)
