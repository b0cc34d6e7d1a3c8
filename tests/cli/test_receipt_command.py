"""`receipt` and `verify --receipt`; and the README's script, which needs nothing but Python."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from workbench import TAG, Run

from ledger.book import Book

README = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")


@pytest.fixture
def proved(shop: Run) -> Run:
    """A book of nine events in three commits."""
    treated = {"kind": "treated", "bike": TAG, "actor": "m1"}
    data = {"position": "chain", "treatment": "cleaned"}
    Book.open("book").append([{**treated, "data": data} for _ in range(7)], confirm_clock=True)
    return shop


def test_a_book_that_is_named_is_held_to_the_receipt(proved: Run) -> None:
    """Grown it holds; cut short, rewritten or another shop's it does not, and exit is 1."""
    assert proved("receipt", "--seq", "4", "--output", "r.json").code == 0
    assert proved("receipt", "--from", "2", "--output", "g.json").code == 0
    shutil.copytree("book", "grown")
    more = {"kind": "noted", "bike": TAG, "actor": "m1", "data": {"position": "fork", "text": "x"}}
    Book.open("grown").append([more], confirm_clock=True)
    for receipt in ("r.json", "g.json"):
        done = proved("verify", "--receipt", receipt, "--book", "grown")
        assert (done.code, done.err) == (0, "")
        assert "grown has every root that is named" in done.out
    shutil.copytree("book", "cut")
    sorted(Path("cut/events").iterdir())[-1].unlink()
    done = proved("verify", "--receipt", "r.json", "--book", "cut")
    assert (done.code, done.out) == (1, "")
    assert "size: is 9, and the book holds 2 events" in done.err
    assert "rewritten or cut since, or this is another book" in done.err
    assert proved("init", "rewritten", "--shop", "quay", "--mechanic", "m1").code == 0
    Book.open("rewritten").append([more | {"kind": "bike_registered", "data": {}}])
    Book.open("rewritten").append([more for _ in range(7)])
    done = proved("verify", "--receipt", "g.json", "--book", "rewritten", "--json")
    assert done.code == 1
    wrong = [(one["field"], one["rule"]) for one in done.json["problems"]]
    assert wrong == [("root", "receipt_of_book"), ("from_root", "receipt_of_book")]
    assert proved("init", "other", "--shop", "pier", "--mechanic", "m1").code == 0
    done = proved("verify", "--receipt", "r.json", "--book", "other")
    assert done.code == 1 and "shop: is 'quay', and the book is of 'pier'" in done.err
    assert proved("verify", "--receipt", "r.json", "--book", "nowhere").code == 1


def test_a_receipt_given_as_a_witness_is_told_where_it_belongs(proved: Run) -> None:
    """Exit 2, with the option it is for."""
    assert proved("receipt", "--seq", "4", "--output", "r.json").code == 0
    done = proved("verify", "--witness", "r.json")
    assert (done.code, done.out) == (2, "") and "--receipt r.json --book" in done.err


def test_a_receipt_is_checked_where_there_is_no_book(proved: Run) -> None:
    """Written to a file, it holds in another folder, with the key that was told."""
    key = proved("receipt", "--key").out.strip()
    assert re.fullmatch("[0-9a-f]{64}", key)
    assert proved("receipt", "--key", "--json").json == {"shop": "quay", "key": key}
    done = proved("receipt", "--seq", "4", "--output", "r.json")
    assert done.code == 0 and "lockring verify --receipt r.json" in done.out
    Path("book").rename("gone")
    done = proved("verify", "--receipt", "r.json", "--key", key)
    assert done.code == 0
    assert f"Event 4 (treated, bike {TAG}" in done.out and key in done.out
    assert "for you to compare" in proved("verify", "--receipt", "r.json").out
    told = proved("verify", "--receipt", "r.json", "--json").json
    assert told == {"receipts": 1, "keys": [key], "problems": []}
    assert not Path("book").exists()


def test_an_event_by_id_a_commit_and_growth(proved: Run) -> None:
    """Each is signed, each holds; a commit's receipts are one file."""
    one = proved("receipt", "--seq", "5", "--json").json
    assert proved("receipt", one["id"], "--json").json == one
    assert (one["kind"], one["seq"], one["size"]) == ("event", 5, 9)
    assert proved("receipt", "--commit", "3", "--output", "c.json").code == 0
    assert [told["seq"] for told in json.loads(Path("c.json").read_text())] == list(range(3, 10))
    done = proved("verify", "--receipt", "c.json")
    assert done.code == 0 and "All of them hold" in done.out and done.out.count("stands in") == 7
    grown = proved("receipt", "--from", "2", "--to", "7", "--json").json
    assert (grown["kind"], grown["from_size"], grown["size"]) == ("growth", 2, 7)
    assert "begins with the very 2 it held" in proved("receipt", "--from", "2").out


def test_each_signed_root_is_a_line_of_the_witness_file(proved: Run) -> None:
    """And verify holds the book to each of them, and to those of a copy kept elsewhere."""
    proved("receipt", "--seq", "4")
    proved("receipt", "--seq", "5")
    proved("receipt", "--from", "2", "--to", "2")
    assert len(Path("book/witness.txt").read_text().splitlines()) == 2
    assert "every one of 2 signed roots" in proved("verify").out
    Path("book/witness.txt").rename("copy.txt")
    assert proved("verify", "--witness", "copy.txt").code == 0
    for path in Path("book/events").glob("c-*3.parquet"):
        path.unlink()
    assert proved("verify").code == 0
    done = proved("verify", "--witness", "copy.txt")
    assert done.code == 1 and "witness of 9 events" in done.err


def test_a_tampered_receipt_ends_with_1_and_says_why(proved: Run) -> None:
    """The field is named; --json gives the same as data; another key is no better."""
    proved("receipt", "--seq", "4", "--output", "r.json")
    told = json.loads(Path("r.json").read_text())
    Path("r.json").write_text(json.dumps(told | {"root": "0" * 64}))
    done = proved("verify", "--receipt", "r.json")
    assert (done.code, done.out) == (1, "")
    assert "receipt of event 4" in done.err and "path" in done.err and "signature" in done.err
    done = proved("verify", "--receipt", "r.json", "--json")
    assert done.code == 1
    assert {one["field"] for one in done.json["problems"]} == {"path", "signature"}
    Path("r.json").write_text(json.dumps(told))
    done = proved("verify", "--receipt", "r.json", "--key", "ab" * 32)
    assert done.code == 1 and "is not " + "ab" * 32 in done.err


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        ((), 2, "Ask for one"),
        (("--seq", "1", "--commit", "1"), 2, "Ask for one"),
        (("--seq", "1", "--to", "2"), 2, "--from"),
        (("--seq", "10"), 1, "there is no event 10; the newest is 9"),
        (("--commit", "9"), 1, "there is no commit 9"),
        (("--from", "10"), 1, "holds 9 events"),
        (("J-1",), 1, "not the id of an event"),
        (("--seq", "1", "--output", "log.txt"), 1, "already there"),
    ],
)
def test_what_cannot_be_proved_is_said_in_a_line(
    proved: Run, arguments: tuple[str, ...], code: int, said: str
) -> None:
    """Wrong use ends with 2, what the book does not hold with 1; nothing is written."""
    Path("log.txt").write_text("mine")
    done = proved("receipt", *arguments)
    assert (done.code, done.out) == (code, "")
    assert said in done.err
    assert Path("log.txt").read_text() == "mine" and not Path("book/witness.txt").exists()


@pytest.mark.parametrize(
    ("content", "said"),
    [("a shopping list", "not JSON"), ("[]", "holds no receipt"), ("[" * 100_000, "not JSON")],
)
def test_a_file_that_is_no_receipt_is_refused(lockring: Run, content: str, said: str) -> None:
    """One line says so; JSON that is none is listed as a problem."""
    Path("r.json").write_text(content)
    done = lockring("verify", "--receipt", "r.json")
    assert (done.code, done.out) == (1, "") and said in done.err
    for other in ("{}", "7", '[null, {"kind": "event", "lockring": 1}]'):
        Path("r.json").write_text(other)
        assert lockring("verify", "--receipt", "r.json").code == 1
    assert lockring("verify", "--receipt", "nowhere.json").code == 1


def test_keys_and_receipts_are_asked_for_together(lockring: Run) -> None:
    """Options that do not go together are wrong use."""
    Path("r.json").write_text("{}")
    assert lockring("verify", "--key", "ab" * 32).code == 2
    assert lockring("verify", "--receipt", "r.json", "--key", "ab").code == 2
    assert lockring("verify", "--receipt", "r.json", "--quick").code == 2


# -- the script of the README ----------------------------------------------------------------


@pytest.fixture
def script(tmp_path: Path) -> Path:
    """The script as it stands in the README."""
    (text,) = re.findall(r"```py\n(.*?)```", README, flags=re.DOTALL)
    path = tmp_path / "check_receipt.py"
    path.write_text(text)
    return path


def holds(script: Path, document: object) -> bool:
    """Tell whether the script, with nothing but Python, takes a receipt."""
    path = script.with_name("asked.json")
    path.write_text(json.dumps(document))
    command = [sys.executable, "-I", "-S", str(script), str(path)]
    done = subprocess.run(command, capture_output=True, timeout=60, check=False)
    return done.returncode == 0


def test_the_script_is_thirty_lines_of_the_standard_library(script: Path) -> None:
    """Thirty lines that are not empty, and no module that Python does not bring."""
    lines = [line for line in script.read_text().splitlines() if line.strip()]
    assert len(lines) <= 30
    named = re.findall(r"^import (.*)$", script.read_text(), flags=re.MULTILINE)
    assert {name.strip() for name in ",".join(named).split(",")} <= sys.stdlib_module_names


@pytest.mark.parametrize("nothing", [[], None, 0, 5, "", {}, [None], {"kind": "event"}])
def test_the_script_takes_nothing_for_no_receipt(script: Path, nothing: object) -> None:
    """Where there is no receipt none holds."""
    assert not holds(script, nothing)


def test_the_script_takes_real_receipts_and_no_tampered_one(proved: Run, script: Path) -> None:
    """Of every event, and of growth between sizes of all kinds; with anything changed, none."""
    seqs = proved("receipt", "--commit", "3", "--json").json
    assert holds(script, seqs)
    grown = [
        proved("receipt", "--from", str(old), "--to", str(new), "--json").json
        for old, new in ((1, 9), (2, 9), (3, 7), (4, 8), (6, 7), (8, 9), (9, 9))
    ]
    assert holds(script, grown)
    for changed in tampered(seqs[3]) + tampered(grown[2]):
        assert not holds(script, changed), changed


def tampered(told: dict) -> list[dict]:
    """Give a receipt with one thing changed, in each way that the script looks at.

    A size of the same shape of path is for the signature to refuse.
    """
    path, other = told["path"], "0" * 64
    changes: list[dict] = [
        {"path": [other, *path[1:]]}, {"path": path[:-1]}, {"path": [*path, other]},
        {"path": []}, {"root": other}, {"size": 4 * told["size"]}, {"size": 1},
    ]  # fmt: skip
    if told["kind"] == "event":
        changes += [{"seq": told["seq"] + 1}, {"id": other}, {"shop": "pier"}]
        changes += [{"event": "e30="}, {"event": told["event"][:-8] + "AAAA" + told["event"][-4:]}]
    else:
        changes += [{"from_size": told["from_size"] + 1}, {"from_root": other}]
        changes += [{"from_size": 0}, {"from_size": told["size"]}]
    return [told | change for change in changes]
