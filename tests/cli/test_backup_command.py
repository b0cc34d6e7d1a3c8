"""`backup` and `restore` at the command line: words, JSON, exit codes."""

from __future__ import annotations

import errno
import os
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from workbench import TAG, Run, snapshot

from ledger.errors import Problem
from ledger.storage.disk import Disk


def events(place: str) -> list[Path]:
    return sorted((Path(place) / "events").iterdir())


def test_backed_up_and_restored_in_words(shop: Run) -> None:
    """What was sent, where the keys are and until when; then that all is equal."""
    assert shop("riders", "add", "--name", "Ada Reed").code == 0
    done = shop("backup", "kept", "--keys-to", "keys")
    assert (done.code, done.err) == (0, "")
    assert "2 events up to commit 2 are in" in done.out and "Sent: 4 files" in done.out
    assert "Riders and keys: register-quay-" in done.out
    again = shop("backup", "kept", "--keys-to", "keys")
    assert "Sent: 0 files, 0.0 kB. There already: 4 files" in again.out
    back = shop("restore", "kept", "--keys-from", "keys", "--book", "again")
    assert (back.code, back.err) == (0, "")
    assert "Root, count and the replay of 1 bike are equal" in back.out
    assert shop("verify", "--book", "again").code == 0
    state = shop("state", TAG, "--json", "--as-at", "2026-06-01").json
    assert shop("state", TAG, "--json", "--as-at", "2026-06-01", "--book", "again").json == state
    assert "Ada Reed" in shop("riders", "list", "--book", "again").out


def test_without_a_place_for_keys_it_says_what_that_means(shop: Run) -> None:
    """On stderr, so that JSON stays JSON."""
    done = shop("backup", "kept", "--json")
    assert done.code == 0 and "read as forgotten" in done.err and "--keys-to" in done.err
    assert (done.json["events"], done.json["files_sent"], done.json["keys"]) == (2, 4, None)
    assert done.json["is_signed"] is True and done.json["removed"] == []
    back = shop("restore", "kept", "--book", "again")
    assert back.code == 0 and "read as forgotten" in back.out


def test_a_clock_set_far_ahead_takes_no_copy_of_the_keys_away(
    shop: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is to be confirmed first; and even then the last copy of a place stays, which is said."""
    assert shop("backup", "kept", "--keys-to", "keys", "--keys-expire", "1y").code == 0
    (copy,) = Path("keys").iterdir()
    ahead = datetime.now(UTC) + timedelta(days=400)
    monkeypatch.setattr("ledger.book.utc_now", lambda: ahead)
    done = shop("backup", "kept")
    assert (done.code, done.out) == (1, "") and "--confirm-clock" in done.err
    assert copy.exists() and not Path("kept/backup-000000000002.json").exists()
    done = shop("backup", "kept", "--confirm-clock")
    assert done.code == 0 and "taken away" not in done.out and copy.exists()
    assert f"Expired, but not taken away: {copy.name}" in done.err and "--keys-to" in done.err
    assert ".." not in done.err.replace("...", "")
    done = shop("backup", "kept", "--keys-to", "keys", "--keys-expire", "1y")
    assert done.code == 0 and f"Expired, and taken away: {copy.name}" in done.out
    assert not copy.exists() and len(list(Path("keys").iterdir())) == 1


def test_a_damaged_backup_in_words_and_json(shop: Run) -> None:
    """Exit 1, the damage by file and commits, the quarantine; the name is never given."""
    assert shop("backup", "kept").code == 0
    events("kept")[1].unlink()
    done = shop("restore", "kept", "--book", "again")
    assert (done.code, done.out) == (1, "")
    assert "events/c-000000000002.parquet: missing, commit 2." in done.err
    assert "Lost: commit 2." in done.err and "1 event up to commit 1" in done.err
    assert not Path("again").exists() and Path("again.quarantine/WHAT-THIS-IS.txt").exists()
    assert shop("verify", "--book", "again.quarantine/book").code == 0
    told = shop("restore", "kept", "--book", "other", "--json")
    assert told.code == 1
    found = {key: told.json[key] for key in ("book", "is_equal", "commit", "lost_commits")}
    assert found == {"book": None, "is_equal": False, "commit": 1, "lost_commits": [[2, 2]]}
    (damage,) = told.json["damages"]
    assert (damage["file"], damage["wrong"]) == ("events/c-000000000002.parquet", "missing")
    assert (damage["first"], damage["last"]) == (2, 2)


@pytest.mark.parametrize("number", [errno.ENOSPC, errno.EROFS, errno.EACCES])
@pytest.mark.parametrize("at_most", [0, 2])
def test_a_full_or_read_only_place_is_told_as_that(
    shop: Run, monkeypatch: pytest.MonkeyPatch, number: int, at_most: int
) -> None:
    """What was not sent, where, and what to do; nothing is said of recording."""
    create, made = Disk.create, []

    def full(disk: Disk, path: Path) -> int:
        if "kept" in path.parts:
            made.append(path)
            if len(made) > at_most:
                raise OSError(number, os.strerror(number))
        return create(disk, path)

    with monkeypatch.context() as patch:
        patch.setattr(Disk, "create", full)
        done = shop("backup", "kept")
    assert (done.code, done.out) == (1, "")
    assert "was not brought up to date" in done.err and "recorded" not in done.err
    assert f"in {Path('kept').absolute()}" in done.err and os.strerror(number) in done.err
    assert "Make room there" in done.err and len(done.err.splitlines()) == 1
    assert shop("backup", "kept").code == 0
    assert shop("restore", "kept", "--book", "again").code == 0


def test_a_full_place_of_keys_is_told_as_that(shop: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """The events are there; which copy is not, and what to do."""
    create = Disk.create

    def full(disk: Disk, path: Path) -> int:
        if "stick" in path.parts:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))
        return create(disk, path)

    monkeypatch.setattr(Disk, "create", full)
    done = shop("backup", "kept", "--keys-to", "stick")
    assert done.code == 1 and "The events are in" in done.err and "recorded" not in done.err
    assert "register-quay-" in done.err and "Make room there" in done.err


def test_a_damaged_photo_is_told_and_everything_else_is_in_the_backup(shop: Run) -> None:
    """Exit 1, naming it."""
    (Path("book/photos") / ("a" * 64)).write_bytes(b"no photo of that name")
    done = shop("backup", "kept")
    assert done.code == 1 and f"photos/{'a' * 64} is damaged in the book" in done.err
    assert shop("restore", "kept", "--book", "again").code == 0


@pytest.mark.parametrize(
    ("arguments", "code", "said"),
    [
        (("backup", "book/kept"), 2, "the book itself"),
        (("backup", "kept", "--keys-to", "kept/keys"), 2, "A copy of the keys goes apart"),
        (("backup", "kept", "--keys-to", "k", "--keys-expire", "soon"), 2, "90d"),
        (("backup", "s3://NO/x"), 2, "s3://bucket/name"),
        (("backup", "log.txt"), 2, "log.txt is a file"),
        (("backup", "kept", "--keys-to", "log.txt"), 2, "log.txt is a file"),
        (("restore", "nowhere", "--book", "new"), 1, "There is no backup"),
        (("restore", "log.txt", "--book", "new"), 2, "log.txt is a file"),
        (("restore", "kept"), 1, "already holds something"),
        (("restore", "kept", "--book", "new", "--key", "short"), 2, "key"),
        (("restore", "kept", "--book", "kept/new"), 2, "where the book is to be"),
    ],
)
def test_what_cannot_be_is_told_in_one_line(
    shop: Run, arguments: tuple[str, ...], code: int, said: str
) -> None:
    """Nothing is made by it."""
    Path("log.txt").write_text("a file in the way")
    before = sorted(path.name for path in Path().iterdir())
    done = shop(*arguments)
    assert (done.code, done.out) == (code, "") and said in done.err
    assert len(done.err.strip().splitlines()) == 1
    assert sorted(path.name for path in Path().iterdir()) == before and "kept" not in before


def test_a_store_that_does_not_answer_is_told_and_changes_nothing(
    shop: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """For both ways."""
    for name, value in {
        "AWS_ENDPOINT_URL": "http://127.0.0.1:9", "AWS_ALLOW_HTTP": "true",
        "AWS_REGION": "us-east-1", "AWS_ACCESS_KEY_ID": "x", "AWS_SECRET_ACCESS_KEY": "x",
    }.items():  # fmt: skip
        monkeypatch.setenv(name, value)
    before = snapshot(Path("book"))
    for arguments in (("backup", "s3://harbour/x"), ("restore", "s3://harbour/x", "--book", "new")):
        done = shop(*arguments)
        assert done.code == 1 and "does not answer" in done.err
    assert snapshot(Path("book")) == before and not Path("new").exists()


def test_a_problem_ends_each_sentence_once() -> None:
    """Also where what is wrong was told as a sentence."""
    for wrong in ("it is damaged", "it is damaged."):
        told = str(Problem("c-1", "the file", wrong, "Put it back"))
        assert told == "c-1: the file: it is damaged. Put it back"
