"""A picture made bare: nothing that came with it is left."""

from __future__ import annotations

import io
import struct
import zlib
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image, ImageCms, PngImagePlugin

from ledger import pictures
from ledger.pictures import MOST_SIDE, PictureRefused, bare

SECRET = "Quay 7, under the crane"


def picture(width: int = 64, height: int = 48, mode: str = "RGB") -> Image.Image:
    """A picture whose left half is red and whose right half is blue."""
    made = Image.new(mode, (width, height), (220, 30, 30) if mode == "RGB" else (220, 30, 30, 90))
    fill = (30, 30, 220) if mode == "RGB" else (30, 30, 220, 255)
    made.paste(fill, (width // 2, 0, width, height))
    return made


def saved(image: Image.Image, form: str, **more: Any) -> bytes:
    made = io.BytesIO()
    image.save(made, form, **more)
    return made.getvalue()


def opened(content: bytes) -> Image.Image:
    image = Image.open(io.BytesIO(content))
    image.load()
    return image


def markers(content: bytes) -> set[int]:
    """The markers of a JPEG's segments, read byte by byte as ITU-T T.81 B.1 lays them out."""
    found, place = set(), 2
    while content[place] == 0xFF and content[place + 1] != 0xDA:
        found.add(content[place + 1])
        place += 2 + struct.unpack(">H", content[place + 2 : place + 4])[0]
    return found


def chunks(content: bytes) -> set[bytes]:
    """The chunks of a PNG, as ISO/IEC 15948 5.3 lays them out."""
    found, place = set(), 8
    while place < len(content):
        size = struct.unpack(">I", content[place : place + 4])[0]
        found.add(content[place + 4 : place + 8])
        place += size + 12
    return found


def riff(content: bytes) -> set[bytes]:
    """The chunks of a WebP's RIFF container (RFC 9649 2.3)."""
    found, place = set(), 12
    while place < len(content):
        size = struct.unpack("<I", content[place + 4 : place + 8])[0]
        found.add(content[place : place + 4])
        place += 8 + size + size % 2
    return found


exif = st.dictionaries(
    st.sampled_from((0x010E, 0x010F, 0x0110, 0x0131, 0x013B, 0x8298, 0x9C9C)),
    st.text("abcdefghij ", min_size=1, max_size=30),
    max_size=5,
)
gps = st.tuples(st.integers(0, 89), st.integers(0, 59), st.integers(0, 5999))


def with_everything(form: str, tags: dict[int, str], place: tuple[int, int, int]) -> bytes:
    """A picture with EXIF and its GPS, XMP, a colour profile, and text where the form has it."""
    told = Image.Exif()
    for tag, text in {**tags, 0x010E: SECRET}.items():
        told[tag] = text
    told.get_ifd(0x8825).update({1: "N", 2: (*place[:2], place[2] / 100), 29: "2026:03:02"})
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    xmp = f"<x:xmpmeta xmlns:x='adobe:ns:meta/'>{SECRET}</x:xmpmeta>".encode()
    more: dict[str, Any] = {"exif": told, "icc_profile": profile}
    if form == "PNG":
        text = PngImagePlugin.PngInfo()
        text.add_text("Comment", SECRET)
        text.add_itxt("XML:com.adobe.xmp", xmp.decode(), zip=True)
        more["pnginfo"] = text
    elif form == "JPEG":
        more |= {"comment": SECRET.encode(), "xmp": xmp}
    else:
        more["xmp"] = xmp
    return saved(picture(), form, **more)


@settings(max_examples=40)
@given(form=st.sampled_from(("JPEG", "PNG", "WEBP")), tags=exif, place=gps)
def test_no_metadata_is_left(form: str, tags: dict[int, str], place: tuple[int, int, int]) -> None:
    """Whatever EXIF, GPS, XMP, profile, comment or text a picture came with, what is kept has
    only what its pixels need: told by the container's own segments, and by another reading."""
    content = with_everything(form, tags, place)
    assert SECRET.encode() in content
    kept = bare(content)
    assert SECRET.encode() not in kept.content
    image = opened(kept.content)
    assert not image.getexif() and not {"exif", "xmp", "icc_profile", "comment"} & image.info.keys()
    if form == "JPEG":
        # JFIF, quantisation, frame, Huffman tables; no APP1 (EXIF, XMP), APP2 (ICC), COM.
        assert markers(kept.content) <= {0xE0, 0xDB, 0xC0, 0xC2, 0xC4}
    elif form == "PNG":
        assert chunks(kept.content) == {b"IHDR", b"IDAT", b"IEND"}
    else:
        assert riff(kept.content) <= {b"VP8 ", b"VP8L"}


def test_a_picture_is_kept_upright() -> None:
    """One that its camera marked as turned is turned, since the mark does not stay."""
    told = Image.Exif()
    told[0x0112] = 6
    image = opened(bare(saved(picture(64, 48), "JPEG", exif=told, quality=95)).content)
    assert image.size == (48, 64)
    red, blue = image.getpixel((24, 8)), image.getpixel((24, 56))
    assert red[0] > 180 > 80 > red[2] and blue[2] > 180 > 80 > blue[0]


@pytest.mark.parametrize(("width", "height"), [(4096, 1024), (1000, 3000), (2048, 2048), (9, 5)])
def test_long_sides_are_scaled_down_and_short_ones_stay(width: int, height: int) -> None:
    """No side is longer than 2,048 pixels, the shape stays, and nothing is made larger."""
    kept = bare(saved(picture(width, height), "JPEG"))
    assert max(kept.width, kept.height) == min(max(width, height), MOST_SIDE)
    assert abs(kept.width / kept.height - width / height) < 0.01 * width / height
    assert opened(kept.content).size == (kept.width, kept.height)


def test_what_is_seen_through_stays_so() -> None:
    """A PNG with transparency keeps it; a JPEG has none."""
    image = opened(bare(saved(picture(mode="RGBA"), "PNG")).content)
    assert image.mode == "RGBA" and image.getpixel((2, 2))[3] == 90


def test_of_a_moving_picture_the_first_is_kept() -> None:
    """An animated WebP gives one still frame."""
    still = [picture(), picture().rotate(180)]
    content = saved(still[0], "WEBP", save_all=True, append_images=still[1:], duration=100)
    image = opened(bare(content).content)
    assert getattr(image, "n_frames", 1) == 1 and image.getpixel((2, 2))[0] > 150


def test_the_same_bytes_give_the_same() -> None:
    """So that a photo that is sent twice has one name."""
    content = with_everything("JPEG", {}, (1, 2, 3))
    assert bare(content) == bare(content)


def png_of(width: int, height: int) -> bytes:
    """A PNG that says it is that large, and holds next to nothing."""

    def chunk(kind: bytes, data: bytes) -> bytes:
        check = zlib.crc32(kind + data)
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", check)

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    data = chunk(b"IHDR", header) + chunk(b"IDAT", zlib.compress(b"\0" * 100))
    return b"\x89PNG\r\n\x1a\n" + data + chunk(b"IEND", b"")


@pytest.mark.parametrize(("width", "height"), [(8001, 8000), (60_000, 60_000), (2**31 - 1, 9)])
def test_a_bomb_is_refused_before_it_is_unpacked(width: int, height: int) -> None:
    """A small file that would unpack to a great many pixels is refused by what it says."""
    with pytest.raises(PictureRefused, match=r"megapixels|no photo"):
        bare(png_of(width, height))


def test_a_file_that_is_too_large_is_refused() -> None:
    """By its size alone, whatever it holds."""
    with pytest.raises(PictureRefused, match="20 MB"):
        bare(b"\xff\xd8" + b"\0" * pictures.MOST_BYTES)


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"not a picture",
        b"<svg xmlns='http://www.w3.org/2000/svg'/>",
        saved(picture(), "GIF"),
        saved(picture(), "BMP"),
        saved(picture(), "TIFF"),
        saved(picture(), "PDF"),
        saved(picture(), "PNG")[:60],
        saved(picture(300, 300), "JPEG")[:400],
        saved(picture(), "WEBP")[:40],
    ],
)
def test_what_is_no_photo_is_refused(content: bytes) -> None:
    """Text, other kinds of picture, and files that are cut off: refused in one sentence."""
    with pytest.raises(PictureRefused, match="JPEG, PNG or WebP"):
        bare(content)


@settings(max_examples=200)
@given(
    form=st.sampled_from(("JPEG", "PNG", "WEBP")),
    place=st.integers(0, 2000),
    noise=st.binary(min_size=1, max_size=12),
)
def test_a_damaged_file_is_refused_or_kept_bare(form: str, place: int, noise: bytes) -> None:
    """Whatever bytes are changed, there is a picture without metadata or a refusal."""
    content = bytearray(with_everything(form, {}, (1, 2, 3)))
    place %= len(content)
    content[place : place + len(noise)] = noise
    try:
        kept = bare(bytes(content))
    except PictureRefused:
        return
    assert SECRET.encode() not in kept.content and opened(kept.content).size
