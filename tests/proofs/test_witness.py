"""The witness file, and the check of a whole book: what a line finds that the book cannot."""

from __future__ import annotations

import json
import shutil
import sqlite3
from itertools import groupby

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from ticking_book import treated

from ledger import witness
from ledger.errors import NoBook, Problem
from ledger.events import parse_event
from ledger.proofs import Receipts, signed_root
from ledger.proofs.verify import check_files, check_rules
from ledger.signing import SignedRoot
from ledger.storage.local import LocalStore
from ledger.storage.log import Log

TAG = "7K3M9QXA"


def rules(found):
    return sorted({problem.rule for problem in found})


def test_a_whole_book_has_nothing_wrong(book):
    """Files, rules, and every root that was signed."""
    signed_root(book)
    Receipts(book).of_growth(3, 7)
    seen = []
    found = check_files(book.path, lambda done, of: seen.append((done, of)))
    assert (found.problems, found.count_witnessed) == ([], 2)
    assert (found.commits, found.size, found.root) == (5, 13, book.head.root)
    assert seen[-1] == (13, 13)
    assert check_rules(book.path) == []


def test_a_root_is_noted_once(book):
    """The same root twice in a row is one line; the next commit's is another."""
    one = signed_root(book)
    assert signed_root(book) == one
    book.append([treated()])
    two = signed_root(book)
    lines = (book.path / "witness.txt").read_text().splitlines()
    assert lines == [witness.line_of(one), witness.line_of(two)]
    assert list(witness.read(lines, "quay")) == [one, two]


def test_a_line_that_a_crash_cut_off_stands_alone(book):
    """The next line is whole; the torn one is named with its number."""
    path = book.path / "witness.txt"
    one = signed_root(book)
    path.write_text(witness.line_of(one)[:40])
    assert witness.append(book.path, one)
    torn, whole = witness.read(path.read_text().splitlines(), "quay")
    assert whole == one
    assert isinstance(torn, Problem) and torn.event == "witness.txt, line 1"
    assert rules(check_files(book.path).problems) == ["witness"]


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_no_changed_line_is_taken(proved_book, data):
    """Any one sign of a line changed, dropped or doubled: it is another root, or none."""
    signed = Receipts(proved_book).of_event(1).signed
    line = witness.line_of(signed)
    at = data.draw(st.integers(0, len(line) - 1))
    sign = data.draw(st.sampled_from(["", line[at] * 2, "0", "f", "\t", " ", "é", "-"]))
    changed = line[:at] + sign + line[at + 1 :]
    if changed == line:
        return
    (found,) = witness.read([changed], "quay")
    assert isinstance(found, Problem)
    assert isinstance(next(witness.read([line], "other")), Problem)
    assert next(witness.read([line], "quay")) == signed


def rewritten(book, folder, change):
    """Write the book again as a whole, its events changed, every hash and root to match."""
    shutil.copytree(book.path, folder, ignore=shutil.ignore_patterns("events", "derived"))
    (folder / "events").mkdir()
    log = Log(LocalStore(folder / "events"))
    commits = [list(rows) for _, rows in groupby(book.rows(), key=lambda row: row[1])]
    for rows in commits:
        raw = [json.loads(canonical) for _, _, canonical in rows]
        events = [parse_event(changed) for one in raw if (changed := change(one)) is not None]
        if events:
            log.commit(lambda head, events=events: events)
    return folder


def test_a_book_rewritten_as_a_whole_is_found_by_one_line(book, tmp_path):
    """Every file and rule of it is right; only the line that was kept elsewhere tells."""
    signed_root(book)
    kept = tmp_path / "kept.txt"
    shutil.move(book.path / "witness.txt", kept)

    def change(raw):
        if raw["seq"] == 7:
            raw["data"]["treatment"] = "lubricated"
        return raw

    other = rewritten(book, tmp_path / "other", change)
    assert check_files(other).problems == [] and check_rules(other) == []
    (problem,) = check_files(other, witnesses=[kept]).problems
    assert (problem.field, problem.rule) == ("root", "witness")
    assert "13 events" in problem.event and "rewritten" in problem.right
    assert check_files(book.path, witnesses=[kept]).problems == []


def test_a_root_signed_between_two_commits_tells_too(book, tmp_path):
    """A line of a size that no commit ended at is compared with the tree itself."""
    Receipts(book).of_growth(2, 6)
    kept = tmp_path / "kept.txt"
    shutil.move(book.path / "witness.txt", kept)
    assert check_files(book.path, witnesses=[kept]).problems == []

    def change(raw):
        return (
            raw | {"data": {**raw["data"], "treatment": "lubricated"}} if raw["seq"] == 5 else raw
        )

    other = rewritten(book, tmp_path / "other", change)
    assert rules(check_files(other, witnesses=[kept]).problems) == ["witness"]


def test_a_book_cut_short_is_found_by_one_line(book, tmp_path):
    """The last commit taken away leaves a book that is whole, but for the witness."""
    signed_root(book)
    (book.path / "events" / "c-000000000005.parquet").unlink()
    (problem,) = check_files(book.path).problems
    assert (problem.field, problem.rule) == ("size", "witness")
    (book.path / "witness.txt").unlink()
    assert check_files(book.path).problems == []


def test_a_commit_that_is_missing_is_a_problem_and_those_before_are_checked(book):
    """A gap is one value among the others, and what comes before it is looked at."""
    (book.path / "events" / "c-000000000003.parquet").unlink()
    found = check_files(book.path)
    assert (found.commits, rules(found.problems)) == (2, ["commit_gap"])
    assert "commit 3 is missing" in found.problems[0].wrong
    shutil.rmtree(book.path / "events")
    assert rules(check_files(book.path).problems) == ["no_events"]


def test_a_photo_that_is_not_what_it_is_named_by_is_a_problem(book):
    """One of another hash is named; a foreign file in the folder is nobody's business."""
    import hashlib

    folder = book.path / "photos"
    (folder / hashlib.sha256(b"noise").hexdigest()).write_bytes(b"noise")
    (folder / ".tmp-1").write_bytes(b"left behind")
    assert check_files(book.path).problems == []
    bent = folder / hashlib.sha256(b"more").hexdigest()
    bent.write_bytes(b"mord")
    (problem,) = check_files(book.path).problems
    assert (problem.event, problem.rule) == (f"photos/{bent.name}", "photo")


def test_a_missing_register_is_a_problem(book):
    """The keys are gone with it, so nothing written could be read."""
    (book.path / "riders.sqlite").unlink()
    assert rules(check_files(book.path).problems) == ["no_register"]


@pytest.mark.parametrize(
    ("change", "rule", "named"),
    [
        (
            lambda raw: raw | {"bike": "AAAAAAAA"} if raw["seq"] == 5 else raw,
            "unknown_bike", "seq 5",
        ),
        (lambda raw: raw | {"job": "J-9"} if raw["seq"] == 6 else raw, "", "seq 6"),
        (
            lambda raw: raw | {"occurred_at": "2025-01-01T09:00:00Z"} if raw["seq"] == 8 else raw,
            "", "seq 8",
        ),
        (lambda raw: raw | {"shop": "pier"} if raw["seq"] == 9 else raw, "other_shop", ""),
        (
            lambda raw: raw | {"data": raw["data"] | {"text": "in the clear"}}
            if raw["kind"] == "noted" else raw,
            "clear_text", "seq 3",
        ),
    ],
    ids=["bike", "job", "before", "shop", "clear"],
)  # fmt: skip
def test_a_rule_that_was_got_round_is_found(book, tmp_path, change, rule, named):
    """With every hash and root right, what no rule would have let in is found and named."""
    other = rewritten(book, tmp_path / "other", change)
    assert check_files(other).problems == []
    problems = check_rules(other)
    assert problems
    assert not rule or rule in rules(problems), problems
    assert any(named in problem.event for problem in problems), problems


def test_verify_changes_nothing(book):
    """No file is made, no key, and the register may be in use meanwhile."""
    before = {path: path.read_bytes() for path in book.path.rglob("*") if path.is_file()}
    with sqlite3.connect(book.path / "riders.sqlite", isolation_level=None) as connection:
        connection.execute("begin immediate")
        assert check_files(book.path).problems == [] and check_rules(book.path) == []
        connection.execute("rollback")
    after = {path: path.read_bytes() for path in book.path.rglob("*") if path.is_file()}
    assert {path.name for path in after} - {path.name for path in before} <= {
        "riders.sqlite-journal"
    }
    assert all(after[path] == content for path, content in before.items())


def test_where_there_is_no_book_that_is_said(tmp_path):
    """Nothing is made there."""
    with pytest.raises(NoBook):
        check_files(tmp_path / "nowhere")


def test_the_statement_that_is_signed_is_as_documented(book):
    """Five lines: what it is, shop, size, root, time; a program elsewhere can rebuild it."""
    from ledger.signing import statement

    signed = signed_root(book)
    assert isinstance(signed, SignedRoot)
    lines = statement(signed.shop, signed.size, signed.root, signed.recorded_at).decode()
    assert lines == f"lockring root 1\nquay\n13\n{book.head.root}\n{moment_of(book)}\n"


def moment_of(book):
    return f"{book.head.recorded_at:%Y-%m-%dT%H:%M:%S.%fZ}"
