"""`lockring clock`: started, paused, stopped, forgotten, and minutes entered afterwards."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from workbench import TAG, Run

NOW = datetime.now(ZoneInfo("Europe/Lisbon"))
YESTERDAY = f"{NOW - timedelta(days=1):%Y-%m-%d}"


@pytest.fixture
def job(shop: Run) -> Run:
    """A shop whose bike is booked in; m2 may record too."""
    assert shop("record", "mechanic_registered", "--set", "mechanic=m2", "--actor", "m1").code == 0
    done = shop("record", "job_opened", "--bike", TAG, "--job", "j1", "--actor", "m1",
                "--at", f"{YESTERDAY} 08:00")  # fmt: skip
    assert done.code == 0, done.err
    return shop


def minutes_of(shop: Run) -> list[tuple[str, int]]:
    return [
        (entry["kind"], entry["data"].get("minutes"))
        for entry in shop("history", TAG, "--json").json
        if entry["kind"] in ("labour_stopped", "labour_logged")
    ]


def test_a_clock_runs_until_it_is_stopped_whoever_asks(job: Run) -> None:
    """Every command opens the book anew: a running clock is in the book and nowhere else."""
    assert job("clock").out == "No clock runs.\n"
    assert job("clock", "--json").json == []
    done = job("clock", "start", TAG, "--task", "drivetrain", "--mechanic", "m1")
    assert done.code == 0, done.err
    (clock,) = job("clock", "--json").json
    assert (clock["mechanic"], clock["bike"], clock["job"], clock["task"]) == (
        "m1", TAG, "j1", "drivetrain",
    )  # fmt: skip
    assert (clock["minutes_kind"], clock["is_paused"], clock["is_forgotten"]) == (
        "quoted", False, False,
    )  # fmt: skip
    assert "runs" in job("clock").out
    assert job("clock", "stop").code == 0
    assert job("clock", "--json").json == []
    assert minutes_of(job) == [("labour_stopped", 0)]


def test_several_mechanics_have_a_clock_each_and_only_one(job: Run) -> None:
    """Two on one job is two clocks; a second one of the same hands is refused."""
    for who, task in (("m1", "brakes"), ("m2", "gears")):
        done = job("clock", "start", TAG, "--task", task, "--mechanic", who, "--kind", "come-back")
        assert done.code == 0, done.err
    assert [c["task"] for c in job("clock", "--json").json] == ["brakes", "gears"]
    assert [c["task"] for c in job("clock", "--mechanic", "m2", "--json").json] == ["gears"]
    again = job("clock", "start", TAG, "--task", "tyres", "--mechanic", "m1")
    assert (again.code, again.out) == (1, "")
    assert "m1's clock runs on bike" in again.err
    unsaid = job("clock", "stop")
    assert unsaid.code == 2
    assert "m1, m2" in unsaid.err
    assert job("clock", "stop", "--mechanic", "m2").code == 0
    assert [c["mechanic"] for c in job("clock", "--json").json] == ["m1"]


def test_who_records_does_not_hide_the_others_clocks(
    job: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The list is everybody's whoever sits at the bench; --mechanic shows one's."""
    monkeypatch.setenv("LOCKRING_ACTOR", "m2")
    job("clock", "start", TAG, "--task", "brakes", "--mechanic", "m1")
    assert [c["mechanic"] for c in job("clock", "--json").json] == ["m1"]
    assert job("clock", "--mechanic", "m2", "--json").json == []


def test_minutes_before_another_clock_are_logged(job: Run) -> None:
    """A start before a clock that was stopped, or within it, points to entering the minutes."""
    job("clock", "start", TAG, "--task", "gears", "--mechanic", "m1", "--at", f"{YESTERDAY} 10:00")
    said = job("clock", "start", TAG, "--task", "tyres", "--mechanic", "m1",
               "--at", f"{YESTERDAY} 09:00").err  # fmt: skip
    assert "clock log" in said
    job("clock", "stop", "--mechanic", "m1", "--at", f"{YESTERDAY} 10:30")
    for at in ("09:00", "10:15"):
        done = job("clock", "start", TAG, "--task", "tyres", "--mechanic", "m1",
                   "--at", f"{YESTERDAY} {at}")  # fmt: skip
        said = " ".join(done.err.split())
        assert (done.code, "Stop that clock first" in said) == (1, False)
        assert f"m1's clock ran on job j1 from {YESTERDAY} 10:00" in said
        assert "clock log" in said


def test_a_paused_clock_goes_on_with_its_minutes_kept(job: Run) -> None:
    """A pause books what was worked; resuming goes on at the same task; both add up."""
    start = NOW - timedelta(minutes=90)
    if start.date() != NOW.date():
        pytest.skip("an hour and a half ago was another day")
    at = [f"{start + timedelta(minutes=minute):%Y-%m-%d %H:%M}" for minute in (0, 30, 60)]
    job("clock", "start", TAG, "--task", "wheel truing", "--mechanic", "m1", "--at", at[0])
    assert job("clock", "pause", "--at", at[1]).code == 0
    (clock,) = job("clock", "--json").json
    assert (clock["is_paused"], clock["minutes_before"], clock["minutes"]) == (True, 30, 0)
    assert "paused" in job("clock").out
    assert "No clock of m1 runs" in job("clock", "pause", "--mechanic", "m1").err
    assert job("clock", "resume", "--at", at[2]).code == 0
    (clock,) = job("clock", "--json").json
    assert (clock["is_paused"], clock["minutes_before"]) == (False, 30)
    assert clock["minutes"] >= 29
    assert job("clock", "stop", "--minutes", "12").code == 0
    assert minutes_of(job) == [("labour_stopped", 30), ("labour_stopped", 12)]
    assert job("clock", "--json").json == []


def test_a_paused_clock_can_be_ended_for_good(job: Run) -> None:
    """Stopping it adds no minutes, and it is on no list any more."""
    job("clock", "start", TAG, "--task", "brakes", "--mechanic", "m1")
    job("clock", "pause")
    done = job("clock", "stop")
    assert done.code == 0, done.err
    assert job("clock", "--json").json == []
    assert sum(minutes for _, minutes in minutes_of(job)) == 0


def test_a_forgotten_clock_says_how_to_end_it(job: Run) -> None:
    """A night is not work: its minutes are asked for, and count for the day it was started."""
    at = f"{YESTERDAY} 16:10"
    assert job("clock", "start", TAG, "--task", "brakes", "--mechanic", "m1", "--at", at).code == 0
    (clock,) = job("clock", "--json").json
    assert clock["is_forgotten"]
    said = job("clock").out
    assert f"Forgotten: m1's clock on bike {TAG} runs since {at}" in said
    assert "lockring clock stop --mechanic m1 --minutes 45" in said
    refused = job("clock", "stop")
    assert refused.code == 1
    assert f"runs since {at}, another day" in " ".join(refused.err.split())
    assert "lockring clock stop --mechanic m1 --minutes 45" in refused.err
    assert f'--at "{YESTERDAY} 16:55"' in refused.err
    paused = job("clock", "pause")
    assert (paused.code, "lockring clock stop --mechanic m1" in paused.err) == (1, True)
    done = job("clock", "stop", "--minutes", "50")
    assert done.code == 0, done.err
    stop = job("history", TAG, "--json").json[-1]
    assert (stop["data"]["minutes"], stop["occurred_at"][:10]) == (50, YESTERDAY)


def test_a_forgotten_clock_can_be_stopped_at_its_time(job: Run) -> None:
    """With the time it should have stopped, the clock counts the minutes itself."""
    at = f"{YESTERDAY} 16:10"
    job("clock", "start", TAG, "--task", "brakes", "--mechanic", "m1", "--at", at)
    assert job("clock", "stop", "--at", f"{YESTERDAY} 17:00").code == 0
    assert minutes_of(job) == [("labour_stopped", 50)]


def test_minutes_are_entered_afterwards(job: Run) -> None:
    """`clock log` books minutes on the bike's open job."""
    done = job("clock", "log", TAG, "--task", "gears", "--minutes", "35", "--mechanic", "m2",
               "--kind", "found later")  # fmt: skip
    assert done.code == 0, done.err
    assert minutes_of(job) == [("labour_logged", 35)]


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("start", "8N4P2RYB", "--task", "gears"), 1, "No bike has the tag 8N4P2RYB"),
        (("start", TAG, "--task", "sorcery"), 1, "sorcery"),
        (("start", TAG, "--task", "gears", "--kind", "lunch"), 2, "is not one of"),
        (("stop",), 1, "No clock of m1 runs or is paused"),
        (("resume",), 1, "No clock of m1 is paused"),
        (("pause",), 1, "No clock of m1 runs"),
    ],
)
def test_what_cannot_be_says_what_would_be_right(
    job: Run, arguments: tuple[str, ...], code: int, said: str
) -> None:
    """Every refusal is one line, and nothing is recorded."""
    before = len(job("history", TAG, "--json").json)
    done = job("clock", *arguments, "--mechanic", "m1")
    assert (done.code, done.out) == (code, "")
    assert said in done.err
    assert len(job("history", TAG, "--json").json) == before


def test_a_bike_without_an_open_job_has_none_to_work_on(shop: Run) -> None:
    """It is said that the bike has to be booked in first."""
    done = shop("clock", "start", TAG, "--task", "gears")
    assert done.code == 1
    assert "has no open job" in done.err
