"""Waiting for what a page's own script would see, asked from outside.

The pages' policy lets no text run as code, so the browser's own waiting for an expression cannot
ask twice.
"""

from __future__ import annotations

import time
from typing import Any

from playwright.sync_api import Page

EVERY_MS = 30


def until(page: Page, holds: str, arg: Any = None, *, seconds: float = 30) -> None:
    """Wait until an expression, or a function of `arg`, gives something true in a page."""
    ends = time.monotonic() + seconds
    while not page.evaluate(holds, arg):
        assert time.monotonic() < ends, f"after {seconds} s still not so: {holds}"
        page.wait_for_timeout(EVERY_MS)
