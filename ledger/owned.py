"""Files that nobody but their owner may open."""

from __future__ import annotations

import os
from contextlib import suppress
from pathlib import Path


def only_for_its_owner(path: Path) -> None:
    """Make a file where there is none, and let nobody but its owner open it, from the first on."""
    try:
        mode = path.stat().st_mode
    except FileNotFoundError:
        os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
        return
    if mode & 0o077:
        with suppress(OSError):
            # another account's, or on a disk that is only read: who may open it is not ours to say
            path.chmod(0o600)
