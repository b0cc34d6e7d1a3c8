"""The README's tour runs as it is written."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")


def tour():
    blocks = re.findall(r"```console\n(.*?)```", README, flags=re.DOTALL)
    return [line[2:] for block in blocks for line in block.splitlines() if line.startswith("$ ")]


@pytest.mark.slow
def test_the_tour_runs_as_written(tmp_path):
    """Every command of the five-minute tour ends well, in order, in one shell."""
    commands = tour()
    assert len(commands) > 10
    environment = {**os.environ, "PATH": f"{Path(sys.executable).parent}:{os.environ['PATH']}"}
    script = "set -e\n" + "\n".join(commands)
    done = subprocess.run(
        ["bash", "-c", script],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "Traceback" not in done.stdout + done.stderr
    assert "Did you mean" in done.stderr, "the refusal in the tour names the nearest word"
    assert (tmp_path / "book.jsonl").stat().st_size > 0


def test_the_python_in_the_readme_runs(capsys):
    """The example without a book runs as written and prints finite figures."""
    (example,) = re.findall(r"```python\n(.*?)```", README, flags=re.DOTALL)
    exec(compile(example, "README.md", "exec"), {})
    printed = capsys.readouterr().out
    assert "% per 1,000 km" in printed
    assert "km to go" in printed
    assert "nan" not in printed and "inf" not in printed


def test_the_readme_opens_with_the_job_in_one_paragraph():
    """The first thing after the title is one paragraph on what the program is for."""
    title, paragraph, heading = README.split("\n\n")[:3]
    assert title == "# Lockring"
    assert "workshop" in paragraph and "\n" not in paragraph
    assert heading.startswith("## ")


def test_every_make_target_the_readme_names_exists():
    """The README names no make target that the Makefile lacks."""
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    named = re.findall(r"(?:^|`)make ([a-z]+)\b", README, flags=re.MULTILINE)
    assert "run" in named and "test" in named
    for target in named:
        assert re.search(rf"^{target}:", makefile, flags=re.MULTILINE), target
