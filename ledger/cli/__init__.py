"""The command line: thin, and never a traceback in anybody's face."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence
from importlib.machinery import ModuleSpec, PathFinder


def main(arguments: Sequence[str] | None = None) -> None:
    """Run `lockring` and leave with its exit code: 0 done, 1 a problem, 2 wrong use."""
    # The matrices are small: threads of the linear algebra would only wait for each other.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # A command makes much and ends soon: looking for cycles after every 700 things is in vain.
    gc.set_threshold(100_000, 20, 20)
    sys.meta_path[:0] = [WithoutPandas, OnlyWhenUsed]
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


class OnlyWhenUsed:
    """Puts off loading what scipy names and no command uses until something of it is used.

    scipy takes every name of numpy, its wrapper of a Fortran compiler too: 0.03 s a command.
    """

    @staticmethod
    def find_spec(
        name: str, path: Sequence[str] | None = None, target: object = None
    ) -> ModuleSpec | None:
        """Give the wrapper as a module still to be loaded; leave others to the usual finders."""
        spec = PathFinder.find_spec(name, path) if name == "numpy.f2py" else None
        if spec is not None and spec.loader is not None:
            from importlib.util import LazyLoader

            spec.loader = LazyLoader(spec.loader)
        return spec
