"""What single lines of quotes and charges must be: the thing quoted, its tax, its sign."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any

import pytest

from ledger.money import tax_minor
from tests.rule_shorthand import (
    BORN,
    FACTS,
    OPEN,
    E,
    answered,
    charge,
    found,
    given_away,
    job,
    line,
    march,
    problems,
    quote,
    recorded,
    taxed,
)

PAD = line("2", line_type="part", code="Pad", position="front_brake.pads", net_minor=900)


def offered(*lines: dict[str, Any], yes: str = "1") -> list[E]:
    """A job whose quote has these lines, with a yes to some."""
    said = [E("2024-02-03", "quote_answered", answered("yes", name), job()) for name in yes]
    return [BORN, OPEN, E("2024-02-02", "quote_given", quote(*lines), job()), *said]


def closing(*lines: dict[str, Any]) -> E:
    return march("job_closed", charge(*lines), **job())


def test_a_declined_part_is_not_charged_on_the_yes_to_labour() -> None:
    """The message says what both are, and which line the part was quoted in."""
    part = {**PAD, "line": "a", "quote_line": "1"}
    (one,) = problems(offered(line("1"), PAD), [closing(part)])
    assert (one.rule, one.severity) == ("charged_otherwise", "refused")
    assert one.wrong == (
        "line a is part Pad at front_brake.pads; the quoted line 1 is labour chain"
    )
    assert one.right == "part Pad at front_brake.pads is quoted in line 2: name that one"


def test_what_nobody_quoted_is_to_be_quoted() -> None:
    """Where no line of that thing stands, the way is a quote and a yes."""
    (one,) = problems(offered(line("1")), [closing(line("a", code="brakes", quote_line="1"))])
    assert one.right == "Charge labour chain there, or quote labour brakes and get a yes"


@pytest.mark.parametrize(
    ("position", "is_right"),
    [("front_brake.pads", True), ("rear_brake.pads", False), (None, True)],
)
def test_the_place_is_that_of_the_quote_where_both_tell_one(
    position: str | None, is_right: bool
) -> None:
    """A pad quoted for the front is not charged for the rear; leaving the place out is no lie."""
    part = {**PAD, "line": "a", "quote_line": "2", "position": position}
    refused = found(offered(PAD, yes="2"), [closing(part)])
    assert refused == (set() if is_right else {"charged_otherwise"})


def test_goodwill_may_name_any_line() -> None:
    """What is given away takes nobody's yes."""
    given = given_away("a", code="brakes", quote_line="1", tax_rate="0.21")
    assert found(offered(line("1")), [closing(given)]) == set()


def test_a_charge_without_a_rate_has_that_of_its_quoted_line() -> None:
    """Its tax follows from the rate the keeper saw; a rate that was entered is never changed."""
    history = offered(taxed("1", 1000))
    closed = recorded([*history, closing(line("a", net_minor=900, quote_line="1"))])[-1]
    assert closed.kind == "job_closed"
    (charged,) = closed.data.lines
    assert (charged.tax_rate, charged.tax_minor) == ("0.21", 189)
    entered = line("a", quote_line="1", tax_rate="0")
    (one,) = problems(history, [closing(entered)])
    assert (one.rule, one.wrong) == (
        "charged_at_other_tax", "0 is not the 0.21 quoted in line 1",
    )  # fmt: skip


def test_records_brought_in_keep_the_rate_they_have() -> None:
    """An older closing without a rate had no tax: nothing is read into it."""
    events = [*offered(taxed("1", 1000)), closing(line("a", quote_line="1"))]
    closed = recorded(events, replace(FACTS, is_brought_in=True))[-1]
    assert closed.kind == "job_closed"
    assert (closed.data.lines[0].tax_rate, closed.data.lines[0].tax_minor) == ("0", 0)


@pytest.mark.parametrize(("rounding", "tax"), [("half even", 2), ("half up", 3)])
def test_tax_entered_is_that_of_the_rounding_in_force(rounding: str, tax: int) -> None:
    """2.5 cents are 2 or 3 as the terms say; the other figure is refused with the right one."""
    facts = replace(FACTS, roundings=[("2024-01-01", rounding)])
    assert tax_minor(10, "0.25", rounding) == tax
    for entered in (2, 3, -3):
        told = line("1", net_minor=10, tax_rate="0.25", tax_minor=entered)
        given = march("quote_given", quote(told), **job())
        refused = [one.right for one in problems([BORN, OPEN], [given], facts)]
        right = f"It is €0.0{tax} ({tax}); left out, it is filled in"
        assert refused == ([] if entered == tax else [right])


def test_tax_entered_with_a_charge_is_held_to_the_same() -> None:
    """A charge with another tax than its own line gives is refused, goodwill too."""
    charged = line("a", quote_line="1", tax_minor=210)
    assert found(offered(line("1")), [closing(charged)]) == {"wrong_tax"}
    assert found([BORN, OPEN], [closing(given_away("a", tax_minor=1))]) == {"wrong_tax"}


@pytest.mark.parametrize("line_type", ["labour", "part", "consumable"])
def test_work_and_parts_are_not_below_nought(line_type: str) -> None:
    """A price below nought hides a discount; the message says how to give one."""
    given = march("quote_given", quote(line("1", line_type=line_type, net_minor=-1)), **job())
    (one,) = problems([BORN, OPEN], [given])
    assert one.rule == "below_nought"
    assert "line_type other" in one.right


def test_a_discount_is_a_line_that_was_agreed() -> None:
    """It needs a yes, may not shrink, and no other line turns into one."""
    discount = line("2", line_type="other", code="discount", net_minor=-300)
    taken = {**discount, "line": "a", "quote_line": "2"}
    assert found(offered(line("1"), discount, yes="2"), [closing(taken)]) == set()
    assert found(offered(line("1"), discount), [closing(taken)]) == {"charged_without_yes"}
    smaller = {**taken, "net_minor": -299}
    refused = found(offered(line("1"), discount, yes="2"), [closing(smaller)])
    assert refused == {"charged_above_quote"}
    extra = {**discount, "net_minor": 300}
    assert found(offered(extra, yes="2"), [closing(taken)]) == {"below_nought"}


def test_a_bill_without_the_agreed_discount_is_warned_of() -> None:
    """One on which something is charged, that is: given away whole, there is nothing to lessen."""
    discount = line("2", line_type="other", code="discount", net_minor=-300)
    charged = line("a", quote_line="1")
    assert found(offered(line("1"), discount, yes="12"), [closing(charged)]) == {
        "discount_left_out"
    }
    assert found(offered(line("1"), discount, yes="1"), [closing(charged)]) == set()
    assert found(offered(line("1"), discount, yes="12"), [closing(given_away("a"))]) == set()


@pytest.mark.parametrize(
    ("kind", "data", "field"),
    [
        ("job_opened", {"ceiling_minor": -1}, "ceiling_minor"),
        ("goodwill_given", {"value_minor": -1}, "value_minor"),
        ("advised", {"position": "chain", "verdict": "watch", "urgency": "soon",
                     "price_minor": -1}, "price_minor"),
        ("job_closed", charge(given_away("a", cost_minor=-1)), "lines[0].cost_minor"),
    ],
)  # fmt: skip
def test_no_amount_but_a_discount_is_below_nought(
    kind: str, data: dict[str, Any], field: str
) -> None:
    """A cost below nought would be an earning; 0 is an amount like others."""
    before = [BORN] if kind == "job_opened" else [BORN, OPEN]
    (one,) = problems(before, [march(kind, data, **job())])
    assert (one.rule, one.field) == ("amount_below_nought", f"data.{field}")
    assert one.wrong == "-€0.01 is below nought"
    zero = json.loads(json.dumps(data).replace("-1", "0"))
    assert found(before, [march(kind, zero, **job())]) == set()


def test_records_brought_in_keep_the_costs_they_have() -> None:
    """What another program wrote is kept as it was."""
    closed = closing(given_away("a", cost_minor=-1))
    assert found([BORN, OPEN], [closed], replace(FACTS, is_brought_in=True)) == set()
