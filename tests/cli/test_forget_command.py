"""`forget`, `riders consent` and `riders export`, as people type them."""

from __future__ import annotations

import contextlib
import io
import json
import os
import pty
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from PIL import Image
from workbench import TAG, Run

from ledger.book import Book
from ledger.photos import add_photo

NAME, PHONE = "Ottilie Wrenfield", "555-0142"
SECOND = "2B4D6F8H"
WORDS = "Creaks under load"


@pytest.fixture
def ridden(shop: Run) -> Run:
    """A shop in which one rider's bike went to another, with words and costs on both sides."""
    for rider, name in (("r-o", NAME), ("r-n", "Bram Next")):
        done = shop("riders", "add", "--name", name, "--phone", PHONE, "--id", rider, "--consent")
        assert done.code == 0, done.err
    events = [
        of("rider_changed", "2026-01-06T09:00", rider="r-o"),
        of("job_opened", "2026-01-07T09:00", job="J1", complaint=WORDS),
        of("labour_logged", "2026-01-07T10:00", job="J1", task="wheel_truing", minutes=37),
        of("noted", "2026-01-07T10:30", position="chain", text="Hers alone"),
        of("job_closed", "2026-01-07T11:00", job="J1", currency="EUR", lines=[LINE]),
        of("rider_changed", "2026-02-01T09:00", rider="r-n"),
        of("noted", "2026-02-02T09:00", position="chain", text="Said by Bram"),
    ]
    Book.open("book").append(events)
    return shop


LINE = {
    "line": "1", "line_type": "part", "code": "chain", "description": "a chain", "net_minor": 0,
    "cost_minor": 1234, "is_goodwill": True, "payer": "r-o",
}  # fmt: skip


def of(kind: str, at: str, job: str | None = None, **data) -> dict:
    told = {"kind": kind, "bike": TAG, "occurred_at": at, "data": data}
    return told | ({"job": job} if job else {}) | {"actor": "m1"}


def test_forgetting_says_first_what_is_lost_and_needs_a_yes(ridden: Run) -> None:
    """Piped it needs --yes, and nothing happens without."""
    asked = ridden("forget", "r-o")
    assert asked.code == 2 and "--yes" in asked.err
    assert NAME in asked.out and TAG in asked.out and "3 events with text" in asked.out
    assert NAME in ridden("riders", "list").out
    done = ridden("forget", "r-o", "--yes")
    assert (done.code, done.err) == (0, "")
    assert "Forgotten: rider r-o" in done.out
    listed = ridden("riders", "list").out
    assert NAME not in listed and "Bram Next" in listed


@pytest.mark.parametrize(("answer", "is_forgotten"), [("no", False), ("yes", True)])
def test_on_a_terminal_it_asks(ridden: Run, answer: str, is_forgotten: bool) -> None:
    """Only a yes forgets."""
    ours, theirs = pty.openpty()
    run = "from ledger.cli import main; main()"
    command = [sys.executable, "-c", run, "forget", "r-o"]
    process = subprocess.Popen(command, stdin=theirs, stdout=theirs, stderr=theirs)
    os.close(theirs)
    os.write(ours, f"{answer}\n".encode())
    told = b""
    with contextlib.suppress(OSError):
        while more := os.read(ours, 4096):
            told += more
    os.close(ours)
    assert process.wait() == (0 if is_forgotten else 1)
    assert b"Forget them for good?" in told and NAME.encode() in told
    assert (NAME in ridden("riders", "list").out) is not is_forgotten


def test_forgetting_again_and_nobody_are_told_in_words(ridden: Run) -> None:
    """Exit codes 0 and 1."""
    told = ridden("forget", "r-o", "--yes", "--json")
    assert told.json["was_forgotten_before"] is False and told.json["count_texts"] == 3
    assert NAME not in told.out
    again = ridden("forget", "r-o")
    assert again.code == 0 and "was forgotten on" in again.out
    assert ridden("forget", "r-o", "--json").json["was_forgotten_before"] is True
    nobody = ridden("forget", "r-nobody", "--yes")
    assert nobody.code == 1 and "no rider r-nobody" in nobody.err


def test_what_looks_at_the_bike_goes_on_afterwards(ridden: Run) -> None:
    """Every reading command, in words and as JSON; a receipt made before still holds."""
    event = ridden("history", TAG, "--json").json[-1]["id"]
    receipt = ridden("receipt", event, "--out", "r.json")
    assert receipt.code == 0, receipt.err
    assert ridden("forget", "r-o", "--yes").code == 0
    for command in (
        ["verify"], ["state", TAG], ["history", TAG], ["history", TAG, "--json"],
        ["report", TAG, "--job", "J1", "--out", "page.pdf"], ["due"], ["wear"], ["chains"],
        ["bikes"], ["export", "--clear", "--out", "all.jsonl"], ["riders", "export", "r-o"],
        ["verify", "--receipt", "r.json"],
    ):  # fmt: skip
        done = ridden(*command)
        assert done.code == 0, (command, done.err)
        assert NAME not in done.out and WORDS not in done.out
    assert "Said by Bram" in ridden("history", TAG).out
    assert NAME.encode() not in Path("page.pdf").read_bytes()


def test_copies_of_the_keys_are_named_with_their_end(ridden: Run) -> None:
    """And the copy of events alone is not one of them."""
    assert ridden("backup", "disk", "--keys-to", "stick", "--keys-expire", "30d").code == 0
    done = ridden("forget", "r-o", "--yes")
    assert done.code == 0
    assert "stick" in done.err and "expires on" in done.err and "disk" not in done.err
    assert "May be held by" in ridden("forget", "r-o").err


def test_a_backup_made_before_is_told_and_a_restore_does_not_bring_them_back(ridden: Run) -> None:
    """With the copy of the keys from before; by ids alone, and told again it is the same."""
    assert ridden("backup", "disk", "--keys-to", "stick").code == 0
    assert ridden("backup", "drawer").code == 0
    done = ridden("forget", "r-o", "--yes")
    assert done.code == 0 and "could not be told" not in done.err
    for name in ("disk", "drawer"):
        assert f"The backup at {Path(name).absolute()} knows of it" in done.out
        text = Path(name, "forgotten.json").read_text("utf-8")
        assert '"r-o"' in text and NAME not in text and PHONE not in text
    back = ridden("restore", "disk", "--keys-from", "stick", "--book", "again")
    assert back.code == 0, back.err
    assert "Forgotten since that copy, and not brought back" in back.out
    listed = ridden("riders", "list", "--book", "again").out
    assert NAME not in listed and "Bram Next" in listed
    assert WORDS not in ridden("history", TAG, "--book", "again").out
    told = ridden("forget", "r-o", "--json").json
    assert told["backups_told"] == [str(Path(one).absolute()) for one in ("disk", "drawer")]
    assert told["backups_not_told"] == []


def test_a_backup_that_cannot_be_told_is_named_with_what_to_do(ridden: Run) -> None:
    """A disk that is not plugged in, and a place that is another book's by now."""
    assert ridden("backup", "disk").code == 0 and ridden("backup", "drawer").code == 0
    Path("disk").rename("unplugged")
    Path("drawer").rename("away")
    assert ridden("init", "other", "--shop", "pier", "--mechanic", "m1").code == 0
    assert ridden("backup", "drawer", "--book", "other").code == 0
    theirs = Path("drawer/forgotten.json").read_bytes()
    done = ridden("forget", "r-o", "--yes")
    assert done.code == 0 and "knows of it" not in done.out
    assert f"{Path('disk').absolute()} could not be told" in done.err
    assert "is that disk connected?" in done.err and "lockring forget r-o again" in done.err
    assert "another book (shop 'pier'" in done.err and not Path("disk").exists()
    assert Path("drawer/forgotten.json").read_bytes() == theirs
    Path("unplugged").rename("disk")
    again = ridden("forget", "r-o", "--yes")
    assert f"The backup at {Path('disk').absolute()} knows of it" in again.out
    assert '"r-o"' in Path("disk/forgotten.json").read_text("utf-8")


def test_a_rider_gets_everything_that_is_held_about_them(ridden: Run) -> None:
    """Register, consent, events in the clear, photos; nobody else's words, no cost, no minutes."""
    image = io.BytesIO()
    Image.new("RGB", (20, 20), "red").save(image, "JPEG")
    book = Book.open("book")
    add_photo(book, TAG, None, "m1", image.getvalue(), caption="now his")
    done = ridden("riders", "export", "r-o", "--out", "hers")
    assert done.code == 0, done.err
    text = Path("hers/rider.json").read_text("utf-8")
    held = json.loads(text)
    assert held["register"]["name"] == NAME and held["register"]["consent_at"]
    assert [one["kind"] for one in held["events"]] == [
        "bike_registered", "rider_changed", "job_opened", "labour_logged", "noted", "job_closed",
    ]  # fmt: skip
    assert WORDS in text and "Hers alone" in text and "a chain" in text
    assert held["events"][3]["data"] == {} and "cost_minor" not in text
    for other in ("Bram", '"r-n"', "Said by", "1234", "now his"):
        assert other not in text
    assert held["bikes"][0]["times"][0]["until"].startswith("2026-02-01")
    assert stat.S_IMODE(Path("hers/rider.json").stat().st_mode) == 0o600
    assert not Path("hers/photos").exists()
    his = ridden("riders", "export", "r-n", "--out", "his.json")
    assert his.code == 0, his.err
    told = Path("his.json").read_text("utf-8")
    assert "Said by Bram" in told and WORDS not in told and NAME not in told
    (photo,) = Path("his-photos").iterdir()
    assert Image.open(photo).size == (20, 20)
    assert ridden("riders", "export", "r-n", "--out", "his.json").code == 1


def test_an_export_on_stdout_is_json_alone(ridden: Run) -> None:
    """And one of somebody who is not there is one line on stderr."""
    assert ridden("riders", "export", "r-o").json["rider"] == "r-o"
    nobody = ridden("riders", "export", "r-nobody")
    assert (nobody.code, nobody.out) == (1, "") and "r-nobody" in nobody.err


def test_consent_is_given_and_withdrawn_with_its_day(ridden: Run) -> None:
    """The register says since when either holds."""
    taken = ridden("riders", "consent", "r-o", "--withdrawn", "--on", "2026-02-03", "--json")
    assert taken.code == 0, taken.err
    assert taken.json["may_contact"] is False
    assert taken.json["consent_at"].startswith("2026-02-03")
    assert "withdrawn 2026-02-03" in ridden("riders", "list", "r-o").out
    given = ridden("riders", "consent", "r-o", "--given")
    assert given.code == 0 and "may be contacted" in given.out
    assert ridden("riders", "list", "r-o", "--json").json[0]["may_contact"] is True
    assert ridden("riders", "consent", "r-o").code == 2
    nobody = ridden("riders", "consent", "r-nobody", "--given")
    assert nobody.code == 1 and "r-nobody" in nobody.err


def test_a_forgetting_that_was_not_finished_is_told_where_riders_are_listed(
    ridden: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With the command that finishes it."""

    def stop(*given):
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        patch.setattr("ledger.riders.Riders.remove", stop)
        assert ridden("forget", "r-o", "--yes").code == 130
    listed = ridden("riders", "list")
    assert "not finished" in listed.err and "lockring forget r-o" in listed.err
    done = ridden("forget", "r-o", "--yes")
    assert done.code == 0 and "begun before" in done.out
    assert "not finished" not in ridden("riders", "list").err


def test_a_contact_in_a_note_is_warned_of_when_recorded_and_when_brought_in(ridden: Run) -> None:
    """The event is kept; the warning does not say the number again."""
    done = ridden(
        "record", "noted", "--bike", TAG, "--set", "position=fork",
        "--set", "text=ring him on 0171 2345678",
    )  # fmt: skip
    assert done.code == 0 and "Warning" in done.err and "telephone number" in done.err
    assert "2345678" not in done.err and "register" in done.err
