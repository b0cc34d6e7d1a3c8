"""The whole demo's book, built once for all that only read it."""

from __future__ import annotations

import fcntl
import os
from pathlib import Path

import pytest

import demo_events
from ledger.cli.demo import build

FOLDER = Path(demo_events.__file__).parent


def whole_demo(factory: pytest.TempPathFactory) -> Path:
    """Give its folder; whoever comes first builds it, in whichever process. Do not record in it."""
    own = factory.getbasetemp()
    root = own.parent if "PYTEST_XDIST_WORKER" in os.environ else own
    with (root / "whole-demo.lock").open("w") as lock:
        fcntl.flock(lock, fcntl.LOCK_EX)
        path = root / "whole-demo"
        if not path.exists():
            build(FOLDER, root / "being-built")
            (root / "being-built").rename(path)
    return path
