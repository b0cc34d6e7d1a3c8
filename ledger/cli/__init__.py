"""The command line: thin, and never a traceback in anybody's face."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence


def main(arguments: Sequence[str] | None = None) -> None:
    """Run `lockring` and leave with its exit code: 0 done, 1 a problem, 2 wrong use."""
    # The matrices are small: threads of the linear algebra would only wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # A command makes much and ends soon: looking for cycles after every 700 things is in vain.
    gc.set_threshold(100_000, 20, 20)
    sys.meta_path.insert(0, WithoutPandas)
    from ledger.cli.guard import leave, run

    leave(run(sys.argv[1:] if arguments is None else list(arguments)))


class WithoutPandas:
    """Keeps pandas out of a process that has no use for it.

    pyarrow loads it unasked wherever it is installed, at a third of a second a command.
    """

    @staticmethod
    def find_spec(name: str, path: object = None, target: object = None) -> None:
        """Say that there is no pandas, and leave every other module to the usual finders."""
        if name == "pandas":
            raise ModuleNotFoundError("pandas is kept out of the command line", name=name)
