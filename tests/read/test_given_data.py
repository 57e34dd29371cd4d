"""Logs given as data frames and open files: read as the same log on disk is, to the bit."""

from __future__ import annotations

import hashlib
import io
import subprocess
import sys
from pathlib import Path

import numpy as np
import pandas as pd
import polars as pl
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet
import pytest

from loganalyze import FlightLog, Problem, read_flights, read_log

SAMPLES = Path(__file__).parents[2] / "sample_logs"
CSV = SAMPLES / "descent_through_mmo_and_vmo.csv"


def same(one: FlightLog, other: FlightLog) -> None:
    np.testing.assert_array_equal(one.time, other.time)
    assert one.channels.keys() == other.channels.keys()
    for name, channel in one.channels.items():
        np.testing.assert_array_equal(channel.values, other.channels[name].values)
    assert one.utc_start == other.utc_start


@pytest.fixture(scope="module")
def table() -> pa.Table:
    lines = [line for line in CSV.read_text(encoding="utf-8").splitlines()
             if not line.startswith("#")]
    return pyarrow.csv.read_csv(io.BytesIO("\n".join(lines).encode()))


@pytest.fixture(scope="module")
def on_disk(table, tmp_path_factory) -> FlightLog:
    path = tmp_path_factory.mktemp("disk") / "log.parquet"
    pyarrow.parquet.write_table(table, path)
    return read_log(path)


FRAMES = {
    "pandas": lambda table: table.to_pandas(),
    "polars": pl.from_arrow,
    "arrow": lambda table: table,
    "batches": lambda table: table.to_reader(),
}


@pytest.mark.parametrize("kind", FRAMES)
def test_a_data_frame_is_read_as_its_parquet_file_is(kind, table, on_disk):
    same(read_log(FRAMES[kind](table)), on_disk)


@pytest.mark.parametrize("opened", [
    lambda: CSV.open("rb"), lambda: CSV.open(encoding="utf-8", newline=""),
    lambda: io.BytesIO(CSV.read_bytes()), lambda: io.StringIO(CSV.read_text(encoding="utf-8")),
], ids=["binary", "text", "bytes", "string"])
def test_an_open_file_is_read_as_the_file_is(opened):
    with opened() as stream:
        same(read_log(stream), read_log(CSV))


def test_a_log_of_an_open_file_keeps_its_name_and_hash():
    with CSV.open("rb") as stream:
        source = read_log(stream).source
    assert source.path == CSV
    assert source.sha256 == hashlib.sha256(CSV.read_bytes()).hexdigest()
    assert not source.data.exists(), "the copy is gone once the log is read"


def test_flights_come_from_data_frames_too(table, on_disk):
    frame = table.to_pandas()
    clock = frame.columns[0]
    later = frame.assign(**{clock: frame[clock] + pd.Timedelta(hours=10)})
    flights = list(read_flights(pd.concat([frame, later], ignore_index=True)))
    assert [len(one) for one in flights] == [len(on_disk)] * 2


def test_a_time_in_the_index_counts_as_a_column(table, on_disk):
    frame = table.to_pandas()
    same(read_log(frame.set_index(frame.columns[0])), on_disk)


def test_what_a_frame_leaves_in_doubt_is_refused_by_its_columns(table):
    with pytest.raises(Problem, match=r"^data frame: .*airspeed"):
        read_log(table.select(table.column_names[:1]))
    with pytest.raises(Problem, match="no rows"):
        read_log(table.slice(0, 0))
    with pytest.raises(Problem, match="can't be read from a int"):
        read_log(7)


def test_mixed_kinds_in_a_column_are_refused_by_a_problem(table):
    frame = table.to_pandas().astype(object)
    frame.at[3, frame.columns[1]] = {"a": 1}
    with pytest.raises(Problem, match="one kind of value"):
        read_log(frame)


def test_pandas_is_not_loaded_for_another_frame():
    code = ("import io, sys, pyarrow.csv as c, loganalyze as la\n"
            "text = 'time [s],IAS [kt],Pressure Altitude [ft]\\n' + ''.join(\n"
            "    f'{i},250.5,9000.5\\n' for i in range(60))\n"
            "assert len(la.read_log(c.read_csv(io.BytesIO(text.encode())))) == 60\n"
            "assert 'pandas' not in sys.modules")
    ran = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True,
                         cwd=Path(__file__).parents[2], check=False)
    assert ran.returncode == 0, ran.stderr
