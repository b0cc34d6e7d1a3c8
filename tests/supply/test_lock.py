"""The lock file: every package pinned and hashed, from nowhere in particular; and its audit."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.supply.audit import told

ROOT = Path(__file__).parents[2]
LOCKED = re.compile(r"^([a-z0-9][a-z0-9._-]*)==\S+ \\$", re.MULTILINE)


LOCKS = ("requirements", "requirements-spark")


def lock(name: str) -> str:
    """Give a lock file."""
    return (ROOT / f"{name}.lock").read_text(encoding="utf-8")


@pytest.mark.parametrize("name", LOCKS)
def test_every_package_is_pinned_and_hashed(name: str) -> None:
    """No line says anything but a version or a hash, and none says where it is from."""
    text = lock(name)
    told = "\n".join(line for line in text.splitlines() if line and not line.startswith("#"))
    for entry in re.split(r"\n(?=[a-z0-9])", told):
        head, *hashes = entry.splitlines()
        assert LOCKED.match(f"{head}\n"), head
        assert hashes
        assert all(re.fullmatch(r"    --hash=sha256:[0-9a-f]{64}( \\)?", one) for one in hashes)
    assert "://" not in text


@pytest.mark.parametrize("name", LOCKS)
def test_everything_needed_is_locked(name: str) -> None:
    """What is asked for is in the lock, under the name the lock gives it."""
    asked = (ROOT / f"{name}.in").read_text(encoding="utf-8").splitlines()
    names = {re.split(r"[\[<>=~ ]", line)[0] for line in asked if line and line[0] not in "#-"}
    locked = {re.sub(r"[._]", "-", found) for found in LOCKED.findall(lock(name))}
    assert names and {re.sub(r"[._]", "-", name) for name in names} <= locked


def test_an_audit_that_could_not_look_is_not_clean() -> None:
    """Only packages that were looked up and have no fault count as clean."""
    clean = {"name": "reader", "version": "1.0", "vulns": []}
    fault = {"id": "X-1", "fix_versions": ["1.1"]}
    faulty = {"name": "writer", "version": "1.0", "vulns": [fault]}
    missed = {"name": "other", "skip_reason": "not found"}
    assert told({"dependencies": [clean]}) == (
        ["None of 1 packages has a fault that is known."],
        True,
    )
    assert told({"dependencies": [clean, faulty]}) == (["writer 1.0: X-1, mended in 1.1"], False)
    lines, is_clean = told({"dependencies": [clean, missed]})
    assert not is_clean and "1 of 2 packages could not be looked up" in lines[0]
