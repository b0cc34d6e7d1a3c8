"""Memory that nobody uses any more, given back."""

from __future__ import annotations

import contextlib
import ctypes

import pyarrow as pa


def give_back() -> None:
    """Give the system back what Arrow and the C library hold of memory that nobody uses.

    What was made of a great book leaves as much of it as it took, and what is made next comes on
    top. Where the C library has no such call (it is glibc's), only Arrow's part goes.
    """
    pa.default_memory_pool().release_unused()
    with contextlib.suppress(AttributeError, OSError):
        ctypes.CDLL(None).malloc_trim(0)
