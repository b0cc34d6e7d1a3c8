from __future__ import annotations

from dataclasses import replace

import pytest

from tests.rule_shorthand import (
    BORN,
    OPEN,
    UNSAFE,
    WARNED,
    E,
    answer_to,
    at,
    found,
    job,
    march,
    pads,
    part,
    problems,
)

# -- safety ---------------------------------------------------------------------------------------

CLOSE = march("job_closed", **job())
FINDINGS = {
    "a reading": UNSAFE,
    "a look": E("2024-02-02", "inspected", {"position": "rear_brake.pads", "verdict": "unsafe",
                                            "fault": "worn"}, job()),
}  # fmt: skip


@pytest.mark.parametrize("finding", FINDINGS)
@pytest.mark.parametrize(
    ("answer", "is_refused"), [("yes", False), ("no", False), ("later", False), ("no reply", True)]
)
def test_an_unsafe_finding_needs_a_warning_and_an_answer(
    finding: str, answer: str, is_refused: bool
) -> None:
    """A job closes over an unsafe finding only with the warning and the keeper's own answer."""
    history = [BORN, OPEN, FINDINGS[finding], WARNED, answer_to(4, answer)]
    rules = found(history, [CLOSE])
    assert ("unsafe_not_warned" in rules) is is_refused
    assert "unsafe_handed_back" in rules


def test_a_warning_elsewhere_or_milder_does_not_count() -> None:
    """The warning must be of that position, in that job, and call it unsafe."""
    for change in ({"position": "rear_brake"}, {"verdict": "due"}):
        warned = replace(WARNED, data={**WARNED.data, **change})
        history = [BORN, OPEN, UNSAFE, warned, answer_to(4, "yes")]
        assert "unsafe_not_warned" in found(history, [CLOSE])
    other_job = [BORN, OPEN, E("2024-02-02", "job_opened", {}, job("j2")), UNSAFE]
    history = [*other_job, at(WARNED, job="j2"), answer_to(5, "yes")]
    assert "unsafe_not_warned" in found(history, [CLOSE])


@pytest.mark.parametrize(
    "mended",
    [
        E("2024-02-10", "part_fitted", part("rear_brake.pads", "p2")),
        E("2024-02-10", "part_removed", {"position": "rear_brake.pads"}),
        E("2024-02-10", "measured", pads("2.5")),
    ],
)
def test_an_unsafe_finding_that_was_put_right_needs_no_warning(mended: E) -> None:
    """New pads, none at all, or a better reading: nothing unsafe is handed back."""
    pads_on = E("2024-02-01", "part_fitted", part("rear_brake.pads", "p1", is_found=True))
    if mended.kind == "part_fitted":
        mended = replace(mended, data={**mended.data, "replaces": "p1"})
    rules = found([BORN, OPEN, pads_on, UNSAFE, mended], [CLOSE])
    assert rules & {"unsafe_not_warned", "unsafe_handed_back"} == set()


def test_an_unsafe_look_is_settled_by_the_cure_or_a_better_look() -> None:
    """A fault put right, or looked at again and within limit, stands no longer."""
    look = {"position": "stem", "fault": "loose"}
    unsafe = E("2024-02-02", "inspected", {**look, "verdict": "unsafe"}, job())
    cured = E("2024-02-03", "adjusted", {"position": "stem", "puts_right": {"fault": "loose"}})
    better = E("2024-02-03", "inspected", {"position": "stem", "verdict": "within limit"})
    other = E("2024-02-03", "inspected", {**look, "fault": "creak", "verdict": "within limit"})
    assert "unsafe_not_warned" in found([BORN, OPEN, unsafe, other], [CLOSE])
    for settled in (cured, better):
        assert "unsafe_not_warned" not in found([BORN, OPEN, unsafe, settled], [CLOSE])


def test_the_law_is_printed_whatever_the_answer() -> None:
    """An answer does not make the bike fit to ride, and the word safe is never said."""
    history = [BORN, OPEN, UNSAFE, WARNED, answer_to(4, "yes")]
    (one,) = [p for p in problems(history, [CLOSE]) if p.rule == "unsafe_handed_back"]
    assert "does not make the bike fit to ride where local law forbids it" in one.right
    assert one.severity == "warning"
