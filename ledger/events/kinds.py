"""Each kind of event: the envelope, its name, its version and its payload."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from ledger.events import bench, bike, job, shop
from ledger.events.envelope import Envelope


class BikeRegistered(Envelope):
    """`bike_registered`; see `ledger.events.bike.BikeRegistered`."""

    kind: Literal["bike_registered"] = "bike_registered"
    schema_version: Literal[1] = 1
    data: bike.BikeRegistered


class RiderChanged(Envelope):
    """`rider_changed`; see `ledger.events.bike.RiderChanged`."""

    kind: Literal["rider_changed"] = "rider_changed"
    schema_version: Literal[1] = 1
    data: bike.RiderChanged


class DistanceRead(Envelope):
    """`distance_read`; see `ledger.events.bike.DistanceRead`."""

    kind: Literal["distance_read"] = "distance_read"
    schema_version: Literal[2] = 2
    data: bike.DistanceRead


class PhotoAttached(Envelope):
    """`photo_attached`; see `ledger.events.bike.PhotoAttached`."""

    kind: Literal["photo_attached"] = "photo_attached"
    schema_version: Literal[1] = 1
    data: bike.PhotoAttached


class BikeLinked(Envelope):
    """`bike_linked`; see `ledger.events.bike.BikeLinked`."""

    kind: Literal["bike_linked"] = "bike_linked"
    schema_version: Literal[1] = 1
    data: bike.BikeLinked


class JobOpened(Envelope):
    """`job_opened`; see `ledger.events.job.JobOpened`."""

    kind: Literal["job_opened"] = "job_opened"
    schema_version: Literal[1] = 1
    data: job.JobOpened


class JobHeld(Envelope):
    """`job_held`; see `ledger.events.job.JobHeld`."""

    kind: Literal["job_held"] = "job_held"
    schema_version: Literal[1] = 1
    data: job.JobHeld


class JobResumed(Envelope):
    """`job_resumed`; see `ledger.events.job.JobResumed`."""

    kind: Literal["job_resumed"] = "job_resumed"
    schema_version: Literal[1] = 1
    data: job.JobResumed


class QuoteGiven(Envelope):
    """`quote_given`; see `ledger.events.job.QuoteGiven`."""

    kind: Literal["quote_given"] = "quote_given"
    schema_version: Literal[1] = 1
    data: job.QuoteGiven


class QuoteAnswered(Envelope):
    """`quote_answered`; see `ledger.events.job.QuoteAnswered`."""

    kind: Literal["quote_answered"] = "quote_answered"
    schema_version: Literal[1] = 1
    data: job.QuoteAnswered


class LabourStarted(Envelope):
    """`labour_started`; see `ledger.events.job.LabourStarted`."""

    kind: Literal["labour_started"] = "labour_started"
    schema_version: Literal[1] = 1
    data: job.LabourStarted


class LabourStopped(Envelope):
    """`labour_stopped`; see `ledger.events.job.LabourStopped`."""

    kind: Literal["labour_stopped"] = "labour_stopped"
    schema_version: Literal[1] = 1
    data: job.LabourStopped


class LabourLogged(Envelope):
    """`labour_logged`; see `ledger.events.job.LabourLogged`."""

    kind: Literal["labour_logged"] = "labour_logged"
    schema_version: Literal[1] = 1
    data: job.LabourLogged


class GoodwillGiven(Envelope):
    """`goodwill_given`; see `ledger.events.job.GoodwillGiven`."""

    kind: Literal["goodwill_given"] = "goodwill_given"
    schema_version: Literal[1] = 1
    data: job.GoodwillGiven


class Advised(Envelope):
    """`advised`; see `ledger.events.job.Advised`."""

    kind: Literal["advised"] = "advised"
    schema_version: Literal[1] = 1
    data: job.Advised


class AdviceAnswered(Envelope):
    """`advice_answered`; see `ledger.events.job.AdviceAnswered`."""

    kind: Literal["advice_answered"] = "advice_answered"
    schema_version: Literal[1] = 1
    data: job.AdviceAnswered


class Released(Envelope):
    """`released`; see `ledger.events.job.Released`."""

    kind: Literal["released"] = "released"
    schema_version: Literal[1] = 1
    data: job.Released


class JobClosed(Envelope):
    """`job_closed`; see `ledger.events.job.JobClosed`."""

    kind: Literal["job_closed"] = "job_closed"
    schema_version: Literal[1] = 1
    data: job.JobClosed


class ComeBackJudged(Envelope):
    """`come_back_judged`; see `ledger.events.job.ComeBackJudged`."""

    kind: Literal["come_back_judged"] = "come_back_judged"
    schema_version: Literal[1] = 1
    data: job.ComeBackJudged


class Inspected(Envelope):
    """`inspected`; see `ledger.events.bench.Inspected`."""

    kind: Literal["inspected"] = "inspected"
    schema_version: Literal[1] = 1
    data: bench.Inspected


class Diagnosed(Envelope):
    """`diagnosed`; see `ledger.events.bench.Diagnosed`."""

    kind: Literal["diagnosed"] = "diagnosed"
    schema_version: Literal[1] = 1
    data: bench.Diagnosed


class Measured(Envelope):
    """`measured`; see `ledger.events.bench.Measured`."""

    kind: Literal["measured"] = "measured"
    schema_version: Literal[1] = 1
    data: bench.Measured


class PartFitted(Envelope):
    """`part_fitted`; see `ledger.events.bench.PartFitted`."""

    kind: Literal["part_fitted"] = "part_fitted"
    schema_version: Literal[1] = 1
    data: bench.PartFitted


class PartRemoved(Envelope):
    """`part_removed`; see `ledger.events.bench.PartRemoved`."""

    kind: Literal["part_removed"] = "part_removed"
    schema_version: Literal[1] = 1
    data: bench.PartRemoved


class Adjusted(Envelope):
    """`adjusted`; see `ledger.events.bench.Adjusted`."""

    kind: Literal["adjusted"] = "adjusted"
    schema_version: Literal[1] = 1
    data: bench.Adjusted


class Treated(Envelope):
    """`treated`; see `ledger.events.bench.Treated`."""

    kind: Literal["treated"] = "treated"
    schema_version: Literal[1] = 1
    data: bench.Treated


class Noted(Envelope):
    """`noted`; see `ledger.events.bench.Noted`."""

    kind: Literal["noted"] = "noted"
    schema_version: Literal[1] = 1
    data: bench.Noted


class TermsSet(Envelope):
    """`terms_set`; see `ledger.events.shop.TermsSet`."""

    kind: Literal["terms_set"] = "terms_set"
    schema_version: Literal[1] = 1
    data: shop.TermsSet


class MechanicRegistered(Envelope):
    """`mechanic_registered`; see `ledger.events.shop.MechanicRegistered`."""

    kind: Literal["mechanic_registered"] = "mechanic_registered"
    schema_version: Literal[1] = 1
    data: shop.MechanicRegistered


class GaugeRegistered(Envelope):
    """`gauge_registered`; see `ledger.events.shop.GaugeRegistered`."""

    kind: Literal["gauge_registered"] = "gauge_registered"
    schema_version: Literal[1] = 1
    data: shop.GaugeRegistered


class EventStruck(Envelope):
    """`event_struck`; see `ledger.events.shop.EventStruck`."""

    kind: Literal["event_struck"] = "event_struck"
    schema_version: Literal[1] = 1
    data: shop.EventStruck


Event = Annotated[
    BikeRegistered
    | RiderChanged
    | DistanceRead
    | PhotoAttached
    | BikeLinked
    | JobOpened
    | JobHeld
    | JobResumed
    | QuoteGiven
    | QuoteAnswered
    | LabourStarted
    | LabourStopped
    | LabourLogged
    | GoodwillGiven
    | Advised
    | AdviceAnswered
    | Released
    | JobClosed
    | ComeBackJudged
    | Inspected
    | Diagnosed
    | Measured
    | PartFitted
    | PartRemoved
    | Adjusted
    | Treated
    | Noted
    | TermsSet
    | MechanicRegistered
    | GaugeRegistered
    | EventStruck,
    Field(discriminator="kind"),
]
"""Any event: told apart by its kind."""
