"""Ways in which a kept file may be damaged."""

from pathlib import Path


def cut_off(path: Path) -> None:
    path.write_bytes(path.read_bytes()[:-100])


def emptied(path: Path) -> None:
    path.write_bytes(b"")


def one_bit_turned(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)
