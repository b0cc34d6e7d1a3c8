"""A picture made bare: its pixels, turned upright and made small, and nothing else."""

from __future__ import annotations

import io
import struct
from dataclasses import dataclass

from PIL import Image, ImageOps

MOST_BYTES = 20 * 1024 * 1024
"""A file larger than this is refused."""
MOST_PIXELS = 64_000_000
"""So is a picture with more pixels, before they are decoded."""
MOST_SIDE = 2048
"""Longer sides are scaled down to this many pixels."""
QUALITY = 85
_MEDIA = {"JPEG": "image/jpeg", "MPO": "image/jpeg", "PNG": "image/png", "WEBP": "image/webp"}
_DAMAGED = (
    *(OSError, SyntaxError, ValueError, EOFError, IndexError, KeyError, TypeError),
    *(OverflowError, struct.error),
)
"""What decoders raise for files that are cut off, or made to be strange."""


class PictureRefused(ValueError):
    """A file that is no picture, or one too large to be kept."""


@dataclass(frozen=True, slots=True)
class Bare:
    """A picture encoded anew from its pixels."""

    content: bytes
    media_type: str
    width: int
    height: int


def bare(content: bytes) -> Bare:
    """Give a JPEG, PNG or WebP upright, at most MOST_SIDE pixels a side, without any metadata.

    Place, time, camera, comments, colour profiles and thumbnails are left behind; of an animated
    picture the first frame is kept. The same bytes give the same. Raises PictureRefused.
    """
    if len(content) > MOST_BYTES:
        most = MOST_BYTES // 1024**2
        raise PictureRefused(f"The photo is larger than {most} MB. Take it in a smaller size.")
    try:
        return _bare(content)
    except Image.DecompressionBombError:
        raise _too_many() from None
    except PictureRefused:
        raise
    except _DAMAGED:
        raise PictureRefused(
            "That is no photo that can be read. Take a JPEG, PNG or WebP."
        ) from None


def _bare(content: bytes) -> Bare:
    with Image.open(io.BytesIO(content), formats=("JPEG", "PNG", "WEBP")) as opened:
        if opened.width * opened.height > MOST_PIXELS:
            raise _too_many()
        media_type = _MEDIA[opened.format or ""]
        plain = _small(opened, media_type)
    # From the bytes of its pixels alone, so that nothing that came with them can be written.
    pixels = Image.frombytes(plain.mode, plain.size, plain.tobytes())
    return Bare(_encoded(pixels, media_type), media_type, *pixels.size)


def _small(opened: Image.Image, media_type: str) -> Image.Image:
    """Give it scaled down, upright, in plain colours; scaled first, for all else is faster then."""
    if opened.mode not in ("RGB", "RGBA", "L", "CMYK", "YCbCr"):
        opened = opened.convert("RGBA" if _is_see_through(opened, media_type) else "RGB")
    opened.thumbnail((MOST_SIDE, MOST_SIDE), Image.Resampling.LANCZOS)
    upright = ImageOps.exif_transpose(opened)
    return upright.convert("RGBA" if _is_see_through(upright, media_type) else "RGB")


def _is_see_through(image: Image.Image, media_type: str) -> bool:
    return media_type != "image/jpeg" and image.has_transparency_data


def _encoded(pixels: Image.Image, media_type: str) -> bytes:
    made = io.BytesIO()
    if media_type == "image/png":
        pixels.save(made, "PNG", optimize=True)
    else:
        pixels.save(made, media_type.rpartition("/")[2].upper(), quality=QUALITY)
    return made.getvalue()


def _too_many() -> PictureRefused:
    most = MOST_PIXELS // 1_000_000
    return PictureRefused(f"The photo has more than {most} megapixels. Take it in a smaller size.")
