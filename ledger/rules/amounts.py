"""The rule about amounts that nobody owes backwards: costs, ceilings, prices, wages."""

from __future__ import annotations

from collections.abc import Iterator

from ledger.events import kinds
from ledger.rules.facts import BookFacts
from ledger.rules.rule import Finding, refuses
from ledger.state import BikeState

Priced = (
    kinds.JobOpened
    | kinds.QuoteGiven
    | kinds.JobClosed
    | kinds.GoodwillGiven
    | kinds.Advised
    | kinds.TermsSet
)
_SUMS = ("labour_rate_minor", "fixed_cost_minor", "consumables_minor")


def _amounts(event: Priced) -> Iterator[tuple[str, int | None]]:
    """Give (field below `data`, amount) of every amount that cannot be below nought."""
    if event.kind == "quote_given" or event.kind == "job_closed":
        for index, line in enumerate(event.data.lines):
            yield f"lines[{index}].cost_minor", line.cost_minor
    elif event.kind == "terms_set":
        yield from ((name, getattr(event.data, name)) for name in _SUMS)
        for index, tier in enumerate(event.data.tiers):
            yield f"tiers[{index}].price_minor", tier.price_minor
        for index, wage in enumerate(event.data.wages):
            yield f"wages[{index}].minor_per_hour", wage.minor_per_hour
    elif event.kind == "job_opened":
        yield "ceiling_minor", event.data.ceiling_minor
    elif event.kind == "goodwill_given":
        yield "value_minor", event.data.value_minor
    else:
        yield "price_minor", event.data.price_minor


@refuses(
    "amount_below_nought",
    "a cost, ceiling, price, value or wage below nought",
    *("job_opened", "quote_given", "job_closed", "goodwill_given", "advised", "terms_set"),
    is_of_entry=True,
)
def amount_below_nought(state: BikeState, event: Priced, facts: BookFacts) -> Iterator[Finding]:
    """Refuse what would turn a cost into an earning: below nought is only a line's discount."""
    for field, minor in _amounts(event):
        if minor is not None and minor < 0:
            wrong = f"{facts.money(minor)} is below nought"
            yield Finding(f"data.{field}", wrong, "Enter 0 or more, or leave it out")


RULES = (amount_below_nought,)
