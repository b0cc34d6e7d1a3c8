"""Payloads about a visit: booking in, holding, quoting, labour, handing back."""

from __future__ import annotations

from decimal import Decimal
from typing import Annotated, Literal

from pydantic import Field, model_validator

from ledger.events.types import (
    LEFT_OUT_IF_EMPTY,
    Answer,
    Channel,
    Code,
    Currency,
    DecimalText,
    EventId,
    Flag,
    FreeText,
    Frozen,
    Label,
    MinorUnits,
    MinutesKind,
    Moment,
    Position,
    Ref,
    Verdict,
    WorkMinutes,
)


class JobOpened(Frozen):
    """A bike is booked in."""

    tier: Code | None = None
    complaint: FreeText | None = None
    """In the rider's words."""
    riding: Code | None = None
    """The use the bike sees, as told at booking-in."""
    promised_at: Moment | None = None
    ceiling_minor: MinorUnits | None = None
    """Work may not pass this without another yes."""
    currency: Currency | None = None
    may_approve: tuple[Ref, ...] = ()
    came_with: FreeText | None = None
    come_back_of: Ref | None = None
    """The job whose work this visit answers for."""


class JobHeld(Frozen):
    """Work stops until something arrives."""

    waiting_for: Literal["answer", "part", "payment", "other"]
    expected_at: Moment | None = None
    note: FreeText | None = None


class JobResumed(Frozen):
    """Work goes on after a hold."""

    note: FreeText | None = None


class Line(Frozen):
    """One line of a quote or of a charge. Sums of money are for the whole line."""

    line: Ref
    line_type: Literal["labour", "part", "consumable", "other"]
    code: Label
    """The task for labour, the model for a part."""
    description: FreeText | None = None
    position: Position | None = None
    quantity: DecimalText = "1"
    minutes: WorkMinutes | None = None
    net_minor: MinorUnits
    tax_rate: DecimalText = "0"
    """A fraction: `0.21` is 21 %."""
    tax_minor: MinorUnits | None = None
    """Filled in when recorded: net times rate, rounded as the shop's terms say."""
    cost_minor: MinorUnits | None = None
    payer: Ref | None = None
    quote_line: Ref | None = None
    is_goodwill: Flag = False

    @model_validator(mode="after")
    def _possible(self) -> Line:
        if not Decimal(0) <= Decimal(self.tax_rate) <= Decimal(1):
            raise ValueError("tax_rate is a fraction between 0 and 1, such as '0.21'")
        return self


Lines = Annotated[tuple[Line, ...], Field(max_length=200)]


class QuoteGiven(Frozen):
    """A price is named, before the work."""

    quote: Ref
    form: Literal["fixed", "up to"]
    currency: Currency
    lines: Annotated[Lines, Field(min_length=1)]
    is_found_later: Flag = False
    """The work came to light after the first quote."""
    replaces: Ref | None = None
    """The quote of this job that this one stands in for; its lines and answers count no more."""
    note: FreeText | None = None


class LineAnswer(Frozen):
    """The keeper's answer to one line."""

    line: Ref
    answer: Answer


class QuoteAnswered(Frozen):
    """The keeper answers a quote line by line; no reply is not a yes."""

    quote: Ref
    answers: Annotated[tuple[LineAnswer, ...], Field(min_length=1, max_length=200)]
    by: Ref | None = None
    how: Channel
    note: FreeText | None = None


class LabourStarted(Frozen):
    """A mechanic's clock starts on a task."""

    task: Code
    minutes_kind: MinutesKind = "quoted"


class LabourStopped(Frozen):
    """The same mechanic's clock stops."""

    minutes: WorkMinutes | None = None
    """Filled in when recorded: from the start to here, rounded to the minute."""
    is_paused: Annotated[Flag, LEFT_OUT_IF_EMPTY] = False
    """The work is to go on: the clock counts as paused until it starts again."""


class LabourLogged(Frozen):
    """Minutes entered afterwards."""

    task: Code
    minutes: WorkMinutes
    minutes_kind: MinutesKind = "quoted"


class GoodwillGiven(Frozen):
    """Work or money the rider is not charged for."""

    task: Code | None = None
    position: Position | None = None
    minutes: WorkMinutes | None = None
    value_minor: MinorUnits | None = None
    currency: Currency | None = None
    note: FreeText | None = None


class Advised(Frozen):
    """The keeper is told of something, with how pressing it is."""

    position: Position
    verdict: Verdict
    urgency: Literal["now", "soon", "next service", "when convenient"]
    advice: FreeText | None = None
    price_minor: MinorUnits | None = None
    currency: Currency | None = None
    told_to: Ref | None = None


class AdviceAnswered(Frozen):
    """The keeper answers advice."""

    advice: EventId
    answer: Answer
    by: Ref | None = None
    how: Channel
    note: FreeText | None = None


class Warned(Frozen):
    """A warning given at hand-over."""

    position: Position
    warning: FreeText


class Released(Frozen):
    """The bike is checked and handed back."""

    is_test_ridden: Flag
    why_not_ridden: FreeText | None = None
    rechecked: tuple[Position, ...] = ()
    warnings: Annotated[tuple[Warned, ...], Field(max_length=50)] = ()
    handed_to: Ref | None = None

    @model_validator(mode="after")
    def _says_why(self) -> Released:
        if not self.is_test_ridden and self.why_not_ridden is None:
            raise ValueError("a bike not test ridden needs why_not_ridden")
        return self


class JobClosed(Frozen):
    """The visit ends, with what is charged."""

    currency: Currency | None = None
    lines: Lines = ()
    disturbed: tuple[Position, ...] = ()
    """Filled in when recorded: positions disturbed and not torqued since."""
    note: FreeText | None = None

    @model_validator(mode="after")
    def _money_has_currency(self) -> JobClosed:
        if self.lines and self.currency is None:
            raise ValueError("charged lines need a currency, such as 'EUR'")
        return self


class ComeBackJudged(Frozen):
    """Somebody says whether a visit answers for earlier work, whatever was matched or said."""

    is_come_back: Flag
    """False: nothing found in this visit counts as come back."""
    answers: Ref | None = None
    """The job of this bike whose work it answers for."""
    why: FreeText | None = None

    @model_validator(mode="after")
    def _answers_a_job(self) -> ComeBackJudged:
        if self.is_come_back and self.answers is None:
            raise ValueError("a come-back needs answers: the job whose work it answers for")
        if not self.is_come_back and self.answers is not None:
            raise ValueError("what is no come-back has no answers")
        return self
