from __future__ import annotations

from decimal import Decimal
from fnmatch import fnmatchcase

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ledger.events.shop import TermsSet
from ledger.vocabulary import load, standard
from ledger.vocabulary.limits import Limit, plain_limit

LISTS = ["positions", "quantities", "faults", "causes", "treatments", "ridings", "bike_kinds"]
CHAIN = next(limit for limit in standard().limits if limit.speeds == (11, 14))
PADS = next(limit for limit in standard().limits if limit.position == "*.pads")


def terms(**added: object) -> TermsSet:
    return TermsSet.model_validate({"from_on": "2026-01-01", **added})


def shop_limit(figure: str, **more: object) -> dict[str, object]:
    due = {"value": figure, "unit": "mm"}
    place = {"position": "rear_brake.pads", "quantity": "thickness", "direction": "below"}
    return {**place, "due": due, "source": "house rule", **more}


def test_every_limit_has_a_source_and_matches_something() -> None:
    """Every limit names where it comes from, a known quantity, and at least one position."""
    words = standard()
    for limit in words.limits:
        assert len(limit.source) > 5, limit
        assert limit.quantity in words.quantities
        assert any(fnmatchcase(position, limit.position) for position in words.positions), limit


def test_limits_are_in_the_order_watch_due_unsafe() -> None:
    """Watching starts before a limit is due, and due comes no later than unsafe."""
    for limit in standard().limits:
        sign = 1 if limit.direction == "above" else -1
        steps = [step for step in (limit.watch, limit.due, limit.unsafe) if step is not None]
        assert [sign * step for step in steps] == sorted(sign * step for step in steps), limit


def test_positions_name_known_systems_and_hide_known_positions() -> None:
    """Every position belongs to a system, and hides only positions that exist."""
    words = standard()
    for position in words.positions.values():
        assert position.system in words.systems, position
        assert set(position.hides) <= set(words.positions), position


def test_every_word_has_a_label() -> None:
    """No code is shown to anybody for want of a label."""
    for name in [*LISTS, "tasks"]:
        for code, word in getattr(standard(), name).items():
            assert word.code == code
            assert word.label.strip()


def test_usual_figures_lie_within_the_possible_ones() -> None:
    """A usual figure is never refused, and every quantity's unit is one that can be read."""
    for quantity in standard().quantities.values():
        low, high = quantity.usual
        assert quantity.lowest <= low < high <= quantity.highest, quantity


def test_windows_are_for_known_faults() -> None:
    """Every come-back window is for a known fault, or for all the rest: 90 days, 1,000 km."""
    words = standard()
    assert set(words.windows) <= {"default", *words.faults}
    assert words.window_for("creak").days == 90
    assert words.window_for("creak").distance_km == 1000


def test_a_window_holds_from_its_day_on() -> None:
    """What was put right before a shop set its window keeps the one in force then."""
    own = {"fault": "creak", "distance_km": 500}
    words = standard()
    for on, days in (("2026-01-01", 60), ("2025-01-01", 30), ("2026-01-01", 45)):
        words = words.extended(terms(from_on=on, windows=[{**own, "days": days}]))
    asked = ("2024-12-31", "2025-01-01", "2025-12-31", "2026-01-01")
    on = {day: words.window_for("creak", day).days for day in asked}
    assert on == {"2024-12-31": 90, "2025-01-01": 30, "2025-12-31": 30, "2026-01-01": 45}
    assert words.window_for("creak").days == 45
    assert words.window_for("squeal", "2026-01-01").days == 90


def test_standard_is_read_once_and_cannot_be_changed() -> None:
    """The vocabulary is one frozen thing."""
    assert standard() is standard()
    with pytest.raises(TypeError):
        standard().faults["wobble"] = None  # type: ignore[index]  # what must fail
    assert "positions" in load.read("positions.toml")


@pytest.mark.parametrize(
    ("speeds", "due"), [(12, "0.5"), (11, "0.5"), (10, "0.75"), (1, "1.0"), (None, "0.75")]
)
def test_chain_limit_goes_by_the_sprocket_count(speeds: int | None, due: str) -> None:
    """0.5 % for 11 to 13 sprockets, 0.75 % up to 10, 1.0 % single speed (common practice)."""
    limit = standard().limit_for("chain", "elongation", speeds)
    assert limit is not None
    assert limit.due == Decimal(due)


def test_patterns_reach_both_ends_of_the_bike() -> None:
    """The limit for pads is for the front and the rear alike, and for nothing else."""
    words = standard()
    for position in ("front_brake.pads", "rear_brake.pads"):
        assert words.limit_for(position, "thickness", None) is PADS
    assert words.limit_for("chain", "thickness", None) is None
    assert words.limit_for("rear_brake.pads", "pressure", None) is None


@pytest.mark.parametrize(
    ("figure", "verdict"),
    [
        ("1.501", "within limit"),
        ("1.5", "watch"),
        ("1.0", "due"),
        ("0.501", "due"),
        ("0.5", "unsafe"),
    ],
)
def test_a_figure_at_the_limit_is_past_it(figure: str, verdict: str) -> None:
    """A reading that reaches a limit counts as past it."""
    assert PADS.judge(Decimal(figure)) == verdict


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [
        ("0.5", None, "due"),
        ("0.75", "1.0", "due"),
        (None, "0.5", "within limit"),
        ("0.25", "0.5", "within limit"),
        ("0.25", "0.75", "watch"),
        (None, "0.75", "watch"),
        ("0.4", None, "watch"),
    ],
)
def test_a_go_no_go_gauge_is_judged_by_its_marks(
    low: str | None, high: str | None, verdict: str
) -> None:
    """A mark that goes in at the limit is due; one that stays out at the limit is within it."""
    bounds = [None if bound is None else Decimal(bound) for bound in (low, high)]
    assert CHAIN.judge_interval(*bounds) == verdict


@pytest.mark.parametrize(
    ("low", "high", "verdict"),
    [
        (None, "0.5", "unsafe"),
        (None, "1.0", "due"),
        ("1.0", "2.0", "within limit"),
        ("0.8", "2.0", "watch"),
    ],
)
def test_an_interval_below_is_judged_the_other_way_round(
    low: str | None, high: str | None, verdict: str
) -> None:
    """For a thickness it is the upper end that proves wear."""
    bounds = [None if bound is None else Decimal(bound) for bound in (low, high)]
    assert PADS.judge_interval(*bounds) == verdict


@given(value=st.decimals(-1, 8, places=3), more=st.decimals(0, 3, places=3))
def test_more_wear_is_never_judged_better(value: Decimal, more: Decimal) -> None:
    """Verdicts only get worse as wear goes on, on either side of a limit."""
    order = ["within limit", "watch", "due", "unsafe"]
    for limit, sign in ((CHAIN, 1), (PADS, -1)):
        now, then = limit.judge(value), limit.judge(value + sign * more)
        assert order.index(now) <= order.index(then)


def test_makers_figure_moves_the_whole_limit() -> None:
    """A maker's 1.8 mm is watched as long before as the vocabulary's, and is unsafe when past."""
    rotor = standard().limit_for("rear_brake.rotor", "thickness", None)
    assert rotor is not None
    maker = rotor.at(Decimal("1.8"))
    assert maker.judge(Decimal("1.86")) == "within limit"
    assert maker.judge(Decimal("1.85")) == "watch"
    assert maker.judge(Decimal("1.80")) == "unsafe"
    assert CHAIN.at(Decimal("1.0")).judge(Decimal("1.0")) == "due"


def test_a_lone_makers_figure_is_a_limit_of_its_own() -> None:
    """Where the vocabulary has no limit the maker's figure alone decides what is due."""
    limit = plain_limit("fork", "play", Decimal("0.5"), is_upper=True)
    assert limit.judge(Decimal("0.49")) == "within limit"
    assert limit.judge(Decimal("0.5")) == "due"


@pytest.mark.parametrize(
    ("name", "typed", "expected"),
    [
        ("positions", "rear_brake_pads", "rear_brake.pads"),
        ("positions", "chian", "chain"),
        ("positions", "Rear brake pads", "rear_brake.pads"),
        ("quantities", "chain wear", "elongation"),
        ("quantities", "presure", "pressure"),
        ("faults", "squeel", "squeal"),
        ("tasks", "truing", "wheel_truing"),
    ],
)
def test_a_word_that_is_nearly_right_finds_the_right_one(
    name: str, typed: str, expected: str
) -> None:
    """A slip of the pen, a label or a missing dot finds the code meant, at most three of them."""
    found = standard().nearest(name, typed)
    assert found[0] == expected
    assert len(found) <= 3


def test_a_word_like_nothing_known_finds_nothing() -> None:
    """No guess is offered where nothing is near."""
    assert standard().nearest("positions", "qqqq") == ()


def test_what_hides_a_position_is_disturbed_with_it() -> None:
    """A rotor is reached by taking the wheel out; a chain hides behind nothing."""
    words = standard()
    assert words.torque_voided_by("rear_brake.rotor") == {"rear_wheel"}
    assert words.torque_voided_by("bottom_bracket") == {"crank"}
    assert words.torque_voided_by("chain") == frozenset()
    assert "rear_brake.rotor" in words.torqued_under("rear_brake")


def test_terms_add_words_of_every_list() -> None:
    """A shop adds its own words, and the book that was before does not change."""
    code = {"code": "own", "label": "our own"}
    quantity = {**code, "unit": "mm", "digits": 2, "lowest": "0", "highest": "9"}
    tier = {"code": "quick_check", "label": "quick check", "price_minor": 4500, "minutes": 30}
    words = standard().extended(
        terms(
            positions=[{"code": "rear_brake.own", "label": "own", "is_torqued": True}],
            quantities=[quantity], tiers=[tier],
            tasks=[{"code": "own", "label": "our own", "minutes": 12}],
            windows=[{"fault": "creak", "days": 30, "distance_km": 500}],
            faults=[code], causes=[code], treatments=[code], ridings=[code], bike_kinds=[code],
        )
    )  # fmt: skip
    for name in LISTS[1:]:
        assert "own" in getattr(words, name)
        assert "own" not in getattr(standard(), name)
    assert words.positions["rear_brake.own"].system == "rear_brake"
    assert "rear_brake.own" in words.torqued_under("rear_brake")
    assert words.tiers["quick_check"].price_minor == 4500
    assert words.tasks["own"].minutes == 12
    assert words.window_for("creak").days == 30
    assert standard().tiers == {}


def test_shop_limit_comes_before_the_vocabulary() -> None:
    """The shop's own limit decides what is due, and leaves what is unsafe where it was."""
    words = standard().extended(terms(limits=[shop_limit("1.4")]))
    limit = words.limit_for("rear_brake.pads", "thickness", None)
    assert limit is not None
    assert (limit.due, limit.unsafe, limit.is_safety) == (Decimal("1.400"), PADS.unsafe, True)
    assert words.limit_for("front_brake.pads", "thickness", None) is PADS


def test_shop_limit_does_not_reach_back_before_its_day() -> None:
    """A limit from a day on leaves readings of earlier days to what held then."""
    words = standard().extended(terms(limits=[shop_limit("1.4")]))
    later = TermsSet.model_validate({"from_on": "2026-06-01", "limits": [shop_limit("1.2")]})
    words = words.extended(later)
    days = {"2025-12-31": "1", "2026-01-01": "1.4", "2026-05-31": "1.4", "2026-06-01": "1.2"}
    for day, due in days.items():
        limit = words.limit_for("rear_brake.pads", "thickness", None, day)
        assert limit is not None
        assert limit.due == Decimal(due), day


def test_shop_limit_for_safety_alone_is_unsafe_when_past() -> None:
    """Where the vocabulary names no unsafe figure, past the shop's safety limit is unsafe."""
    own = {**shop_limit("3"), "position": "fork", "quantity": "play", "direction": "above"}
    words = standard().extended(terms(limits=[{**own, "is_safety": True}]))
    limit = words.limit_for("fork", "play", None)
    assert limit is not None
    assert limit.judge(Decimal(3)) == "unsafe"


def test_shop_limit_that_cannot_be_read_changes_nothing() -> None:
    """A limit for a thickness in psi, or of an unknown quantity, is left out."""
    wrong = {**shop_limit("1"), "due": {"value": "1", "unit": "psi"}}
    words = standard().extended(terms(limits=[wrong, {**shop_limit("1"), "quantity": "girth"}]))
    assert words.limits == standard().limits


def test_a_limit_is_laxer_where_it_allows_more_wear() -> None:
    """Thinner pads, or a longer chain, are laxer limits."""
    lax: list[tuple[Limit, str, bool]] = [
        (PADS, "0.8", True), (PADS, "1.2", False), (PADS, "1.0", False), (CHAIN, "0.6", True),
    ]  # fmt: skip
    for limit, figure, is_laxer in lax:
        assert limit.is_laxer(Decimal(figure)) is is_laxer
