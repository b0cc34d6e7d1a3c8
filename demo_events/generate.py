"""Make the demo's events, its register of riders and the truth behind them, as Parquet.

python -m demo_events.generate                                  the demo in this folder
python -m demo_events.generate --events 1000000 --seed 7 --out DIR    any size, elsewhere
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from demo_events.days import FIRST_DAY, LAST_DAY
from demo_events.names import CURRENCY, SHOP, SHOP_NAME, TIME_ZONE, TOWN
from demo_events.spool import BIKES_A_UNIT, PLAIN, Plan, Row, in_memory, spooled
from demo_events.truth import TABLES, Truth, write_parameters

HERE = Path(__file__).parent
DEMO = Plan(seed=7, count_bikes=BIKES_A_UNIT)
"""What stands in this folder."""

SCHEMA = pa.schema(
    [
        ("seq", pa.int64()),
        ("commit", pa.int64()),
        ("id", pa.string()),
        ("kind", pa.string()),
        ("bike", pa.string()),
        ("job", pa.string()),
        ("actor", pa.string()),
        ("occurred_at", pa.timestamp("us", "UTC")),
        ("recorded_at", pa.timestamp("us", "UTC")),
        ("event", pa.string()),
    ]
)
BATCH = 20_000
COUNTING = ("seq", "commit", "occurred_at", "recorded_at")
SMALL = BIKES_A_UNIT
"""Up to so many bikes the file is pressed as small as it gets, since it is kept in a repository."""


def commits(plan: Plan = DEMO, truth: Truth | None = None) -> Iterator[list[dict[str, Any]]]:
    """Give the commits of a small plan (all its workshops in memory), each a list of events.

    Events are plain JSON types with free text in clear; `seq` runs from 1 without gaps and
    `recorded_at` never falls.
    """
    kept = truth or Truth()
    return in_memory(plan, [plan.workshop(unit, kept) for unit in range(plan.count_units)])


def _writer(path: Path, level: int) -> pq.ParquetWriter:
    return pq.ParquetWriter(
        path,
        SCHEMA,
        compression="zstd",
        compression_level=level,
        use_dictionary=["kind", "bike", "job", "actor"],
        column_encoding=dict.fromkeys(COUNTING, "DELTA_BINARY_PACKED"),
        data_page_size=16 << 20,
    )


def write_events(path: Path, commits_made: Iterable[list[Row]], level: int = 3) -> int:
    """Write the rows of commits to one Parquet file; gives how many events there were."""
    first = 1
    with _writer(path, level) as writer:
        rows: list[Row] = []
        numbers: list[int] = []
        for number, made in enumerate(commits_made, 1):
            rows += made
            numbers += [number] * len(made)
            if len(rows) >= BATCH:
                writer.write_table(_table(first, numbers, rows))
                first += len(rows)
                rows, numbers = [], []
        if rows:
            writer.write_table(_table(first, numbers, rows))
    return first - 1 + len(rows)


def _table(first: int, numbers: list[int], rows: list[Row]) -> pa.Table:
    seqs = range(first, first + len(rows))
    columns: dict[str, Any] = {"seq": seqs, "commit": numbers}
    columns.update(zip(PLAIN, zip(*(row[:-1] for row in rows), strict=True), strict=True))
    for name in ("occurred_at", "recorded_at"):
        texts = pa.array(columns[name], pa.string())
        columns[name] = texts.cast(pa.timestamp("us", "UTC"))
    columns["event"] = [f'{{"seq":{seq},{row[-1]}' for seq, row in zip(seqs, rows, strict=True)]
    return pa.table({name: columns[name] for name in SCHEMA.names}, schema=SCHEMA)


def write(plan: Plan, out: Path) -> int:
    """Write events, riders and truth into a folder, in bounded memory; gives the event count."""
    out.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=out, prefix=".making-") as name:
        folder = Path(name)
        made = spooled(plan, folder)
        level = 19 if plan.count_bikes <= SMALL else 3
        count = write_events(out / "events.parquet", made, level)
        for table in ("riders", *TABLES):
            _join(sorted(folder.glob(f"*-{table}.parquet")), out / f"{table}.parquet")
    write_parameters(out, _settings(plan, count))
    return count


def _join(parts: list[Path], path: Path) -> None:
    schema = pq.read_schema(parts[0])
    with pq.ParquetWriter(path, schema, compression="zstd", compression_level=12) as writer:
        for part in parts:
            for batch in pq.ParquetFile(part).iter_batches():
                writer.write_batch(batch)


def _settings(plan: Plan, count: int) -> dict[str, Any]:
    return {
        "seed": plan.seed, "bikes": plan.count_bikes, "workshops": plan.count_units,
        "events": count, "doubled_mechanic": plan.doubled, "town": TOWN, "shop": SHOP,
        "shop_name": SHOP_NAME, "currency": CURRENCY, "time_zone": TIME_ZONE,
        "first_day": FIRST_DAY.isoformat(), "last_day": LAST_DAY.isoformat(),
    }  # fmt: skip


def main() -> None:
    """Read the command line and write the files."""
    parser = argparse.ArgumentParser(prog="demo_events.generate", description=__doc__)
    parser.add_argument("--events", type=int, help="about how many (default: the demo's)")
    parser.add_argument("--seed", type=int, default=DEMO.seed)
    parser.add_argument("--out", type=Path, default=HERE)
    parser.add_argument(
        "--doubled", help="a mechanic, such as m2, whose repairs return twice as often"
    )
    chosen = parser.parse_args()
    plan = Plan(chosen.seed, DEMO.count_bikes, chosen.doubled)
    if chosen.events is not None:
        plan = Plan.of_events(chosen.events, chosen.seed, chosen.doubled)
    started = time.perf_counter()
    count = write(plan, chosen.out)
    seconds = time.perf_counter() - started
    print(f"{count} events of {plan.count_bikes} bikes in {seconds:.1f} s, in {chosen.out}")


if __name__ == "__main__":
    main()
