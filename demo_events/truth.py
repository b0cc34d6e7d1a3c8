"""The truth behind the events, kept beside them: parameters, readings, parts and repairs."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from demo_events import parameters
from demo_events.bikes import Bike, Part
from demo_events.catalogue import PARTS
from demo_events.faults import FAULT_MODES, SKIPPING

TABLES: dict[str, pa.Schema] = {
    "truth_readings": pa.schema(
        [("event", pa.string()), ("bike", pa.string()), ("part", pa.string()),
         ("position", pa.string()), ("quantity", pa.string()), ("gauge", pa.string()),
         ("riding", pa.string()), ("true_value", pa.float64()), ("part_km", pa.float64()),
         ("weather_km", pa.float64()), ("rate", pa.float64()), ("due", pa.float64()),
         ("is_late_rider", pa.bool_())]
    ),
    "truth_parts": pa.schema(
        [("part", pa.string()), ("bike", pa.string()), ("position", pa.string()),
         ("model", pa.string()), ("batch", pa.string()), ("riding", pa.string()),
         ("relative_rate", pa.float64()), ("true_value", pa.float64()), ("km", pa.float64()),
         ("weather_km", pa.float64()), ("is_found", pa.bool_()), ("is_removed", pa.bool_())]
    ),
    "truth_repairs": pa.schema(
        [("event", pa.string()), ("bike", pa.string()), ("job", pa.string()),
         ("tier", pa.string()), ("mechanic", pa.string()), ("position", pa.string()),
         ("fault", pa.string()), ("cause", pa.string()), ("model", pa.string()),
         ("chance", pa.float64()), ("returns_after_days", pa.int32())]
    ),
}  # fmt: skip


def _plain(value: Any) -> Any:
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return _plain(dataclasses.asdict(value))
    if isinstance(value, dict):
        return {str(key): _plain(item) for key, item in value.items()}
    if isinstance(value, (tuple, list)):
        return [_plain(item) for item in value]
    return value


def parameters_json() -> dict[str, Any]:
    """Give every true parameter as plain JSON types, by name."""
    found = {
        name.lower(): _plain(value) for name, value in vars(parameters).items() if name.isupper()
    }
    found["parts"] = _plain(PARTS)
    found["fault_modes"] = _plain((*FAULT_MODES, SKIPPING))
    return found


class Truth:
    """Gathers truth rows; writes them out in pieces so that memory stays bounded."""

    def __init__(self, folder: Path | None = None, prefix: str = "") -> None:
        self.rows: dict[str, list[tuple[Any, ...]]] = {name: [] for name in TABLES}
        self.folder = folder
        self.prefix = prefix
        self._writers: dict[str, pq.ParquetWriter] = {}

    def add(self, table: str, row: tuple[Any, ...]) -> None:
        """Keep one row, in the order of the table's columns."""
        rows = self.rows[table]
        rows.append(tuple(round(one, 6) if isinstance(one, float) else one for one in row))
        if self.folder is not None and len(rows) >= 20_000:
            self._write(table)

    def part(self, bike: Bike, position: str, part: Part, *, is_removed: bool) -> None:
        """Keep what became of a part that wears and that the book knows of."""
        if not part.law or not part.is_known:
            return
        row = (part.code, bike.tag, position, part.model.model, part.batch, bike.rider.riding)
        figures = (part.rate, part.wear, part.km, part.weather_km)
        self.add("truth_parts", (*row, *figures, part.fitted_on is None, is_removed))

    def _write(self, table: str) -> None:
        assert self.folder is not None
        rows, schema = self.rows[table], TABLES[table]
        columns = list(zip(*rows, strict=True)) or [() for _ in schema]
        arrays = [pa.array(column, kind.type) for column, kind in zip(columns, schema, strict=True)]
        if table not in self._writers:
            path = self.folder / f"{self.prefix}{table}.parquet"
            self._writers[table] = pq.ParquetWriter(path, schema, compression="zstd")
        self._writers[table].write_table(pa.table(arrays, schema=schema))
        rows.clear()

    def close(self) -> None:
        """Write what is left and end the files."""
        if self.folder is None:
            return
        for table in TABLES:
            self._write(table)
        for writer in self._writers.values():
            writer.close()


def write_parameters(folder: Path, settings: dict[str, Any]) -> None:
    """Write truth.json: the settings of this run and every true parameter."""
    text = json.dumps({"settings": settings, **parameters_json()}, indent=1, ensure_ascii=False)
    (folder / "truth.json").write_text(text + "\n", encoding="utf-8")
