"""`verify`: what is wrong is listed as values, the status tells, nothing is changed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from workbench import TAG, Run


@pytest.fixture
def kept(shop: Run) -> Run:
    """A book of a few commits."""
    for value in ("0.31 %", "0.42 %", "0.55 %"):
        done = shop(
            "record", "measured", "--bike", TAG, "--position", "chain",
            "--quantity", "elongation", "--value", value, "--confirm-clock",
        )  # fmt: skip
        assert done.code == 0, done.err
    return shop


def test_a_whole_book_ends_with_0_and_says_what_was_looked_at(kept: Run) -> None:
    """In words and as data; --quick leaves the rules out and says so."""
    done = kept("verify")
    assert done.code == 0
    assert "5 events in 5 commits: every root is right" in done.out
    assert "Every rule holds." in done.out
    told = kept("verify", "--json").json
    assert (told["events"], told["commits"], told["problems"]) == (5, 5, [])
    assert told["is_held_to_rules"] is True
    quick = kept("verify", "--quick", "--json").json
    assert quick == told | {"is_held_to_rules": False}
    assert "rule" not in kept("verify", "--quick").out


def test_a_damaged_file_is_named_with_its_event(kept: Run) -> None:
    """Any file, the newest too; the problems are values, the status is 1."""
    path = sorted(Path("book/events").iterdir())[-1]
    content = path.read_bytes()
    path.chmod(0o644)
    # Of a commit's file no header says the least and greatest quantity: the page alone has it.
    at = content.index(b"elongation")
    path.write_bytes(content[:at] + b"elongatiom" + content[at + 10 :])
    done = kept("verify")
    assert (done.code, done.out) == (1, "")
    assert f"{path.name}, event 5" in done.err and "quantity" in done.err
    assert "rules were not run" in done.err
    done = kept("verify", "--json")
    assert done.code == 1
    problems = json.loads(done.out)["problems"]
    assert {"event", "field", "wrong", "right", "rule", "severity"} == set(problems[0])
    assert ("quantity", "hot_column") in {(one["field"], one["rule"]) for one in problems}


def test_a_missing_commit_is_a_problem_and_no_traceback(kept: Run) -> None:
    """The gap is named, and what stands before it is still looked at."""
    Path("book/events/c-000000000003.parquet").unlink()
    done = kept("verify", "--json")
    assert done.code == 1
    told = json.loads(done.out)
    assert told["commits"] == 2
    assert [one["rule"] for one in told["problems"]] == ["commit_gap"]


def test_many_problems_are_counted_and_some_listed(kept: Run, monkeypatch) -> None:
    """More than can be read are counted; --json has them all."""
    monkeypatch.setattr("ledger.cli.verify.MOST_LISTED", 1)
    for path in Path("book/events").iterdir():
        path.chmod(0o644)
        path.write_bytes(b"a shopping list")
    done = kept("verify")
    assert done.code == 1 and "all of them: --json" in done.err
