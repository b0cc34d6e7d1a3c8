"""What axe-core finds wrong on a page.

axe-core is Deque's open checker of WCAG rules (axe-playwright-python brings it).
"""

from __future__ import annotations

from typing import Any

from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page

_GRAVE = ("serious", "critical")
_ONLY_VIOLATIONS = {"resultTypes": ["violations"]}
"""Every rule is run; of those that hold not every place is gathered, which takes half the time."""


def violations(page: Page) -> list[dict[str, Any]]:
    """Give every rule that is broken, each with the nodes that break it."""
    found: list[dict[str, Any]] = Axe().run(page, options=_ONLY_VIOLATIONS).response["violations"]
    return found


def grave_violations(page: Page) -> list[dict[str, Any]]:
    """Give those that are serious or critical."""
    return [one for one in violations(page) if one["impact"] in _GRAVE]
