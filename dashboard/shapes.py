"""The drawn shapes: one a verdict, each with its own outline, so that none rests on colour."""

from __future__ import annotations

from urllib.parse import quote

_OUTLINE = 'fill="none" stroke="#000" stroke-width="1.8"'

SHAPES = {
    "within": f'<circle cx="8" cy="8" r="5.6" {_OUTLINE}/>',
    "watch": f'<path d="M8 1.8 14.2 8 8 14.2 1.8 8Z" {_OUTLINE}/><path d="M8 1 8 15 1 8Z"/>',
    "due": '<path d="M8 1 15.4 14.6H.6Z"/>',
    "unsafe": '<path fill-rule="evenodd" d="M5 .6h6L15.4 5v6L11 15.4H5L.6 11V5Z'
    'M7.1 3.6h1.8V9H7.1ZM7.1 10.6h1.8v1.9H7.1Z"/>',
    "unchecked": f'<circle cx="8" cy="8" r="5.6" stroke-dasharray="2.4 2" {_OUTLINE}/>',
    "unjudged": '<path d="M1.5 7h13v2h-13Z"/>',
    "open": f'<path d="M2.2 2.2h11.6v11.6H2.2Z" {_OUTLINE}/><path d="M5.4 5.4h5.2v5.2H5.4Z"/>',
    "mark": '<circle cx="8" cy="8" r="6.1" fill="none" stroke="#000" stroke-width="1.9"'
    ' stroke-dasharray="2.6 .594"/>'
    '<circle cx="8" cy="8" r="3.5" fill="none" stroke="#000" stroke-width="1.2"/>',
}


def style_rules() -> str:
    """Give the style rules that cut each shape out of the colour of the text beside it."""
    return "".join(f".lk-shape-{name}{{--lk-cut:{cut(name)}}}\n" for name in SHAPES)


def cut(name: str) -> str:
    """Give one shape as the url a mask is cut by."""
    return f'url("data:image/svg+xml,{_drawing(SHAPES[name])}")'


def _drawing(inner: str) -> str:
    return quote(f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 16 16">{inner}</svg>')
