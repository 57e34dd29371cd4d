"""Small logs of an invented fleet, its limits sheets, and a way to run a fleet."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pyarrow.dataset as pads
import pytest

import loganalyze

ROOT = Path(__file__).parents[2]

SHEET = """
aircraft = "an invented twin"
[airspeed]
recorded = "calibrated"
[temperature]
outside_air = "static"
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = {vmo}
[[limit]]
name = "MMO"
quantity = "mach"
maximum = 0.48
"""


def write_sheet(path: Path, vmo: int = 245) -> Path:
    path.write_text(SHEET.format(vmo=vmo), encoding="utf-8")
    return path


def write_log(path: Path, peak: float, *, day: str = "", registration: str = "") -> Path:
    """Write a flight of 60 s whose speed rises to `peak` [kt]."""
    head = f"Registration: {registration}\n" if registration else ""
    rows = []
    for i in range(60):
        speed = 200 + (peak - 200) * min(1, max(0, (i - 10) / 20), max(0, (60 - i) / 20))
        stamp = f"{day}T10:{i // 60:02d}:{i % 60:02d}Z" if day else f"{i}"
        rows.append(f"{stamp},5000,{speed:.2f},4\n")
    path.parent.mkdir(parents=True, exist_ok=True)
    time = "UTC" if day else "Time [s]"
    path.write_text(f"{head}{time},Pressure Altitude [ft],CAS [kt],SAT [degC]\n" + "".join(rows),
                    encoding="utf-8")
    return path


@pytest.fixture
def fleet(tmp_path):
    """A folder with logs of three months, two over VMO, one twice, one that is none."""
    logs = tmp_path / "logs"
    for number, (peak, day) in enumerate([(230, "2031-01-05"), (251, "2031-01-06"), (240, ""),
                                          (249, "2031-02-07"), (235, "2031-03-08")]):
        write_log(logs / f"{number}.csv", peak, day=day)
    (logs / "deep").mkdir()
    (logs / "deep" / "copy.csv").write_bytes((logs / "1.csv").read_bytes())
    (logs / "letter.csv").write_text("dear,reader\nno,log\n", encoding="utf-8")
    (logs / "notes.md").write_text("no log either", encoding="utf-8")
    return logs


@pytest.fixture
def sheet(tmp_path):
    return write_sheet(tmp_path / "twin.toml")


def rows(store: Path, name: str, *columns: str) -> list[tuple]:
    """Rows of a dataset, in an order that doesn't depend on the run's."""
    table = pads.dataset(store / name, partitioning="hive").to_table()
    found = zip(*(table[column].to_pylist() for column in columns or sorted(table.column_names)),
                strict=True)
    return sorted(found, key=repr)


def contents(store: Path) -> dict[str, list[tuple]]:
    return {name: rows(store, name) for name in json.loads(
        (store / "store.json").read_text())["datasets"]}


def agree(store: Path) -> None:
    """Assert that no row is without its flight, and no flight is there twice."""
    keys = [key for (key,) in rows(store, "flights", "flight_key")]
    assert len(keys) == len(set(keys))
    for name in ("exceedances", "near", "contributions", "measures", "samples", "ceilings"):
        assert {key for (key,) in rows(store, name, "flight_key")} <= set(keys)
    assert not [path for path in store.rglob(".*") if path.name != ".lock"]


def command(*arguments: object, code: str = "", env: dict[str, str] | None = None,
            timeout: float = 120) -> subprocess.CompletedProcess[str]:
    """Run the command line in a process of its own, after some `code` where given."""
    start = f"{code}\nfrom loganalyze.cli import main\nif __name__ == '__main__':\n    main()"
    return subprocess.run(
        [sys.executable, "-c", start, *map(str, arguments)], cwd=ROOT, capture_output=True,
        text=True, timeout=timeout, env=env, check=False)


def run(logs: Path | str, store: Path, sheet: Path, **options: object) -> loganalyze.FleetReport:
    return loganalyze.run_fleet([str(logs)], store, limits=sheet, workers=0, **options)
