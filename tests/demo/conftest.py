"""What stands in demo_events/, read once; nothing here is made by the tests themselves."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest

import demo_events

FOLDER = Path(demo_events.__file__).parent


@pytest.fixture(scope="session")
def rows() -> list[dict[str, Any]]:
    """Every row of the demo's Parquet file."""
    return pq.read_table(FOLDER / "events.parquet").to_pylist()


@pytest.fixture(scope="session")
def events(rows: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Every event of the demo as plain JSON types, in order of seq."""
    return [json.loads(row["event"]) for row in rows]


@pytest.fixture(scope="session")
def counted(events: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """The events that no strike voids."""
    struck = {event["data"]["target"] for event in events if event["kind"] == "event_struck"}
    return [event for event in events if event["id"] not in struck]


@pytest.fixture(scope="session")
def true_readings() -> list[dict[str, Any]]:
    """What each reading's true figure was."""
    return pq.read_table(FOLDER / "truth_readings.parquet").to_pylist()


@pytest.fixture(scope="session")
def true_parts() -> list[dict[str, Any]]:
    """What became of each part that wears."""
    return pq.read_table(FOLDER / "truth_parts.parquet").to_pylist()


@pytest.fixture(scope="session")
def true_repairs() -> list[dict[str, Any]]:
    """Whether each repair truly held."""
    return pq.read_table(FOLDER / "truth_repairs.parquet").to_pylist()


@pytest.fixture(scope="session")
def truth() -> dict[str, Any]:
    """The settings and true parameters of the demo."""
    found = json.loads((FOLDER / "truth.json").read_text(encoding="utf-8"))
    assert isinstance(found, dict)
    return found
