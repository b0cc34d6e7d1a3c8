"""Damage copies of a book at random and put commands to each; for a process of its own.

`python -m tests.hostile.damaged_runs BOOK FOLDER SEED COUNT` prints a line a damage that was not
told well, and at the end how many of each kind there were. A crash of the process is a finding.
"""

from __future__ import annotations

import collections
import random
import re
import shutil
import sys
from collections.abc import Callable
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
from typer.testing import CliRunner

from ledger.book import Book
from ledger.cli.app import app

_FOOTER = 8


def _flip(file: Path, start: int, end: int, draw: random.Random, times: int = 1) -> None:
    content = bytearray(file.read_bytes())
    for _ in range(times):
        content[draw.randrange(start % len(content), end % len(content) or len(content))] ^= (
            1 << draw.randrange(8)
        )
    file.write_bytes(content)


def _footer_size(file: Path) -> int:
    return int.from_bytes(file.read_bytes()[-_FOOTER:-4], "little")


def in_footer(file: Path, draw: random.Random) -> None:
    """Turn one to three bits of the footer."""
    _flip(file, -_FOOTER - _footer_size(file), -_FOOTER, draw, draw.choice((1, 1, 3)))


def in_pages(file: Path, draw: random.Random) -> None:
    """Turn a bit of the pages."""
    _flip(file, 4, -_FOOTER - _footer_size(file), draw)


def cut(file: Path, draw: random.Random) -> None:
    """Cut the end off."""
    content = file.read_bytes()
    file.write_bytes(content[: draw.randrange(len(content))])


def long_footer(file: Path, draw: random.Random) -> None:
    """Say another length of the footer."""
    content = bytearray(file.read_bytes())
    content[-_FOOTER:-4] = draw.randrange(1 << 32).to_bytes(4, "little")
    file.write_bytes(content)


def foreign(file: Path, draw: random.Random) -> None:
    """Put somebody's Parquet there, with columns of ours and others."""
    rows = draw.randrange(4)
    columns = {"seq": list(range(rows)), "bike": ["x"] * rows, "other": [None] * rows}
    pq.write_table(pa.table(columns), file)


def emptied(file: Path, draw: random.Random) -> None:
    """Leave nothing, or a few zeros, in it."""
    file.write_bytes(b"\0" * draw.choice((0, 1, 12, 4096)))


def a_folder(file: Path, draw: random.Random) -> None:
    """Put a folder there."""
    file.unlink()
    file.mkdir()


def another(file: Path, draw: random.Random) -> None:
    """Put another commit's file there."""
    shutil.copy(draw.choice(sorted(file.parent.iterdir())), file.with_name("x"))
    file.with_name("x").replace(file)


def loop(file: Path, draw: random.Random) -> None:
    """Put a link to itself there."""
    file.unlink()
    file.symlink_to(file)


def odd_names(file: Path, draw: random.Random) -> None:
    """Put files of names beside it that are nearly ones of ours."""
    for name in ("c-1.parquet", "s-3-2.parquet", "c-9999999999999999999999.parquet", "c-.parquet",
                 "s-000000000001-000000000002.parquet.bak", "C-000000000001.PARQUET", "-", "\n",
                 "c-00000000000１.parquet", "..parquet", "c-000000000001.parquet\n"):  # fmt: skip
        file.with_name(name).write_bytes(draw.randbytes(20))


def settings(file: Path, draw: random.Random) -> None:
    """Turn bits of book.toml."""
    _flip(file.parent.parent / "book.toml", 0, 0, draw, 2)


def register(file: Path, draw: random.Random) -> None:
    """Turn bits of the register, or put noise there."""
    path = file.parent.parent / "riders.sqlite"
    if draw.random() < 0.5:
        path.write_bytes(draw.randbytes(draw.choice((0, 10, 5000))))
    else:
        _flip(path, 0, 0, draw, 40)


Damage = Callable[[Path, random.Random], None]
DAMAGES: tuple[Damage, ...] = (
    in_footer, in_footer, in_pages, cut, long_footer, foreign, emptied, a_folder, another, loop,
    odd_names, settings, register,
)  # fmt: skip


def commands(tag: str) -> tuple[tuple[str, ...], ...]:
    """Give what is asked of a damaged book."""
    return (
        ("state", tag), ("history", tag), ("bikes",), ("wear",), ("due",), ("faults",), ("margin",),
        ("labour",), ("clock",), ("verify", "--json"), ("receipt", "1"), ("compact", "--now"),
        ("strike", "00000000-0000-7000-8000-000000000000", "--reason", "x", "--actor", "ada"),
    )  # fmt: skip


def told_well(code: int, said: str, is_json: bool) -> bool:
    """Say whether a command ended as commands do: in words, with nothing of its inside."""
    is_inside = re.search(r"Traceback|Error\(|\bat 0x|site-packages|ledger/\w+", said)
    return code in (0, 1, 2) and not is_inside and (code == 0 or bool(said.strip()) or is_json)


def main() -> None:
    """Run."""
    source, folder = Path(sys.argv[1]), Path(sys.argv[2])
    draw, count = random.Random(int(sys.argv[3])), int(sys.argv[4])
    asked = commands(Book.open(source).bikes()[0])
    ended: collections.Counter[str] = collections.Counter()
    for number in range(count):
        shutil.rmtree(folder, ignore_errors=True)
        shutil.copytree(source, folder, ignore=shutil.ignore_patterns("derived"))
        damage, command = draw.choice(DAMAGES), draw.choice(asked)
        file = draw.choice(sorted((folder / "events").iterdir()))
        print(f"{number} {damage.__name__} {file.name} {' '.join(command)}", flush=True)
        damage(file, draw)
        done = CliRunner().invoke(app, [*command, "--book", str(folder)])
        is_told = told_well(done.exit_code, done.output, "--json" in command)
        if not is_told or not isinstance(done.exception, (SystemExit, type(None))):
            print(f"NOT TOLD: {done.exit_code} {done.exception!r} {done.output[-600:]!r}")
        print(f"    exit {done.exit_code}")
        ended[f"{damage.__name__} {done.exit_code}"] += 1
    print("ended", dict(sorted(ended.items())))


if __name__ == "__main__":
    main()
