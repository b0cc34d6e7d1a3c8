"""Small pictures of pages, kept beside the tests where LOCKRING_KEEP_SCREENS asks for them."""

from __future__ import annotations

import io
import os
from pathlib import Path

from PIL import Image

SCREENS = Path(__file__).with_name("screens")
HIGHEST = 2400
"""Rows of a picture that are kept."""


def keep(picture: bytes, name: str) -> None:
    """Keep a picture in few colours under a name; nothing where it is not asked for."""
    if not os.environ.get("LOCKRING_KEEP_SCREENS"):
        return
    SCREENS.mkdir(exist_ok=True)
    whole = Image.open(io.BytesIO(picture)).convert("RGB")
    top = whole.crop((0, 0, whole.width, min(whole.height, HIGHEST)))
    top.quantize(128, method=Image.Quantize.MEDIANCUT, dither=Image.Dither.NONE).save(
        SCREENS / name, optimize=True
    )
