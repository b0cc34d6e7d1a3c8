"""Faults that come back as plain JSON types, every figure finite and named with its unit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from ledger.cli.due_forms import moment, number
from ledger.view import plain_value

if TYPE_CHECKING:
    from ledger.figures.fault_shapes import (
        BikeFaults,
        BookingIn,
        ComeBackJob,
        FaultCounts,
        FaultEpisode,
        Pareto,
        ParetoRow,
        Unpaid,
    )
    from ledger.figures.faults import BookFaults


@dataclass(frozen=True, slots=True)
class Asked:
    """What of a book's faults is shown."""

    limit: int | None
    """Rows of a table; None for all."""
    how_sure: bool
    for_owner: bool
    """Whether what concerns single mechanics is shown."""
    is_as_known: bool = False
    """Whether what was known up to some seq was asked for."""


def faults_json(found: BookFaults, told: Pareto, asked: Asked) -> dict[str, Any]:
    """Give a book's faults as plain JSON types."""
    window = found.window
    plain = {
        "as_at": moment(found.as_at),
        "as_known": found.tables.known_seq,
        "window_asked": window and {"days": window.days, "km": window.distance_km},
        "finding": found.front,
        "notes": list(found.notes),
        "counted_at": found.words.counted_at(told.by) or None,
        **counts_json(found.counts),
        **unpaid_json(found.unpaid),
        "by": told.by,
        "measure": told.measure,
        "pareto": [_row(row) for row in told.rows[: asked.limit]],
        "count_rows": len(told.rows),
        "jobs": [job_json(job) for job in found.newest_jobs(asked.limit)],
        "count_jobs": found.count_linked,
        "count_jobs_come_back": found.count_jobs,
        "cautions": list(found.cautions),
    }
    if asked.for_owner and not asked.how_sure:
        plain["mechanic_funnel"] = finite(found.mechanic_funnel)
    if asked.how_sure:
        plain["how_sure"] = {
            name: finite(make()) for name, make in behind(found, for_owner=asked.for_owner).items()
        }
    return plain


def behind(found: BookFaults, *, for_owner: bool) -> Mapping[str, Callable[[], Any]]:
    """Give what stands behind the front, by name; mechanics for the owner alone."""
    from ledger.figures.fault_estimates import RECURRENCE_BY

    curves = {f"recurrence_by_{by}": lambda by=by: found.recurrence(by) for by in RECURRENCE_BY}
    rest: dict[str, Callable[[], Any]] = {
        **curves,
        "trends": lambda: found.trends,
        "model_rates": lambda: found.model_rates,
        "tier_funnel": lambda: found.tier_funnel,
        "prevention": lambda: found.prevention,
    }
    return {**rest, "mechanic_funnel": lambda: found.mechanic_funnel} if for_owner else rest


def counts_json(counts: FaultCounts) -> dict[str, Any]:
    """Give counts with the rates they make."""
    return {
        **finite(counts),
        "rate_so_far": number(counts.rate_so_far),
        "rate_followed": number(counts.rate_followed),
    }


def unpaid_json(unpaid: Unpaid) -> dict[str, Any]:
    """Give what nobody paid for; `unpaid_minor` is null where no wage of its minutes is told."""
    return {
        "unpaid_minutes": unpaid.minutes,
        "unpaid_minor": unpaid.minor,
        "unpaid_minutes_minor": unpaid.minutes_minor,
        "unpaid_minutes_without_wage": unpaid.minutes_without_wage,
        "unpaid_parts_minor": unpaid.parts_minor,
        "unpaid_parts_without_cost": unpaid.parts_without_cost,
    }


def _row(row: ParetoRow) -> dict[str, Any]:
    return {
        "key": row.key,
        "label": row.label,
        **counts_json(row.counts),
        "rate_followed_low": number(row.rate_low),
        "rate_followed_high": number(row.rate_high),
        **unpaid_json(row.unpaid),
        "share": number(row.share),
        "cumulative_share": number(row.cumulative_share),
        "is_too_few": row.is_too_few,
        "verdict": row.verdict,
    }


def job_json(job: ComeBackJob) -> dict[str, Any]:
    """Give a job that answers an earlier one, how it is linked, and how to say otherwise."""
    return {
        "job": job.job,
        "bike": job.bike,
        "opened_at": moment(job.opened_at),
        "tier": job.tier,
        "is_come_back": job.is_come_back,
        "answers": job.answers,
        "source": job.source,
        "how_linked": job.how_linked,
        "say_otherwise": list(job.say_otherwise),
        "faults": [{"position": position, "fault": fault} for position, fault in job.faults],
        "remark": job.remark or None,
        **unpaid_json(job.unpaid),
    }


# -- one bike ---------------------------------------------------------------------------------


def bike_json(found: BikeFaults, *, for_owner: bool) -> dict[str, Any]:
    """Give one bike's faults as plain JSON types; who put them right for the owner alone."""
    return {
        "bike": found.bike,
        "as_at": moment(found.as_at),
        "as_known": found.as_known,
        "observed_until": moment(found.observed_until),
        "summary": found.summary,
        "getting_worse": found.getting_worse,
        "trends": finite(found.trends),
        **counts_json(found.counts),
        **unpaid_json(found.unpaid),
        "episodes": [_episode(one, for_owner=for_owner) for one in found.episodes],
        "jobs": [job_json(job) for job in found.jobs],
        "cautions": list(found.cautions),
    }


def _episode(one: FaultEpisode, *, for_owner: bool) -> dict[str, Any]:
    plain = {**finite(one), "is_open": one.is_open}
    if not for_owner:
        del plain["put_right_actor"]
    return plain


def booking_json(found: BookingIn) -> dict[str, Any]:
    """Give what whoever books a bike in should know of it."""
    return dict(finite(found))


def finite(value: Any) -> Any:
    """Give shapes as plain JSON types; a figure that is none is null, never NaN."""
    if isinstance(value, float):
        return number(value)
    if isinstance(value, tuple | list):
        return [finite(one) for one in value]
    if hasattr(value, "__dataclass_fields__"):
        return {name: finite(getattr(value, name)) for name in value.__dataclass_fields__}
    return plain_value(value)
