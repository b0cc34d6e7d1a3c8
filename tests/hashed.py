"""The bytes an event was hashed by, from a file's row alone: with plain Python, not our reader."""

from __future__ import annotations

import json
import uuid
from datetime import UTC, datetime
from typing import Any

_MEMBERS = ("actor", "bike", "job", "kind", "schema_version", "seq", "shop")


def _written(moment: datetime) -> str:
    return moment.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%S.%fZ")


def hashed(row: dict[str, Any]) -> dict[str, Any]:
    """Give a row with the whole canonical bytes, as DEVELOPERS.md says how a segment has them."""
    raw = json.loads(row["canonical"])
    if list(raw) != ["data"]:
        return {**row, "canonical_sum": None}
    raw |= {name: row[name] for name in _MEMBERS if row[name] is not None}
    raw |= {name: _written(row[name]) for name in ("occurred_at", "recorded_at")}
    raw["id"] = str(uuid.UUID(bytes=row["id"]))
    if row["restores_id"] is not None:
        raw["restores"] = str(uuid.UUID(bytes=row["restores_id"]))
    text = json.dumps(raw, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode()
    return {**row, "canonical": text, "canonical_sum": None}
