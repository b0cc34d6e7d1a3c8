"""The command line: thin, and never a traceback in anybody's face."""

from __future__ import annotations

import sys
from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> None:
    """Run `lockring` and leave with its exit code: 0 done, 1 a problem, 2 wrong use."""
    from ledger.cli.guard import leave, run

    leave(run(sys.argv[1:] if arguments is None else list(arguments)))
