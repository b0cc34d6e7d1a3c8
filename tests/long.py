"""How often the longest tests try again: a part of it with the others, all of it by `make long`."""

from __future__ import annotations

import os

IS_LONG = bool(os.environ.get("LOCKRING_LONG"))


def times(whole: int, usual: int) -> int:
    """Give how many tries: `whole` of `make long`, `usual` of `make test`."""
    return whole if IS_LONG else usual
