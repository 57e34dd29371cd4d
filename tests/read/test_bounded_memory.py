"""A log that is too much for the memory there is ends in one sentence."""

from __future__ import annotations

import gzip
import subprocess
import sys
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pc
import pytest

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


# Where the columns just fit (0.9 GB here) Arrow's own threads may end the process when they get no
# memory: that can't be caught, so only limits below are held to a sentence.
@pytest.mark.parametrize("limit_gb", [0.7])
@pytest.mark.parametrize("way", ["log", "flights"])
def test_more_rows_than_there_is_memory_for(tmp_path: Path, way: str, limit_gb: float) -> None:
    path, rows = tmp_path / "long.csv", 12_000_000
    time = np.arange(rows, dtype=np.int64)
    pc.write_csv(pa.table({"Time [s]": time, "Pressure Altitude [ft]": 30_000 + time % 7,
                           "IAS [kt]": 250 + time % 3}), path)
    assert "more memory than there is" in outcome(way, path, limit_gb)
