"""The palette for every kind of colour vision, and every colour of text on every ground it has."""

from __future__ import annotations

import re
from itertools import combinations

import numpy as np
import numpy.typing as npt
import pytest

from dashboard import markup, shapes, theme
from dashboard.chart_theme import VERDICT_MARKS

Vector = npt.NDArray[np.float64]
THEMES = {"light": theme.LIGHT, "dark": theme.DARK}
GROUNDS = ("paper", "sheet", "groove")
TEXTS = ("ink", "soft", "accent", "within", "watch", "due", "unsafe", "unchecked")
LINES = ("edge",)
"""Colours of borders that say where something can be typed or pressed."""
DECORATION = {"line", "groove", "sheet", "paper"}
"""Grounds, and hairlines between rows, which tell nothing that words do not."""
VISIONS = {
    "usual": np.eye(3),
    "protanopia": np.array([
        [0.152286, 1.052583, -0.204868],
        [0.114503, 0.786281, 0.099216],
        [-0.003882, -0.048116, 1.051998],
    ]),
    "deuteranopia": np.array([
        [0.367322, 0.860646, -0.227968],
        [0.280085, 0.672501, 0.047413],
        [-0.011820, 0.042940, 0.968881],
    ]),
    "tritanopia": np.array([
        [1.255528, -0.076749, -0.178779],
        [-0.078411, 0.930809, 0.147602],
        [0.004733, 0.691367, 0.303900],
    ]),
}  # fmt: skip
"""Linear sRGB as it is seen, at severity 1.0: G. M. Machado, M. M. Oliveira, L. A. F. Fernandes, A
physiologically-based model for simulation of color vision deficiency, IEEE TVCG 15 (2009)."""
TOLD_APART = 12.0
"""CIE 1976 colour difference; about 2.3 is just noticeable (Mahy and others, Color Res. Appl. 19,
1994), so this is more than five times as much."""


def linear(colour: str) -> Vector:
    """Give `#rrggbb` as linear sRGB (IEC 61966-2-1)."""
    shares = np.array([int(colour[start : start + 2], 16) / 255 for start in (1, 3, 5)])
    return np.where(shares <= 0.04045, shares / 12.92, ((shares + 0.055) / 1.055) ** 2.4)


def lab(rgb: Vector) -> Vector:
    """Give linear sRGB as CIE L*a*b* under D65 (CIE 15:2004)."""
    to_xyz = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750],
                       [0.0193339, 0.1191920, 0.9503041]])  # fmt: skip
    shares = to_xyz @ np.clip(rgb, 0, 1) / np.array([0.95047, 1.0, 1.08883])
    root = np.where(shares > (6 / 29) ** 3, np.cbrt(shares), shares / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.array([116 * root[1] - 16, 500 * (root[0] - root[1]), 200 * (root[1] - root[2])])


def difference(first: str, second: str, vision: str) -> float:
    """Give how far apart two colours are as somebody sees them."""
    seen = [lab(VISIONS[vision] @ linear(colour)) for colour in (first, second)]
    return float(np.linalg.norm(seen[0] - seen[1]))


def test_white_and_red_stand_where_they_are_published() -> None:
    """Of sRGB, white is L* 100, and pure red L* 53.24, a* 80.09, b* 67.20.

    Source: B. Lindbloom's calculator for sRGB under D65, figures from memory.
    """
    assert lab(linear("#ffffff")) == pytest.approx([100, 0, 0], abs=0.02)
    assert lab(linear("#ff0000")) == pytest.approx([53.24, 80.09, 67.20], abs=0.02)


def test_who_lacks_red_cones_cannot_tell_what_is_told_apart_by_them_alone() -> None:
    """A green and a red that look far apart are near for protanopia: the check can fail."""
    assert difference("#c04040", "#6f7f2f", "usual") > 60
    assert difference("#c04040", "#6f7f2f", "protanopia") < 0.6 * difference(
        "#c04040", "#6f7f2f", "usual"
    )


@pytest.mark.parametrize("vision", VISIONS)
@pytest.mark.parametrize("name", THEMES)
def test_verdict_colours_are_told_apart_by_everybody(name: str, vision: str) -> None:
    """Whatever one's colour vision, any two verdicts differ by far more than can just be seen."""
    palette = THEMES[name]
    for first, second in combinations(theme.SEVERITY, 2):
        apart = difference(palette[first], palette[second], vision)
        assert apart >= TOLD_APART, (first, second, round(apart, 1))


@pytest.mark.parametrize("name", THEMES)
def test_verdicts_differ_in_grey_too(name: str) -> None:
    """Printed without colour, a graver verdict is still lighter or darker by six L* or more."""
    palette = THEMES[name]
    light = [lab(linear(palette[verdict]))[0] for verdict in theme.SEVERITY]
    steps = np.diff(light)
    assert np.all(np.sign(steps) == np.sign(steps[0]))
    assert np.abs(steps).min() >= 6


def test_every_verdict_has_a_shape_of_its_own() -> None:
    """On the page and in charts no two verdicts share an outline, and each has one."""
    drawn = [shapes.SHAPES[kind] for kind in set(markup.CLASSES.values())]
    assert len(set(drawn)) == len(drawn) == len(set(markup.CLASSES.values()))
    marks = [shape for _, _, shape in VERDICT_MARKS]
    assert len(set(marks)) == len(marks) == len(markup.CLASSES)


@pytest.mark.parametrize("name", THEMES)
@pytest.mark.parametrize("ground", GROUNDS)
def test_every_text_on_every_ground_passes(name: str, ground: str) -> None:
    """Text has 4.5 to 1 on each ground, a border of a field 3 to 1 (WCAG 2.2, 1.4.3 and 1.4.11)."""
    palette = THEMES[name]
    for colour in TEXTS:
        assert theme.contrast(palette[colour], palette[ground]) >= 4.5, colour
    for colour in LINES:
        assert theme.contrast(palette[colour], palette[ground]) >= 3, colour


@pytest.mark.parametrize("name", THEMES)
def test_what_is_written_on_a_colour_passes(name: str) -> None:
    """Text on the accent, on unsafe and on ink, as buttons and marks have it, has 4.5 to 1."""
    palette = THEMES[name]
    for text, ground in (("on_accent", "accent"), ("on_unsafe", "unsafe"), ("paper", "ink")):
        assert theme.contrast(palette[text], palette[ground]) >= 4.5, (text, ground)


def test_no_colour_of_the_palette_is_left_out() -> None:
    """Each name of the palette is checked as text, line or ground here, in both themes."""
    checked = {*TEXTS, *LINES, *DECORATION, "on_accent", "on_unsafe"}
    assert set(theme.LIGHT) == set(theme.DARK) == checked


def test_styles_use_the_palette_alone() -> None:
    """No style names a colour of its own, but black, white and greys of the printed page."""
    for path in sorted(theme.STYLES.parent.glob("*.css")):
        sheet = re.sub(r"/\*.*?\*/", "", path.read_text("utf-8"), flags=re.S)
        screen = re.sub(r"@media print \{.*?\n\}", "", sheet, flags=re.S)
        assert re.findall(r"#[0-9a-fA-F]{3,8}\b|rgba?\(|hsla?\(", screen) == [], path.name
