"""What the command line's tests share: one bike's tag, how a command ended, a book's files."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

TAG = "7K3M9QXA"


@dataclass(frozen=True)
class Ended:
    """How one command ended."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """What it printed, read as JSON."""
        assert self.out, self.err
        return json.loads(self.out)


Run = Callable[..., Ended]


def snapshot(folder: Path) -> dict[str, bytes]:
    """Give every event file of a book with its bytes."""
    return {path.name: path.read_bytes() for path in sorted((folder / "events").iterdir())}
