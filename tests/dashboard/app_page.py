"""What the pages' tests read off a page."""

from __future__ import annotations

from collections.abc import Callable

from streamlit.testing.v1 import AppTest

Opener = Callable[..., AppTest]
"""(book, **what the address asks for) -> the app, run once."""


def shown(app: AppTest) -> str:
    """Give everything a page shows as HTML, one element a line, styles left out."""
    bodies = [element.proto.body for element in app.get("html")]
    return "\n".join(body for body in bodies if not body.startswith("<style>"))
