from __future__ import annotations

import json
import urllib.error
import urllib.request
from pathlib import Path

import pytest
from workbench import Run

from demo_events.generate import write
from demo_events.spool import Plan


@pytest.fixture(scope="module")
def small_demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A small workshop made by the same generator as the demo."""
    folder = tmp_path_factory.mktemp("demo")
    write(Plan.of_events(600, 3, None), folder)
    return folder


def test_the_demo_is_a_whole_book(lockring: Run, small_demo: Path) -> None:
    """demo builds a book that verifies, with every event, and names in the register."""
    done = lockring("demo", "--from", str(small_demo), "--book", "harbour")
    assert (done.code, done.err) == (0, "")
    count = json.loads((small_demo / "truth.json").read_text())["settings"]["events"]
    assert f"{count:,} events" in done.out
    assert lockring("verify", "--json", "--book", "harbour").json["events"] == count
    assert lockring("riders", "list", "--json", "--book", "harbour").json[0]["name"]
    bike = lockring("bikes", "--limit", "1", "--json", "--book", "harbour").json[0]["bike"]
    state = lockring("state", bike, "--json", "--book", "harbour").json
    assert state["events_used"] > 1
    assert lockring("history", bike, "--book", "harbour").code == 0
    assert sorted(path.name for path in Path().iterdir()) == ["harbour"]


def test_the_demo_never_touches_what_is_there(lockring: Run, small_demo: Path) -> None:
    """demo refuses a folder that holds anything."""
    Path("book").mkdir()
    Path("book/notes.txt").write_text("mine")
    assert lockring("demo", "--from", str(small_demo)).code == 1
    assert [path.name for path in Path("book").iterdir()] == ["notes.txt"]


def test_a_demo_that_cannot_be_built_leaves_nothing(lockring: Run, small_demo: Path) -> None:
    """Where the demo's events cannot be read, demo ends with 1 and leaves no half-made book."""
    assert lockring("demo", "--from", ".").code == 1
    broken = Path("broken")
    broken.mkdir()
    for name in ("truth.json", "riders.parquet"):
        (broken / name).write_bytes((small_demo / name).read_bytes())
    (broken / "events.parquet").write_bytes(b"PAR1 and no more")
    done = lockring("demo", "--from", "broken", "--book", "harbour")
    assert done.code == 1
    assert "not foreseen" not in done.err
    assert [path.name for path in Path().iterdir()] == ["broken"]


@pytest.mark.slow
def test_the_demo_as_it_comes(lockring: Run) -> None:
    """The example of the help, run as it stands, builds the demo that is in the folder."""
    done = lockring("demo")
    assert done.code == 0, done.err
    assert lockring("bikes", "--json").json


@pytest.mark.slow
def test_the_dashboard_serves_the_book(shop: Run, tmp_path: Path) -> None:
    """dashboard serves pages over the book on this machine's own address until it is stopped."""
    import socket
    import subprocess
    import sys
    import time

    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        port = probe.getsockname()[1]
    command = [sys.executable, "-c", "from ledger.cli import main; main()"]
    served = subprocess.Popen(
        [*command, "dashboard", "--port", str(port)],
        cwd=tmp_path, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True,
    )  # fmt: skip
    try:
        until = time.monotonic() + 90
        while time.monotonic() < until:
            try:
                with urllib.request.urlopen(f"http://127.0.0.1:{port}/", timeout=5) as page:
                    assert page.status == 200
                    break
            except (urllib.error.URLError, ConnectionError, TimeoutError):
                assert served.poll() is None, served.communicate()
                time.sleep(0.5)
        else:
            pytest.fail("the dashboard never answered")
    finally:
        served.terminate()
        _, err = served.communicate(timeout=30)
    assert "Traceback" not in err
