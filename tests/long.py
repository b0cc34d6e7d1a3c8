"""How much the longest tests try: a part of it with the others, all of it by `make long`."""

from __future__ import annotations

import os
from typing import TypeVar

Tries = TypeVar("Tries")

IS_LONG = bool(os.environ.get("LOCKRING_LONG"))


def times(whole: Tries, usual: Tries) -> Tries:
    """Give how many tries, or which: `whole` of `make long`, `usual` of `make test`."""
    return whole if IS_LONG else usual
