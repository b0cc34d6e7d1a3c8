"""The bench page's styles: its own sheet, and the shapes of verdicts on what is pressed."""

from __future__ import annotations

from pathlib import Path

from dashboard import shapes

STYLES = Path(__file__).with_name("bench.css")


def style_rules() -> str:
    """Give the styles, each verdict's press with its shape."""
    drawn = "".join(
        f'[class*="st-key-verdict-{name}"] button{{--lk-cut:{shapes.cut(name)}}}\n'
        for name in ("watch", "due", "unsafe")
    )
    return drawn + STYLES.read_text(encoding="utf-8")
