"""The look: one palette for light and dark, from which styles, charts and server settings come.

Verdicts are told apart by word and shape first. Their colours are a ramp that only grows heavier
(darker on light, lighter on dark), so that it holds for every kind of colour vision.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

from dashboard import bench_style, shapes

LIGHT = {
    "paper": "#f2f5f4",
    "sheet": "#ffffff",
    "groove": "#e3e9e7",
    "line": "#c3cecb",
    "edge": "#70807b",
    "ink": "#13201d",
    "soft": "#45554f",
    "accent": "#0b5560",
    "on_accent": "#ffffff",
    "within": "#586864",
    "watch": "#1d5399",
    "due": "#7c1468",
    "unsafe": "#13201d",
    "on_unsafe": "#ffffff",
    "unchecked": "#586864",
}
DARK = {
    "paper": "#0e1615",
    "sheet": "#16201e",
    "groove": "#202c2a",
    "line": "#344340",
    "edge": "#7f918c",
    "ink": "#e9f0ed",
    "soft": "#a9b9b4",
    "accent": "#74c4ce",
    "on_accent": "#0b1413",
    "within": "#93a5a0",
    "watch": "#86b4f5",
    "due": "#f4b3ea",
    "unsafe": "#ffffff",
    "on_unsafe": "#0e1615",
    "unchecked": "#93a5a0",
}
SEVERITY = ("within", "watch", "due", "unsafe")
"""Verdict colours from the lightest matter to the gravest."""

BODY_FONT = "sans-serif"
HEADING_FONT = "serif"
CODE_FONT = "monospace"
"""The families that come with the server under the SIL Open Font License; nothing is fetched."""

STYLES = Path(__file__).with_name("style.css")
ICON = Path(__file__).with_name("icon.png")


def _variables(palette: dict[str, str]) -> str:
    return "".join(f"--lk-{name.replace('_', '-')}:{colour};" for name, colour in palette.items())


@cache
def style_sheet() -> str:
    """Give the whole style sheet, its colours following the system's light or dark setting."""
    return (
        f":root{{color-scheme:light;{_variables(LIGHT)}}}\n"
        f"@media (prefers-color-scheme: dark){{:root{{color-scheme:dark;{_variables(DARK)}}}}}\n"
        + shapes.style_rules()
        + STYLES.read_text(encoding="utf-8")
        + bench_style.style_rules()
    )


def _server_colours(section: str, palette: dict[str, str]) -> dict[str, str]:
    named = {
        "primaryColor": "accent",
        "backgroundColor": "paper",
        "secondaryBackgroundColor": "sheet",
        "textColor": "ink",
        "linkColor": "accent",
        "borderColor": "edge",
    }
    return {f"{section}.{option}": palette[colour] for option, colour in named.items()}


def server_options() -> dict[str, str]:
    """Give the server's own theme options, so that its widgets wear the same palette."""
    return {
        "theme.font": BODY_FONT,
        "theme.headingFont": HEADING_FONT,
        "theme.codeFont": CODE_FONT,
        "theme.baseRadius": "3px",
        "theme.buttonRadius": "3px",
        **_server_colours("theme.light", LIGHT),
        **_server_colours("theme.dark", DARK),
    }


def _channel(value: int) -> float:
    share = value / 255
    return share / 12.92 if share <= 0.04045 else ((share + 0.055) / 1.055) ** 2.4


def luminance(colour: str) -> float:
    """Give the relative luminance of `#rrggbb`, 0 to 1 (WCAG 2.2, relative luminance)."""
    red, green, blue = (_channel(int(colour[start : start + 2], 16)) for start in (1, 3, 5))
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first: str, second: str) -> float:
    """Give the contrast ratio of two colours, 1 to 21 (WCAG 2.2, contrast ratio)."""
    lighter, darker = sorted((luminance(first), luminance(second)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)
