"""Whatever goes wrong ends in one line that says what, and in an exit code."""

from __future__ import annotations

import errno
import gc
import os
import sys
import traceback
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from itertools import takewhile
from pathlib import Path
from typing import Any

import typer
from typer.core import TyperGroup

from ledger.errors import LedgerError, WrongUse

DONE, PROBLEM, WRONG_USE, INTERRUPTED = 0, 1, 2, 130
"""What `lockring` ends with; 130 is the shell's own sign for Ctrl-C."""

_TYPED = "lockring.typed"
REASONS = {
    errno.EACCES: "may not be read or written by you; ask whoever owns it",
    errno.EPERM: "may not be changed by you; ask whoever owns it",
    errno.EROFS: "is on a disk that can only be read",
    errno.ENOENT: "is not there",
    errno.EEXIST: "is already there",
    errno.EISDIR: "is a folder, and a file is needed",
    errno.ENOTDIR: "is not a folder, or something on the way to it is not",
    errno.ENOTEMPTY: "is a folder with something in it",
    errno.ENOSPC: "does not fit: the disk is full",
    errno.EFBIG: "does not fit: no file may grow so large here",
    errno.EDQUOT: "does not fit: your share of the disk is full",
    errno.ENAMETOOLONG: "has too long a name",
    errno.EIO: "could not be read or written: the disk reports an error",
}


class Guarded(TyperGroup):
    """The commands, with every failure turned into a line on stderr and an exit code."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        """Read what was typed, and remember it."""
        ctx.meta[_TYPED] = tuple(args)
        return super().parse_args(ctx, args)

    def invoke(self, ctx: Any) -> Any:
        """Run the command asked for."""
        with guarded():
            _refuse_several_books(ctx.meta.get(_TYPED, ()))
            return super().invoke(ctx)


def _refuse_several_books(typed: Sequence[str]) -> None:
    """Raise WrongUse where a command that takes one book is given more: the last would count."""
    from ledger.cli.options import SEVERAL

    own = list(takewhile(lambda one: one != "--", typed))
    count = sum(one == "--book" or one.startswith("--book=") for one in own)
    if count > 1 and own[0] not in SEVERAL:
        raise WrongUse(
            f"`{own[0]}` takes one book, and --book was given {count} times. Several at once are "
            f"for: {', '.join(SEVERAL)}."
        )


@contextmanager
def guarded() -> Iterator[None]:
    """Turn whatever is raised inside into a line on stderr and `typer.Exit`."""
    try:
        yield
    except (LedgerError, OSError, UnicodeError, MemoryError, KeyboardInterrupt) as error:
        raise typer.Exit(report(error)) from None
    except Exception as error:
        if isinstance(error, (typer.Exit, typer.Abort)) or _is_wrong_use(error):
            raise
        raise typer.Exit(report(error)) from None


def _is_wrong_use(error: Exception) -> bool:
    return hasattr(error, "exit_code") and hasattr(error, "format_message")


def report(error: BaseException) -> int:
    """Print what went wrong as the user should read it; give the exit code."""
    if isinstance(error, BrokenPipeError):
        return DONE
    if os.environ.get("LOCKRING_DEBUG"):
        traceback.print_exception(error, file=sys.stderr)
    from ledger.cli.output import warn

    warn(explain(error))
    if isinstance(error, KeyboardInterrupt):
        return INTERRUPTED
    return WRONG_USE if isinstance(error, WrongUse) else PROBLEM


def explain(error: BaseException) -> str:
    """Give the words for a failure."""
    if isinstance(error, LedgerError):
        return str(error)
    if isinstance(error, KeyboardInterrupt):
        return "Stopped. What was acknowledged before is recorded; nothing else is."
    if isinstance(error, UnicodeError):
        said = getattr(error, "reason", error)
        where = "If it is none of yours, it is in a file of the book: see which by lockring verify"
        return f"The text is not in UTF-8 ({said}). {where}."
    if isinstance(error, MemoryError):
        return "There is not enough memory for this; close other programs, or take a smaller part."
    if isinstance(error, OSError) and error.errno in REASONS:
        return f"{error.filename or 'The output'} {REASONS[error.errno]}."
    said = " ".join(str(error).split())[:300] or "no more is known"
    if type(error).__module__ == "sqlite3":
        return f"The riders' register (riders.sqlite) could not be used: {said}."
    # Arrow's own failures are OSErrors too, of no number.
    is_of_files = isinstance(error, OSError) and error.errno is None
    if is_of_files or type(error).__module__.split(".")[0] in ("duckdb", "_duckdb", "pyarrow"):
        return f"The book's files could not be read: {said}. See which one: lockring verify."
    if type(error).__module__.split(".")[0] in ("pydantic_core", "json"):
        return "The book holds an event that cannot be read. See which one: lockring verify."
    return (
        f"Something went wrong that was not foreseen: {type(error).__name__}: {said}. "
        "Set LOCKRING_DEBUG=1 and run it again to see where."
    )


def run(arguments: Sequence[str]) -> int:
    """Run one command line; give the exit code."""
    try:
        with guarded():
            _never_stumble_over_a_sign()
            from ledger.cli.app import app

            app(list(arguments), prog_name="lockring")
    except typer.Exit as ended:
        return int(ended.exit_code)
    except SystemExit as ended:
        return ended.code if isinstance(ended.code, int) else PROBLEM
    return DONE


def _never_stumble_over_a_sign() -> None:
    # Python has None for a stream that was closed before it started (`>&-`).
    sys.stdin = sys.stdin or Path(os.devnull).open()  # noqa: SIM115 - open to the end of the process
    sys.stdout = sys.stdout or Path(os.devnull).open("w")  # noqa: SIM115 - open to the end
    sys.stderr = sys.stderr or Path(os.devnull).open("w")  # noqa: SIM115 - open to the end
    for stream in (sys.stdout, sys.stderr):
        if hasattr(stream, "reconfigure"):
            stream.reconfigure(errors="replace")


def leave(code: int) -> None:
    """End the process, with everything printed or a word about why it could not be."""
    for stream in (sys.stdout, sys.stderr):
        try:
            stream.flush()
        except OSError as error:
            # Or the interpreter trips over the same unprinted text once more on its way out.
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())
            if not isinstance(error, BrokenPipeError):
                code = report(error) or code
    # Everything is closed and written: a last search of all there is for cycles is in vain.
    gc.freeze()
    sys.exit(code)
