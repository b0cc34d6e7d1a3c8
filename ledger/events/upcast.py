"""Old events read as if they had been written today; what is stored is never touched.

One small function a step: it takes the payload of one version and gives the next one's.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Payload = dict[str, Any]


def _distance_read_1_to_2(data: Payload) -> Payload:
    """Version 1 only knew whether a distance was told; version 2 also knows estimates."""
    kept = {name: value for name, value in data.items() if name != "told"}
    return {**kept, "source": "told" if data.get("told") else "read"}


STEPS: dict[tuple[str, int], Callable[[Payload], Payload]] = {
    ("distance_read", 1): _distance_read_1_to_2,
}
"""(kind, version) -> the function that makes the payload of version + 1."""


def upcast(raw: dict[str, Any]) -> dict[str, Any]:
    """Give the event as the newest version of its kind would have it."""
    kind, version = raw.get("kind"), raw.get("schema_version", 1)
    while isinstance(kind, str) and isinstance(version, int) and (kind, version) in STEPS:
        step = STEPS[kind, version]
        version += 1
        raw = {**raw, "schema_version": version, "data": step(dict(raw["data"]))}
    return raw
