"""Hold every locked package against the known faults there are of it.

`make audit` runs this. The list of known faults is looked up in the network; where it cannot be,
that is said, package by package counted, and the exit code is 1: nothing was found to be clean.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[2]
LOCKS = ("requirements.lock", "requirements-spark.lock")


def told(found: dict[str, list[dict[str, object]]]) -> tuple[list[str], bool]:
    """Give what the audit found in lines, and whether all is clean."""
    packages = found["dependencies"]
    missed = [str(one["name"]) for one in packages if "skip_reason" in one]
    lines = []
    for one in packages:
        faults = one.get("vulns", [])
        assert isinstance(faults, list)
        for fault in faults:
            mended = ", ".join(fault.get("fix_versions", [])) or "no version yet"
            lines.append(f"{one['name']} {one['version']}: {fault['id']}, mended in {mended}")
    if missed:
        lines.append(
            f"{len(missed)} of {len(packages)} packages could not be looked up (is the network "
            f"there?): {', '.join(missed[:5])}{' and more' if len(missed) > 5 else ''}. Of these "
            "nothing is known."
        )
    if not lines:
        lines.append(f"None of {len(packages)} packages has a fault that is known.")
    return lines, not missed and len(lines) == 1 and lines[0].startswith("None")


def main() -> int:
    """Run."""
    locks = [part for lock in LOCKS for part in ("--requirement", str(ROOT / lock))]
    command = [sys.executable, "-m", "pip_audit", *locks, "--disable-pip",
               "--require-hashes", "--progress-spinner", "off", "--format", "json",
               "--timeout", "15"]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True)
    try:
        found = json.loads(done.stdout)
    except ValueError:
        print(done.stderr.strip().splitlines()[-1:] or "The audit said nothing.", file=sys.stderr)
        return 1
    lines, is_clean = told(found)
    print("\n".join(lines))
    return 0 if is_clean else 1


if __name__ == "__main__":
    raise SystemExit(main())
