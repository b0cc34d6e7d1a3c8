"""What may be charged: what was agreed, at most at its price, once; or goodwill at nil."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.rules import check_timeline
from tests.rule_shorthand import (
    AGREED,
    BORN,
    FACTS,
    OPEN,
    QUOTED,
    E,
    again,
    answered,
    at,
    charge,
    found,
    job,
    line,
    march,
    problems,
    quote,
    recorded,
    taxed,
)
from tests.strategies import event_id

YES = E("2024-02-03", "quote_answered", answered("yes"), job())
CHARGED = march("job_closed", charge(line("a", quote_line="1")), **job())
BARE = march("job_closed", charge(line("a")), **job())
OF_ENTRY = {
    "charged_without_quote", "charged_without_yes", "charged_twice", "charged_above_quote",
    "goodwill_charged", "charged_otherwise", "charged_at_other_tax", "wrong_tax", "below_nought",
}  # fmt: skip


def test_a_yes_to_a_replaced_quote_is_a_yes_to_nothing() -> None:
    """What was agreed in an older version may not be charged; the message names the newer."""
    only = [line("9")]
    newer = E("2024-02-04", "quote_given", again(*only, replaces="q1"), job())
    (one,) = problems([*AGREED, newer], [CHARGED])
    assert (one.rule, one.severity) == ("charged_without_yes", "refused")
    assert one.wrong == "line 1 is of quote q1, which q2 replaces"
    assert "q2" in one.right


def test_a_newer_version_asks_for_a_new_yes() -> None:
    """The same line in the newer version is open again until it is answered."""
    history = [*AGREED, E("2024-02-04", "quote_given", again(line("1"), replaces="q1"), job())]
    assert found(history, [CHARGED]) == {"charged_without_yes"}
    yes = E("2024-02-05", "quote_answered", answered("yes", "1", "q2"), job())
    assert found([*history, yes], [CHARGED]) == set()


def test_a_struck_version_lets_the_older_one_stand_again() -> None:
    """With the newer quote struck, the yes to the older one holds."""
    newer = E("2024-02-04", "quote_given", again(line("1"), replaces="q1"), job())
    strike = E("2024-02-05", "event_struck", {"target": event_id(5), "reason": "typed twice"})
    assert found([*AGREED, newer, strike], [CHARGED]) == set()


def test_striking_the_yes_of_a_charge_is_refused() -> None:
    """A strike that leaves a charge without its yes is refused, naming the closing."""
    strike = E("2024-04-01", "event_struck", {"target": event_id(4), "reason": "wrong job"})
    (one,) = [p for p in problems([*AGREED, CHARGED], [strike]) if p.severity == "refused"]
    assert (one.rule, one.field) == ("charged_without_yes", "data.lines[0].quote_line")
    assert "recorded job_closed" in one.event


@pytest.mark.parametrize(
    "charged",
    [
        [line("a")],
        [line("a", quote_line="1", net_minor=1001)],
        [line("a", quote_line="1"), line("b", quote_line="1")],
        [line("a", quote_line="1", is_goodwill=True)],
        [line("a", quote_line="1", code="brakes")],
        [line("a", quote_line="1", tax_rate="0.09")],
        [line("a", quote_line="1", tax_minor=7)],
        [line("a", quote_line="1", net_minor=-1)],
    ],
)
def test_records_brought_in_are_not_held_to_the_rules_of_entry(charged: list[Any]) -> None:
    """An old log, or an export of a book, was written when nobody asked for a quote."""
    closing = march("job_closed", charge(*charged), **job())
    assert found(AGREED, [closing]) & OF_ENTRY
    assert found(AGREED, [closing], replace(FACTS, is_brought_in=True)) == set()


def test_what_was_brought_in_is_not_held_against_what_is_entered_later() -> None:
    """A closing of before these rules does not keep a late entry of the same bike out."""
    late = E("2024-02-20", "treated", {"position": "chain", "treatment": "cleaned"}, job())
    assert found([BORN, OPEN, BARE], [late]) == set()


@pytest.mark.parametrize(
    ("net_minor", "refused"), [(1000, set()), (900, {"charged_without_quote"})]
)
def test_a_closing_struck_by_mistake_is_recorded_again_only_as_it_was(
    net_minor: int, refused: set[str]
) -> None:
    """A closing of before these rules may be restored; a changed one is a new charge."""
    strike = E("2024-03-02", "event_struck", {"target": event_id(3), "reason": "wrong job"})
    again_closed = march("job_closed", charge(line("a", net_minor=net_minor)), **job())
    stored = recorded([BORN, OPEN, BARE, strike, at(again_closed, restores=event_id(3))])
    facts = replace(FACTS, targets={stored[2].id: stored[2]}, struck={stored[2].id})
    assert {p.rule for p in check_timeline(stored, {stored[4].id}, facts)} == refused


def test_answers_and_charges_over_the_ceiling_are_warned_of() -> None:
    """A yes that leads past the ceiling, and a charge past it, say so; what was declined is out."""
    opened = E("2024-02-01", "job_opened", {"ceiling_minor": 1300}, job())
    two = E("2024-02-02", "quote_given", quote(taxed("1", 1000), taxed("2", 200)), job())
    yes = march("quote_answered", answered("yes"), **job())
    assert found([BORN, opened, two], [yes]) == {"over_ceiling"}
    for said in ("no", "later"):
        no = E("2024-02-03", "quote_answered", answered(said, "2"), job())
        assert found([BORN, opened, two, no], [yes]) == set()
    unsure = E("2024-02-03", "quote_answered", answered("no reply", "2"), job())
    assert found([BORN, opened, two, unsure], [yes]) == {"over_ceiling"}
    both = [E("2024-02-03", "quote_answered", answered("yes", one), job()) for one in "12"]
    lines = [taxed("a", 1000) | {"quote_line": "1"}, taxed("b", 200) | {"quote_line": "2"}]
    closed = march("job_closed", charge(*lines), **job())
    (one,) = problems([BORN, opened, two, *both], [closed])
    assert (one.rule, one.severity) == ("over_ceiling", "warning")
    assert one.wrong == "€14.52 with tax is more than the ceiling of €13.00"


@pytest.mark.parametrize(
    ("by", "answer", "warned"),
    [("k2", "yes", False), ("r1", "yes", True), (None, "yes", True), ("r1", "no", False)],
)
def test_a_yes_counts_by_who_says_it(by: str | None, answer: str, warned: bool) -> None:
    """Where it was told who may say yes, another's yes is warned of; anybody may say no."""
    opened = E("2024-02-01", "job_opened", {"may_approve": ["k2"]}, job())
    who = {} if by is None else {"by": by}
    said = march("quote_answered", {**answered(answer), **who}, **job())
    assert ("answered_by_another" in found([BORN, opened, QUOTED], [said])) is warned
    assert "answered_by_another" not in found([BORN, OPEN, QUOTED], [said])


LINES = st.lists(st.integers(0, 3), min_size=1, max_size=4)
ANSWERS = st.lists(
    st.tuples(st.integers(0, 1), st.integers(0, 3), st.sampled_from(["yes", "no", "later"])),
    max_size=5,
)
CHARGES = st.lists(
    st.tuples(
        st.sampled_from([None, *(f"{q}.{n}" for q in range(2) for n in range(4))]),
        st.sampled_from([0, 900, 1000, 1100]),
        st.booleans(),
    ),
    max_size=4,
)


@given(
    counts=st.tuples(st.integers(1, 4), st.integers(1, 4)),
    is_replaced=st.booleans(),
    answers=ANSWERS,
    charges=CHARGES,
)
def test_a_charge_is_accepted_exactly_if_it_was_agreed(
    counts: tuple[int, int], is_replaced: bool, answers: list[Any], charges: list[Any]
) -> None:
    """For random quotes, answers and charges the rules agree with a plain account of who said what.

    Every line was quoted at 10.00; the second quote may replace the first.
    """
    nets = {f"{q}.{n}": 1000 for q in range(2) for n in range(counts[q])}
    made = [[line(name) for name in nets if name[0] == str(q)] for q in range(2)]
    more = {"replaces": "q0"} if is_replaced else {}
    history = [
        *(BORN, OPEN, E("2024-02-02", "quote_given", {**quote(*made[0]), "quote": "q0"}, job())),
        E("2024-02-03", "quote_given", {**quote(*made[1]), "quote": "q1", **more}, job()),
    ]
    told: dict[str, str] = {}
    for q, n, answer in answers:
        name = f"{q}.{n}"
        if name in nets and not (is_replaced and q == 0):
            told[name] = answer
            history.append(
                E("2024-02-04", "quote_answered", answered(answer, name, f"q{q}"), job())
            )
    lines = [
        line(f"c{at}", net_minor=net, is_goodwill=given, **({"quote_line": ref} if ref else {}))
        for at, (ref, net, given) in enumerate(charges)
    ]
    paid = [ref for ref, _, given in charges if not given]
    is_right = (
        all(ref in nets for ref, _, _ in charges if ref)
        and all(told.get(ref or "") == "yes" for ref in paid)
        and len(set(paid)) == len(paid)
        and all(net <= 1000 for _, net, given in charges if not given)
        and all(net == 0 for _, net, given in charges if given)
    )
    closing = march("job_closed", charge(*lines), **job())
    refused = [p for p in problems(history, [closing]) if p.severity == "refused"]
    assert (not refused) is is_right, refused
