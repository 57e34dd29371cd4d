"""A store of many exceedances, made by multiplying a small judged one; nothing in it was flown.

``python -m tests.review.large_store DIR [N]`` writes one of N exceedances (100,000).
"""

from __future__ import annotations

import json
import shutil
import sys
import tempfile
from pathlib import Path

import duckdb

import loganalyze
from tests.fleet.conftest import write_log, write_sheet

AIRCRAFT = 40
SHARD = 4_000


def write_large_store(folder: Path, exceedances: int, *, samples: bool = True) -> None:
    """Write a store; each exceedance has its own log, excess and duration."""
    with tempfile.TemporaryDirectory() as scratch:
        seed = Path(scratch)
        sheet = write_sheet(seed / "twin.toml")
        for number, peak in enumerate((248, 250, 252, 255, 262)):
            write_log(seed / "logs" / f"{number}.csv", peak, day="2031-01-06")
        loganalyze.run_fleet([str(seed / "logs")], seed / "store", limits=sheet, workers=0)
        _multiply(seed / "store", folder, exceedances, samples)


def _multiply(seed: Path, folder: Path, exceedances: int, samples: bool) -> None:
    datasets = json.loads((seed / "store.json").read_text())["datasets"]
    for part in seed.rglob("*.parquet"):
        if part.stem == "000000-000000":
            place = folder / part.relative_to(seed)
            place.parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(part, place)
    shutil.copy(seed / "store.json", folder / "store.json")
    db = duckdb.connect()
    per_shard = min(SHARD, max(1, exceedances // 5))
    for shard, first in enumerate(range(0, -(-exceedances // 5), per_shard)):
        last = min(first + per_shard, -(-exceedances // 5))
        month = 1 + shard % 12
        for name in datasets:
            source = seed / name / "year=2031" / "month=1"
            if not source.is_dir() or (name == "samples" and not samples):
                continue
            columns = db.execute(f"describe select * from read_parquet('{source}/*.parquet', "
                                 "hive_partitioning = false)").fetchall()
            changed = ", ".join(_changed(column, kind, month) for column, kind, *_ in columns)
            place = folder / name / "year=2031" / f"month={month}"
            place.mkdir(parents=True, exist_ok=True)
            db.execute(
                f"copy (select {changed} from read_parquet('{source}/*.parquet', "
                f"hive_partitioning = false), range({first}, {last}) copies(i)) "
                f"to '{place}/000001-{shard:06d}.parquet' (format parquet)")


def _changed(column: str, kind: str, month: int) -> str:
    name = f'"{column}"'
    made = {
        "flight_key": "substr(sha256(flight_key || '-' || i), 1, 32)",
        "log_sha256": "sha256(log_sha256 || '-' || i)",
        "judgement_key": "sha256(judgement_key || '-' || i)",
        "registration": f"'DEMO-' || cast(i % {AIRCRAFT} as varchar)",
        "worst_excess_kt": "worst_excess_kt * (0.5 + (hash(i) % 1000) / 500.0)",
        "duration_s": "duration_s * (0.5 + (hash(i + 1) % 1000) / 500.0)",
        "severity": "case hash(i) % 9 when 0 then 'high' when 1 then 'medium' when 2 then 'low' "
                    "end",
        "phase": "case hash(i) % 3 when 0 then 'climb' when 1 then 'cruise' else 'descent' end",
        "log": "log || '-' || i",
        "source": "source || '-' || i",
    }
    if column in made:
        return f"{made[column]} as {name}"
    if kind.startswith("TIMESTAMP"):
        return f"{name} + interval ({month - 1}) month as {name}"
    return name


if __name__ == "__main__":
    write_large_store(Path(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 100_000)
