"""Saying by flags which job a visit answers for, and taking it back."""

from __future__ import annotations

from workbench import TAG, Run

SAY = ("record", "come_back_judged", "--bike", TAG, "--job", "two")


def two_visits(shop: Run) -> None:
    for day, job in (("2026-03-01", "one"), ("2026-04-01", "two")):
        assert shop("record", "job_opened", "--bike", TAG, "--job", job, "--at", day).code == 0
        assert shop("record", "job_closed", "--bike", TAG, "--job", job, "--at", day).code == 0


def test_a_closed_job_is_judged_a_come_back_by_flags(shop: Run) -> None:
    """What is said stands in the bike's history, and the job stays closed."""
    two_visits(shop)
    done = shop(
        *SAY, "--set", "is_come_back=true", "--set", "answers=one", "--set", "why=Same pads."
    )
    assert (done.code, done.err) == (0, "")
    last = shop("history", TAG, "--json").json[-1]
    assert (last["kind"], last["job"]) == ("come_back_judged", "two")
    assert last["data"] == {"is_come_back": True, "answers": "one", "why": "Same pads."}
    assert shop("state", TAG, "--json").json["jobs_open"] == []


def test_a_come_back_of_a_job_the_bike_never_had_is_refused(shop: Run) -> None:
    """The message names the field, and the jobs it could answer."""
    two_visits(shop)
    done = shop(*SAY, "--set", "is_come_back=true", "--set", "answers=nine")
    assert done.code == 1
    assert "data.answers: job nine was not opened on this bike before" in done.err
    assert "Its earlier jobs are one" in done.err


def test_a_come_back_says_what_it_answers_and_none_answers_nothing(shop: Run) -> None:
    """`answers` is needed with a come-back, and makes no sense without one."""
    two_visits(shop)
    for told in (("is_come_back=true",), ("is_come_back=false", "answers=one")):
        pairs = [part for pair in told for part in ("--set", pair)]
        done = shop(*SAY, *pairs)
        assert done.code == 1
        assert "answers" in done.err
        assert "Traceback" not in done.err


def test_judgements_survive_an_export_and_an_import(shop: Run) -> None:
    """A book brought in from CloudEvents verifies, and tells the same of the bike."""
    two_visits(shop)
    assert shop(*SAY, "--set", "is_come_back=true", "--set", "answers=one").code == 0
    assert shop("export", "--clear", "--out", "own.jsonl").code == 0
    assert shop("init", "copy", "--shop", "quay", "--time-zone", "Europe/Lisbon").code == 0
    done = shop("import", "own.jsonl", "--own", "--book", "copy")
    assert done.code == 0, done.err
    assert shop("verify", "--book", "copy").code == 0
    told = [shop("history", TAG, "--json", "--book", book).json[-1] for book in ("book", "copy")]
    assert told[0] == told[1]
    assert told[0]["kind"] == "come_back_judged"
