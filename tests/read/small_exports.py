"""Small invented exports for the tests, and how to write them."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

FT = 0.3048
KT = 1852 / 3600

PLAIN = """time_s,pressure_altitude_ft,ias_kt,sat_degc
0,20000,200.5,-24.6
0.25,20010,201,-24.7
0.5,20020,201.5,-24.8
0.75,20030,202,-24.9
"""
ALTITUDE = np.array([20000, 20010, 20020, 20030]) * FT
SPEED = np.array([200.5, 201, 201.5, 202]) * KT
TEMPERATURE = np.array([-24.6, -24.7, -24.8, -24.9]) + 273.15
TIME = np.array([0, 0.25, 0.5, 0.75])


def export(folder: Path, text: str | bytes, name: str = "flight.csv") -> Path:
    """Write an export as it stands and return its path."""
    path = folder / name
    path.write_bytes(text.encode() if isinstance(text, str) else text)
    return path


def parquet(folder: Path, columns: dict[str, pa.Array], name: str = "flight.parquet",
            units: dict[str, str] | None = None, rows: int | None = None) -> Path:
    """Write Arrow arrays as Parquet, with units as field metadata where given."""
    fields = [pa.field(key, array.type, metadata={"unit": units[key]} if units and key in units
                       else None) for key, array in columns.items()]
    path = folder / name
    pq.write_table(pa.Table.from_arrays(list(columns.values()), schema=pa.schema(fields)), path,
                   row_group_size=rows)
    return path


WAYS = ["batches", "row groups"]
"""How a Parquet log is read flight by flight: large row groups by batches, others one by one."""


def in_pieces(monkeypatch: pytest.MonkeyPatch, way: str, rows: int) -> int | None:
    """Have Parquet logs read so many rows at a time; return the row group to write for that."""
    if way == "row groups":
        monkeypatch.setattr("loganalyze.read.parquet.parquet_log.SMALL_GROUP", 0)
        return rows
    monkeypatch.setattr("loganalyze.read.parquet.parquet_log.LOW_MEMORY_GROUP", 0)
    monkeypatch.setattr("loganalyze.read.parquet.parquet_log.BATCH", rows)
    return None


def lines(header: str, rows: list[str]) -> str:
    """Return a header and rows as one text."""
    return "\n".join([header, *rows, ""])
