from __future__ import annotations

from dataclasses import replace

import pytest

from ledger.events import Event
from ledger.vocabulary import standard
from tests.rule_shorthand import (
    BIKE,
    BORN,
    CHAIN,
    FACTS,
    OPEN,
    OTHER,
    READ,
    TREATED,
    E,
    amount,
    at,
    charge,
    found,
    job,
    line,
    march,
    part,
    problems,
    recorded,
)
from tests.strategies import event_id

# -- parts and clocks on more than one bike ---------------------------------------------------


def elsewhere(*events: E) -> list[Event]:
    """Events of the other bike, recorded before ours."""
    return recorded([at(event, bike=OTHER) for event in events], first=500)


def test_a_part_fitted_on_another_bike_is_refused() -> None:
    """One chain is not on two bikes at once."""
    other = elsewhere(E("2024-02-01", "part_fitted", part("chain", "c1")))
    facts = replace(FACTS, part_events={"c1": other})
    (one,) = problems([BORN], [march("part_fitted", part("chain", "c1"))], facts)
    assert one.rule == "part_elsewhere"
    assert f"fitted at chain of bike {OTHER} (2024-02-01 13:00)" in one.wrong


def test_a_part_taken_off_another_bike_may_be_fitted() -> None:
    """A chain moves from one bike to the next once it is off the first."""
    other = elsewhere(
        E("2024-02-01", "part_fitted", part("chain", "c1")),
        E("2024-02-09", "part_removed", part("chain", "c1")),
    )
    facts = replace(FACTS, part_events={"c1": other})
    assert found([BORN], [march("part_fitted", part("chain", "c1"))], facts) == set()


def test_a_part_fitted_late_clashes_with_where_it_went_since() -> None:
    """A fitting entered late is held against what another bike did with the part afterwards."""
    other = elsewhere(E("2024-05-01", "part_fitted", part("chain", "c1")))
    facts = replace(FACTS, part_events={"c1": other})
    fitting = march("part_fitted", part("chain", "c1"))
    assert found([BORN], [fitting], facts) == {"part_elsewhere"}


def test_striking_a_removal_is_refused_where_the_part_went_on() -> None:
    """A part would be on two bikes if its removal here had not happened."""
    removal = E("2024-03-01", "part_removed", part("chain", "c1"))
    ours = recorded([BORN, CHAIN, removal])
    other = elsewhere(E("2024-04-01", "part_fitted", part("chain", "c1")))
    facts = replace(FACTS, part_events={"c1": [*ours[1:], *other]})
    strike = E("2024-05-01", "event_struck", {"target": event_id(3), "reason": "no"})
    assert "strike_frees_part" in found([BORN, CHAIN, removal], [strike], facts)
    alone = replace(FACTS, part_events={"c1": ours[1:]})
    assert found([BORN, CHAIN, removal], [strike], alone) == set()


@pytest.mark.parametrize(("on", "is_refused"), [("2024-02-15", True), ("2024-02-25", False)])
def test_a_clock_running_on_another_bike_is_one_clock_too_many(on: str, is_refused: bool) -> None:
    """A mechanic works on one bike at a time."""
    other = elsewhere(
        E("2024-02-10", "labour_started", {"task": "gears"}, job("j8")),
        E("2024-02-20", "labour_stopped", {"minutes": 9}, job("j8")),
    )
    facts = replace(FACTS, labour_events={"mia": other})
    new = E(on, "labour_started", {"task": "chain"}, job())
    assert ("labour_already_running" in found([BORN, OPEN], [new], facts)) is is_refused


def test_a_job_of_another_bike_is_named() -> None:
    """A job id typed at the wrong bike says whose it is."""
    facts = replace(FACTS, job_bikes={"j7": OTHER})
    (one,) = problems([BORN], [march("treated", TREATED, job="j7")], facts)
    assert (one.rule, one.wrong) == ("unknown_job", f"job j7 is of bike {OTHER}")
    assert found([BORN], [march("job_opened", job="j7")], facts) == {"job_opened_twice"}


def test_a_part_of_a_joined_tag_is_followed_as_of_one_bike() -> None:
    """Fitted under one tag, taken off under the other: it is free to be fitted again."""
    links = {"part_events": {"c1": elsewhere(E("2024-02-01", "part_fitted", part("chain", "c1")))}}
    history = [
        BORN,
        at(BORN, bike=OTHER),
        E("2024-02-01", "part_fitted", part("chain", "c1"), {"bike": OTHER}),
        E("2024-02-10", "part_removed", part("chain", "c1")),
    ]
    new = march("part_fitted", part("chain", "c1"))
    assert found(history, [new], replace(FACTS, **links)) == set()


# -- what a commit does to what is there ---------------------------------------------------------


def test_a_late_removal_that_breaks_a_later_one_is_refused_with_what_it_breaks() -> None:
    """Entered late, a removal takes away what a stored removal needs; the stored one is named."""
    history = [BORN, CHAIN, E("2024-04-01", "part_removed", part("chain", "c1"))]
    (one,) = problems(history, [march("part_removed", part("chain", "c1"))])
    assert one.event == f"recorded part_removed of 2024-04-01 14:00 (bike {BIKE})"
    assert (one.rule, one.field) == ("nothing_fitted", "data.position")


def test_a_strike_that_breaks_later_events_lists_each_of_them() -> None:
    """Striking the fitting of a chain leaves its removal and its successor hanging."""
    history = [
        BORN, CHAIN,
        E("2024-04-01", "part_fitted", part("chain", "c2", replaces="c1")),
        E("2024-05-01", "part_removed", part("chain", "c2")),
    ]  # fmt: skip
    strike = E("2024-06-01", "event_struck", {"target": event_id(2), "reason": "wrong bike"})
    (one,) = problems(history, [strike])
    assert one.event.startswith("recorded part_fitted of 2024-04-01")
    both = [strike, E("2024-06-01", "event_struck", {"target": event_id(3), "reason": "too"})]
    (other,) = problems(history, both)
    assert other.event.startswith("recorded part_removed of 2024-05-01")


def test_a_strike_is_accepted_where_the_same_commit_mends_what_it_breaks() -> None:
    """A fitting entered on the wrong day is struck and recorded again in one commit."""
    history = [BORN, CHAIN, E("2024-04-01", "part_removed", part("chain", "c1"))]
    strike = E("2024-06-01", "event_struck", {"target": event_id(2), "reason": "wrong day"})
    again = E("2024-02-20", "part_fitted", part("chain", "c1"), {"restores": event_id(2)})
    assert found(history, [strike, again]) == set()
    assert found(history, [again, strike]) == set()
    late = replace(again, on="2024-04-02")
    assert found(history, [strike, late]) == {"nothing_fitted"}


def test_striking_the_registration_of_a_bike_with_a_history_is_refused() -> None:
    """Everything that happened to the bike is listed."""
    strike = E("2024-06-01", "event_struck", {"target": event_id(1), "reason": "no"})
    broken = problems([BORN, CHAIN, READ], [strike])
    assert {problem.rule for problem in broken} == {"unknown_bike"}
    assert len(broken) == 2


def test_what_was_wrong_before_is_not_held_against_a_commit() -> None:
    """An old event that breaks a rule of today does not keep new ones out."""
    history = [BORN, E("2024-02-01", "part_removed", {"position": "chain"})]
    assert found(history, [march("treated", TREATED)]) == set()
    assert found(history, [E("2024-01-15", "treated", TREATED)]) == set()


def test_one_commit_may_remove_and_fit() -> None:
    """A part fitted where one is fitted passes if the same commit takes that one off first."""
    new = [march("part_removed", part("chain", "c1")), march("part_fitted", part("chain", "c2"))]
    assert found([BORN, CHAIN], new) == set()
    assert "position_occupied" in found([BORN, CHAIN], list(reversed(new)))


def test_everything_wrong_is_found_at_once() -> None:
    """One event may have several problems, and each event of a commit has its own."""
    bad = march(
        "measured",
        {"position": "chian", "quantity": "elongation", "value": amount("9", "%"), "gauge": "x"},
        job="j9",
    )
    assert found([BORN], [bad, march("job_opened", {"tier": "none"}, **job())]) == {
        "unknown_word", "impossible_figure", "unknown_gauge", "unknown_job", "unknown_tier",
    }  # fmt: skip


def test_a_problem_is_labelled_as_it_was_entered() -> None:
    """Where an event has a label, that is its name."""
    facts = replace(FACTS, labels={event_id(2): "line 7"})
    (one,) = problems([BORN], [march("part_removed", {"position": "chain"})], facts)
    assert str(one).startswith("line 7: data.position: no part is known at chain")


@pytest.mark.parametrize(
    ("word", "right"), [("chian", "Did you mean chain"), ("qqqq", "The terms can add a position")]
)
def test_an_unknown_word_comes_with_the_nearest_known(word: str, right: str) -> None:
    """A slip of the pen is answered with what was probably meant."""
    (one,) = problems([BORN], [march("noted", {"position": word, "text": "odd"})])
    assert one.right.startswith(right)


def test_every_place_a_word_stands_is_looked_at() -> None:
    """Words below the first level are checked too, each under its own field."""
    cured = {"fault": "odd1", "cause": "odd2", "position": "odd3"}
    fitted = part("odd4", "c1", puts_right=cured)
    makers = [{"quantity": "odd5", "limit": amount("1", "mm")}]
    new = [
        march("part_fitted", {**fitted, "limits": makers}),
        march("inspected", {"position": "chain", "verdict": "watch", "covers": ["frame", "odd6"]}),
        march("job_opened", {"riding": "odd7"}, **job()),
        march("released", {"is_test_ridden": True, "rechecked": ["odd8"]}, **job()),
        march("job_closed", charge(line("1", position="odd9")), **job()),
    ]
    fields = [p.field for p in problems([BORN], new) if p.rule == "unknown_word"]
    assert fields == [
        "data.position", "data.puts_right.fault", "data.puts_right.cause",
        "data.puts_right.position", "data.limits[0].quantity", "data.covers[1]", "data.riding",
        "data.rechecked[0]", "data.lines[0].position",
    ]  # fmt: skip


def test_a_shop_without_tiers_is_told_how_to_set_them() -> None:
    """A tier cannot be known before the terms name any."""
    facts = replace(FACTS, vocabulary=standard())
    (one,) = problems([BORN], [march("job_opened", {"tier": "quick_check"}, **job())], facts)
    assert "terms_set" in one.right
