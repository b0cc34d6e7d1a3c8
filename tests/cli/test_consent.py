"""Whoever did not agree to be contacted is in no call list, in any of its forms."""

from __future__ import annotations

from pathlib import Path

import pytest
from workbench import TAG, Run
from worn_bikes import AS_AT, quay, recorded, strict, worn

__all__ = ["quay"]

NAME, PHONE, EMAIL = "Ottilie Wrenfield", "555-0142", "ottilie@wrenfield.invalid"
FORMS = (
    ("due", *AS_AT),
    ("due", *AS_AT, "--json"),
    ("due", *AS_AT, "--csv"),
    ("due", *AS_AT, "--messages"),
    ("chains", *AS_AT),
    ("chains", *AS_AT, "--json"),
)


@pytest.fixture
def called(quay: Run) -> Run:
    """A shop with one rider, who agreed, and whose chain is due."""
    told = ("--name", NAME, "--phone", PHONE, "--email", EMAIL, "--id", "r1")
    assert quay("riders", "add", *told, "--consent").code == 0
    recorded(*worn(TAG, "0.7", "r1"))
    return quay


def told(run: Run) -> str:
    """Give all that every form of the call lists prints."""
    ended = [run(*form) for form in FORMS]
    assert [done.code for done in ended] == [0] * len(FORMS), [done.err for done in ended]
    return "".join(done.out + done.err for done in ended)


def test_who_agreed_is_named_with_a_message(called: Run) -> None:
    """So that what is missing below is missing for that reason."""
    said = told(called)
    assert NAME in said and PHONE in said and EMAIL in said and f"Hello {NAME}" in said


@pytest.mark.parametrize("ending", ["withdrawn", "forgotten"])
def test_who_took_it_back_or_was_forgotten_is_an_id(called: Run, ending: str) -> None:
    """From the next look on, with neither name nor contact nor message."""
    if ending == "withdrawn":
        assert called("riders", "consent", "r1", "--withdrawn").code == 0
    else:
        assert called("forget", "r1", "--yes").code == 0
    said = told(called)
    assert "r1" in said and TAG in said
    for wanted in (NAME, "Ottilie", PHONE, EMAIL, "Hello"):
        assert wanted not in said
    (call,) = strict(called("due", *AS_AT, "--json"))["calls"]
    assert call["message"] is None and call["keeper"]["may_contact"] is False


def test_who_never_agreed_is_an_id_until_they_do(quay: Run) -> None:
    """Consent that is given later counts from then on."""
    told_of = ("--name", NAME, "--phone", PHONE, "--email", EMAIL, "--id", "r1")
    assert quay("riders", "add", *told_of).code == 0
    recorded(*worn(TAG, "0.7", "r1"))
    assert NAME not in told(quay) and PHONE not in told(quay)
    assert quay("riders", "consent", "r1", "--given").code == 0
    assert f"Hello {NAME}" in told(quay)


def test_a_contact_in_a_log_that_is_brought_in_is_warned_of(quay: Run) -> None:
    """The row is taken; the warning names row and field, and not the number."""
    recorded(*worn(TAG, "0.7", "r1"))
    Path("log.csv").write_text(f"Date;Tag;Note\n2026-02-03;{TAG};ring 0171 2345678 when done\n")
    Path("log.toml").write_text(MAPPING)
    done = quay("import", "log.csv", "--mapping", "log.toml", "--confirm-clock")
    assert done.code == 0, done.err
    assert "telephone number" in done.err + done.out
    assert "2345678" not in done.err + done.out


MAPPING = """
[when]
column = "Date"
[bike]
tag = "Tag"
[actor]
value = "m1"
[[event]]
kind = "noted"
[event.fields]
position = { value = "chain" }
text = { column = "Note" }
"""


@pytest.mark.parametrize(
    ("rider", "is_told"),
    [("r-0042", False), ("marsh", True), ("inge.m", True), ("0612349876", True), ("x-91", False)],
)
def test_an_id_that_tells_who_it_is_is_warned_of(shop: Run, rider: str, is_told: bool) -> None:
    """It would stand in events for ever: it is entered, and what would be better is said."""
    done = shop("riders", "add", "--name", "Inge Marsh", "--id", rider)
    assert done.code == 0
    assert ("it seems to tell who this is" in done.err) == is_told
