"""Exports that other programs write: pandas, polars, DuckDB and a spreadsheet program."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import duckdb
import numpy as np
import pandas as pd
import polars as pl
import pytest
from gallery.climb import START, truth

from loganalyze import read_log
from loganalyze.record.channels import CHANNELS

HERE = Path(__file__).parent / "programs"
T = np.arange(40.0)
AT = START + T.astype("timedelta64[s]")
QUANTA = {"pressure_altitude": 1.0, "indicated_airspeed": 0.1, "static_air_temperature": 0.1,
          "heading": 0.1, "flap": 0.1, "gear_down": 0.0}
NAMES = {"pressure_altitude": "Pressure Altitude [ft]", "indicated_airspeed": "IAS [kt]",
         "static_air_temperature": "SAT [degC]", "heading": "Heading [deg]",
         "flap": "Flap Angle [deg]", "gear_down": "Gear Down"}


def flight() -> pd.DataFrame:
    values = {NAMES[name]: np.round(truth(name, T), 1) + 0.0 for name in QUANTA}
    return pd.DataFrame({"UTC": pd.Series(AT).dt.tz_localize("UTC"), **values})


def states(frame: pd.DataFrame) -> pd.Series:
    return frame["Gear Down"].map({1.0: "DOWN", 0.0: "UP"})


def check(path: Path, dated: bool = True, missing: dict[str, list[int]] | None = None) -> None:
    log = read_log(path)
    started = 0.0
    if dated:
        assert log.utc_start is not None
        started = (log.utc_start - START) / np.timedelta64(1, "s")
    np.testing.assert_allclose(started + log.time, T, atol=1e-6)
    assert set(log.channels) == set(QUANTA)
    for name, quantum in QUANTA.items():
        kind = CHANNELS[name]
        wanted = truth(name, T)
        wanted[(missing or {}).get(name, [])] = np.nan
        read = (log.channels[name].values - kind.unit.offset) / kind.unit.factor
        off = np.abs(read - wanted)
        assert np.array_equal(np.isnan(read), np.isnan(wanted)), name
        assert np.nanmax(off) <= 0.505 * quantum + 1e-5, name


PANDAS: dict[str, Callable[[pd.DataFrame, Path], None]] = {
    "plain.csv": lambda frame, path: frame.to_csv(path, index=False),
    "with its index.csv": lambda frame, path: frame.to_csv(path),
    "time as the index.csv": lambda frame, path: frame.set_index("UTC").to_csv(path),
    "decimal comma.csv": lambda frame, path: frame.to_csv(
        path, index=False, sep=";", decimal=",", encoding="latin-1"),
    "date format.csv": lambda frame, path: frame.to_csv(
        path, index=False, date_format="%Y%m%dT%H%M%S.%fZ"),
    "packed.csv.gz": lambda frame, path: frame.to_csv(path, index=False),
    "plain.parquet": lambda frame, path: frame.to_parquet(path, index=False),
    "time as the index.parquet": lambda frame, path: frame.set_index("UTC").to_parquet(path),
    "small types.parquet": lambda frame, path: frame.astype(
        {NAMES["pressure_altitude"]: "Int16", NAMES["indicated_airspeed"]: "float32",
         NAMES["gear_down"]: "boolean"}).to_parquet(path, index=False),
    "categories.parquet": lambda frame, path: frame.assign(
        **{"Gear Down": states(frame).astype("category")}).to_parquet(path, index=False),
    "text states.parquet": lambda frame, path: frame.assign(
        **{"Gear Down": states(frame)}).to_parquet(path, index=False),
}


@pytest.mark.parametrize("name", PANDAS)
def test_pandas(name: str, tmp_path: Path) -> None:
    PANDAS[name](flight(), tmp_path / name)
    check(tmp_path / name)


def test_pandas_writes_missing_values(tmp_path: Path) -> None:
    frame = flight()
    frame.loc[[3, 9], NAMES["static_air_temperature"]] = np.nan
    frame.loc[[4], NAMES["gear_down"]] = np.nan
    gone = {"static_air_temperature": [3, 9], "gear_down": [4]}
    for name in ("gaps.csv", "gaps.parquet"):
        if name.endswith("csv"):
            frame.to_csv(tmp_path / name, index=False)
        else:
            frame.to_parquet(tmp_path / name, index=False)
        check(tmp_path / name, missing=gone)


POLARS: dict[str, Callable[[pl.DataFrame, Path], None]] = {
    "plain.csv": lambda frame, path: frame.write_csv(path),
    "semicolons.csv": lambda frame, path: frame.write_csv(
        path, separator=";", quote_style="always"),
    "stamps.csv": lambda frame, path: frame.write_csv(
        path, datetime_format="%Y-%m-%d %H:%M:%S%.3f", include_bom=True, line_terminator="\r\n"),
    "plain.parquet": lambda frame, path: frame.write_parquet(path),
    "row groups.parquet": lambda frame, path: frame.write_parquet(
        path, row_group_size=7, compression="snappy", statistics=False),
    "small types.parquet": lambda frame, path: frame.with_columns(
        pl.col(NAMES["pressure_altitude"]).cast(pl.Int16),
        pl.col(NAMES["indicated_airspeed"]).cast(pl.Float32),
        pl.col(NAMES["heading"]).cast(pl.Decimal(6, 1)),
        pl.col("Gear Down").cast(pl.Boolean),
        pl.col("UTC").dt.cast_time_unit("ms")).write_parquet(path),
    "categories.parquet": lambda frame, path: frame.with_columns(
        pl.when(pl.col("Gear Down") > 0).then(pl.lit("DOWN")).otherwise(pl.lit("UP"))
        .cast(pl.Categorical).alias("Gear Down")).write_parquet(path),
    "text states.parquet": lambda frame, path: frame.with_columns(
        pl.when(pl.col("Gear Down") > 0).then(pl.lit("DOWN")).otherwise(pl.lit("UP"))
        .alias("Gear Down")).write_parquet(path),
}


@pytest.mark.parametrize("name", POLARS)
def test_polars(name: str, tmp_path: Path) -> None:
    frame = pl.DataFrame({"UTC": pl.Series(AT).dt.replace_time_zone("UTC"), **{
        NAMES[channel]: np.round(truth(channel, T), 1) + 0.0 for channel in QUANTA}})
    POLARS[name](frame, tmp_path / name)
    check(tmp_path / name)


DUCKDB = {
    "plain.csv": ("*", "HEADER"),
    "tabs.csv": ("*", r"HEADER, DELIMITER '\t', NULLSTR 'NULL'"),
    "quoted.csv": ("*", "HEADER, FORCE_QUOTE *, TIMESTAMPFORMAT '%d.%m.%Y %H:%M:%S'"),
    "packed.csv.zst": ("*", "HEADER, COMPRESSION zstd"),
    "plain.parquet": ("*", "FORMAT parquet"),
    "row groups.parquet": ("*", "FORMAT parquet, ROW_GROUP_SIZE 2048, COMPRESSION zstd"),
    "small types.parquet": (
        '''* REPLACE ("Gear Down" > 0 AS "Gear Down",
                      CAST("IAS [kt]" AS DECIMAL(6, 1)) AS "IAS [kt]",
                      CAST("Pressure Altitude [ft]" AS SMALLINT) AS "Pressure Altitude [ft]")''',
        "FORMAT parquet"),
    "words.parquet": (
        """* REPLACE (CASE WHEN "Gear Down" > 0 THEN 'DOWN' ELSE 'UP' END AS "Gear Down")""",
        "FORMAT parquet"),
    "choices.parquet": (
        """* REPLACE (CAST(CASE WHEN "Gear Down" > 0 THEN 'DOWN' ELSE 'UP' END
                           AS ENUM ('UP', 'DOWN')) AS "Gear Down")""", "FORMAT parquet"),
}


@pytest.mark.parametrize("name", DUCKDB)
def test_duckdb(name: str, tmp_path: Path) -> None:
    chosen, options = DUCKDB[name]
    frame = flight()
    frame["UTC"] = frame["UTC"].dt.tz_localize(None)
    database = duckdb.connect()
    database.register("flight", frame)
    database.execute(f"COPY (SELECT {chosen} FROM flight) TO '{tmp_path / name}' ({options})")
    database.close()
    check(tmp_path / name)


@pytest.mark.parametrize("name", sorted(
    path.name for path in HERE.iterdir() if path.suffix in (".csv", ".txt")))
def test_a_spreadsheet_program(name: str) -> None:
    assert f"`{name}`" in (HERE / "README.md").read_text()
    check(HERE / name)
