"""How much memory a DuckDB connection takes for itself, and where it lays what does not fit.

DuckDB alone would take most of a machine's memory, and lay what does not fit in whichever folder
the process was started in.
"""

from __future__ import annotations

import shutil
import tempfile
import weakref
from collections.abc import Callable

import duckdb

MOST_GIB = 3.0
"""Arrow tables and Python's own come on top of it: an aggregate stays under 4 GB."""
_GIB_IN = {"GiB": 1.0, "TiB": 1024.0}


def bound(connection: duckdb.DuckDBPyConnection, owner: object) -> Callable[[], object]:
    """Bound a connection's memory; what does not fit goes to a private folder of its own.

    The folder lies in the system's temporary folder. It is removed when what is given back is
    called, when `owner` is collected, or when the process ends. Where no folder can be made,
    what does not fit is refused by DuckDB.
    """
    said = connection.execute("select current_setting('memory_limit')").fetchone()
    if said and _gib(said[0]) > MOST_GIB:
        connection.execute(f"set global memory_limit = '{MOST_GIB}GiB'")
    try:
        # for its user alone: it holds what a book holds
        folder = tempfile.mkdtemp(prefix="lockring-")
    except OSError:
        connection.execute("set global temp_directory = ''")
        return lambda: None
    quoted = folder.replace("'", "''")
    connection.execute(f"set global temp_directory = '{quoted}'")
    return weakref.finalize(owner, shutil.rmtree, folder, ignore_errors=True)


def _gib(said: str) -> float:
    """Give how much a setting says, as DuckDB words it (`12.4 GiB`)."""
    figure, _, unit = said.partition(" ")
    return float(figure) * _GIB_IN.get(unit, 0.0)
