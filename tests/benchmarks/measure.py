"""Timing, and the table that figures are shown in."""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path


@dataclass(frozen=True)
class Row:
    """One figure beside what it is compared with."""

    work: str
    figure: str
    beside: str
    ratio: str = ""


def median_seconds(work: Callable[[], object], times: int = 5) -> float:
    """Give the median wall time of some work, in seconds, after one run not counted."""
    work()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def in_a_process(code: str, *arguments: str) -> str:
    """Run Python code in a process of its own and give what it printed."""
    done = subprocess.run(
        [sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=False
    )
    if done.returncode:
        raise RuntimeError(done.stderr)
    return done.stdout.strip()


def peak_mb() -> float:
    """Give this process's peak memory so far, in MB: its own, without what it was started from."""
    status = Path("/proc/self/status")
    if status.exists():
        lines = status.read_text("ascii").splitlines()
        return next(int(line.split()[1]) for line in lines if line.startswith("VmHWM")) / 1024
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def table(rows: list[Row]) -> str:
    """Give the rows as a Markdown table."""
    lines = ["| work | Lockring | beside it | ratio |", "| --- | --- | --- | --- |"]
    lines += [f"| {row.work} | {row.figure} | {row.beside} | {row.ratio} |" for row in rows]
    return "\n".join(lines)
