"""Memory that nobody uses goes back to the system."""

from __future__ import annotations

import subprocess
import sys

ASKED = """
import numpy as np, pyarrow as pa
from ledger.engines.memory import give_back
def resident():
    return int(open("/proc/self/statm").read().split()[1]) * 4096 / 1e6
some = [np.ones(2_000) for _ in range(20_000)]
last = np.ones(10)
held = pa.array(range(1_000_000))
before = resident()
del some, held
give_back()
assert last.sum() == 10, "what is still used stays"
print(before - resident())
"""


def test_what_was_let_go_of_is_given_back() -> None:
    """In a process of its own: 320 MB in small pieces, which the C library keeps by itself."""
    done = subprocess.run([sys.executable, "-c", ASKED], capture_output=True, text=True, check=True)
    assert float(done.stdout) > 250
