"""A log that is too much for the memory there is ends in one sentence."""

from __future__ import annotations

import gzip
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pc
import pyarrow.parquet as pq
import pytest

from loganalyze import Problem, read_log
from loganalyze.read.files import address_space

HEADER = b"Time [s],Pressure Altitude [ft],IAS [kt],SAT [degC]\n"
READER = """
import resource, sys
limit = int(float(sys.argv[1]) * 2**30)
resource.setrlimit(resource.RLIMIT_AS, (limit, limit))
from loganalyze.problems import Problem
from loganalyze.read import read_flights, read_log
try:
    if sys.argv[2] == "log":
        read_log(sys.argv[3])
    else:
        for _ in read_flights(sys.argv[3]):
            pass
    print("read")
except Problem as problem:
    print(problem)
"""


def outcome(way: str, path: Path, limit_gb: float) -> str:
    done = subprocess.run([sys.executable, "-c", READER, str(limit_gb), way, str(path)],
                          capture_output=True, text=True, timeout=300, check=False)
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout.strip()


@pytest.mark.parametrize("way", ["log", "flights"])
def test_equal_lines_without_end(tmp_path: Path, way: str) -> None:
    path = tmp_path / "equal.csv.gz"
    with gzip.open(path, "wb", compresslevel=1) as stream:
        stream.write(HEADER)
        block = b"12,3900,160.0,0.4\n" * 1_000_000
        for _ in range(30):
            stream.write(block)
    assert "the clock stands still over more than" in outcome(way, path, 2)


@pytest.fixture(scope="module")
def long_logs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """The same 12 million rows as text and as Parquet."""
    folder, time = tmp_path_factory.mktemp("long"), np.arange(12_000_000, dtype=np.int64)
    table = pa.table({"Time [s]": time, "Pressure Altitude [ft]": 30_000 + time % 7,
                      "IAS [kt]": 250 + time % 3})
    pc.write_csv(table, folder / "long.csv")
    pq.write_table(table, folder / "long.parquet", row_group_size=4_000_000)
    return {"text": folder / "long.csv", "parquet": folder / "long.parquet"}


# At 0.9 to 1 GB the columns just fit, and what parsing takes besides doesn't.
@pytest.mark.parametrize("limit_gb", [0.5, 0.7, 0.9, 0.95, 1.0])
@pytest.mark.parametrize("way", ["log", "flights"])
def test_more_rows_than_there_is_memory_for(long_logs: dict[str, Path], way: str,
                                            limit_gb: float) -> None:
    assert "more memory than there is" in outcome(way, long_logs["text"], limit_gb)


@pytest.mark.parametrize("limit_gb", [0.7, 0.9])
@pytest.mark.parametrize("way", ["log", "flights"])
def test_a_parquet_log_that_memory_is_too_short_for_isnt_called_damaged(
        long_logs: dict[str, Path], way: str, limit_gb: float) -> None:
    assert "more memory than there is" in outcome(way, long_logs["parquet"], limit_gb)


@pytest.mark.parametrize("way", ["log", "flights"])
def test_a_short_log_is_read_where_a_long_one_is_too_much(tmp_path: Path, way: str) -> None:
    path = tmp_path / "short.csv"
    path.write_bytes(HEADER + b"".join(b"%d,3900,160.0,0.4\n" % i for i in range(5000)))
    assert outcome(way, path, 0.6) == "read"


def test_a_log_is_refused_where_the_system_has_less_left_than_its_columns_take(
        tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "long.csv"
    path.write_bytes(HEADER + b"".join(b"%d,3900,160.0,0.4\n" % i for i in range(20_000)))
    monkeypatch.setattr(address_space, "SMALL", 0)
    monkeypatch.setattr(address_space, "available", lambda: 4 * 8 * 20_000 - 1)
    with pytest.raises(Problem, match="more memory than there is"):
        read_log(path)
    monkeypatch.setattr(address_space, "available", lambda: 4 * 8 * 40_000)
    assert len(read_log(path)) == 20_000


def shown(folder: Path, files: dict[str, str]) -> tuple[Path, Path]:
    """Write what a system shows of its memory, and return where its counts and groups are."""
    for name, text in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_text(text)
    return folder / "proc", folder / "group"


MACHINE = {"proc/meminfo": "MemTotal: 9000 kB\nMemAvailable:   5000 kB\nSwapFree: 1000 kB\n"}


def test_what_is_left_is_the_machines_own_where_no_group_limits_it(tmp_path: Path) -> None:
    groups = {"proc/self/cgroup": "0::/one/two\n", "group/one/memory.max": "max\n",
              "group/one/memory.current": "77\n"}
    assert address_space.available(*shown(tmp_path, MACHINE | groups)) == 6000 * 1024


def test_what_is_left_is_the_least_of_all_groups_around_the_process(tmp_path: Path) -> None:
    groups = {"proc/self/cgroup": "0::/one/two\n",
              "group/one/memory.max": "900000\n", "group/one/memory.current": "500000\n",
              "group/one/memory.stat": "anon 1\ninactive_file 30000\n",
              "group/one/two/memory.max": "800000\n", "group/one/two/memory.current": "100000\n"}
    assert address_space.available(*shown(tmp_path, MACHINE | groups)) == 430_000


def test_a_group_of_the_first_version_counts_and_a_folder_that_isnt_shown_is_the_root(
        tmp_path: Path) -> None:
    groups = {"proc/self/cgroup": "4:cpu:/x\n7:memory:/hidden\n",
              "group/memory/memory.limit_in_bytes": "500000\n",
              "group/memory/memory.usage_in_bytes": "200000\n",
              "group/memory/memory.stat": "total_inactive_file 1000\n"}
    assert address_space.available(*shown(tmp_path, MACHINE | groups)) == 301_000


def test_nothing_is_known_where_the_system_shows_nothing(tmp_path: Path) -> None:
    assert address_space.available(*shown(tmp_path, {})) is None
