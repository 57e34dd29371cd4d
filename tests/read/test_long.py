"""Long tables: a line for each time and parameter."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from small_exports import FT, KT, export, lines, parquet

from loganalyze import ColumnsFile, FlightLog, Problem, read_flights, read_log
from loganalyze.sheets.columns_file import Column
from loganalyze.sheets.export_options import LongTable
from loganalyze.text.language import reading_text

HEADER = "Time [s],Parameter,Value,Unit"
UNITS = {"Press Alt": "ft", "IAS": "kt", "SAT": "degC", "Gear Down": "", "EGT": "degC"}


def table(count: int, every: dict[str, int] | None = None) -> list[tuple[float, str, str]]:
    """Return lines of a flight: time, parameter, value."""
    values = {"Press Alt": lambda t: f"{1000 + 10 * t:g}", "IAS": lambda t: f"{150 + t:g}",
              "SAT": lambda t: f"{5 - t / 100:g}", "Gear Down": lambda t: "UP" if t > 5 else "DOWN",
              "EGT": lambda t: "NCD" if t == 3 else "hot" if t == 4 else "600"}
    return [(t, name, value(t)) for t in range(count) for name, value in values.items()
            if t % (every or {}).get(name, 1) == 0]


def text(rows: list[tuple[float, str, str]]) -> str:
    return lines(HEADER, [f"{t},{name},{value},{UNITS[name]}" for t, name, value in rows])


def check(log: FlightLog, count: int) -> None:
    assert log.time.tolist() == list(range(count))
    np.testing.assert_allclose(log.channels["pressure_altitude"].values,
                               (1000 + 10 * np.arange(count)) * FT)
    np.testing.assert_allclose(log.channels["indicated_airspeed"].values,
                               (150 + np.arange(count)) * KT)
    assert log.channels["gear_down"].values.tolist() == [float(t <= 5) for t in range(count)]
    assert set(log.channels) == {"pressure_altitude", "indicated_airspeed",
                                 "static_air_temperature", "gear_down"}


@pytest.mark.parametrize("order", ["by time", "by parameter", "shuffled within a time"])
def test_every_order_reads_to_the_same_log(order: str, tmp_path: Path) -> None:
    rows = table(20)
    if order == "by parameter":
        rows.sort(key=lambda row: (list(UNITS).index(row[1]), row[0]))
    elif order != "by time":
        random.Random(1).shuffle(rows)
        rows.sort(key=lambda row: row[0])
    path = export(tmp_path, text(rows))
    check(read_log(path), 20)
    flight, = read_flights(path)
    check(flight, 20)
    assert flight.source.dialect["table"] == "long"
    assert reading_text.known_by(flight.channels["static_air_temperature"]) == (
        "recognised by its name, unit from the column of units")


@pytest.mark.parametrize("order", ["by time", "by parameter"])
def test_a_parameter_keeps_its_own_rate(order: str, tmp_path: Path) -> None:
    rows = table(40, {"SAT": 4, "EGT": 10})
    if order == "by parameter":
        rows.sort(key=lambda row: (row[1], row[0]))
    log = read_log(export(tmp_path, text(rows)))
    check(log, 40)
    channel = log.channels["static_air_temperature"]
    assert channel.rows is not None
    assert channel.rows.tolist() == list(range(0, 40, 4))
    assert channel.interval_s == 4


def test_a_long_table_of_many_pieces(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("loganalyze.read.files.file_types.PIECE", 3000)
    path = export(tmp_path, text(table(600, {"SAT": 4})))
    check(read_log(path), 600)
    late = text(table(600)).replace("500,IAS,650,kt\n", "500,IAS,650,kt\n500,IAS,651,kt\n")
    place = late.splitlines().index("500,IAS,651,kt") + 1
    path = export(tmp_path, late)
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == (
        f'{path}, line {place}: "IAS" has a second value at the time 500; export the log with one '
        "value for each parameter and time.")


def test_dates_in_their_own_column(tmp_path: Path) -> None:
    rows = [f"2026-03-01;{stamp};{name};{value}" for stamp in ("10:00:00", "10:00:01", "10:00:02")
            for name, value in (("Press Alt [ft]", "1000"), ("IAS [kt]", "150,5"))]
    log = read_log(export(tmp_path, lines("Date;UTC;Mnemonic;Reading", rows)))
    assert log.utc_start == np.datetime64("2026-03-01T10:00:00", "ns")
    np.testing.assert_allclose(log.channels["indicated_airspeed"].values, 150.5 * KT)


def test_a_long_table_that_the_columns_file_names(tmp_path: Path) -> None:
    rows = [f"{t},{name},{value}" for t in range(3) for name, value in (("H", 300), ("V", 100))]
    sheet = ColumnsFile(
        long=LongTable(time="MARK", parameter="WHAT", value="HOW MUCH"),
        columns={"time": Column(column="MARK", unit="s"),
                 "pressure_altitude": Column(column="H", unit="m"),
                 "indicated_airspeed": Column(column="V", unit="m/s")})
    path = export(tmp_path, lines("MARK,WHAT,HOW MUCH", rows))
    log = read_log(path, sheet)
    assert log.channels["pressure_altitude"].values.tolist() == [300] * 3
    wrong = sheet.model_copy(update={"long": LongTable(time="MARK", parameter="X", value="WHAT")})
    with pytest.raises(Problem, match='names "X" for the parameter of the long table, but no'):
        read_log(path, wrong)


@pytest.mark.parametrize(("change", "said"), [
    (("3,IAS,153,kt", "3,IAS,fast,kt"), '{}, line 18: "fast" in column "IAS" isn\'t a number; mend '
     "the cell, or leave it blank where nothing was recorded."),
    (("3,Gear Down,DOWN,", "3,Gear Down,SIDEWAYS,"), '{}, line 20: "SIDEWAYS" in column "Gear '
     'Down" isn\'t a state that is known; export states as 0 and 1, or say what it means under '
     "values in a columns file."),
    (("3,IAS,153,kt", "3,IAS,153,mph"), '{}, line 18: the unit of "IAS" changes from "kt" to '
     '"mph"; export the log with one unit for each parameter.'),
    (("3,IAS,153,kt", "2,IAS,153,kt"), None),
])
def test_what_is_wrong_in_a_long_table(change: tuple[str, str], said: str | None,
                                       tmp_path: Path) -> None:
    path = export(tmp_path, text(table(20)).replace(*change))
    if said is None:  # Out of order: that row is left out by the clock, and counted.
        assert read_log(path).steps[0].counts["left out, time runs backwards"] == 1
        return
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == said.format(path)


def long_parquet(folder: Path, rows: list[tuple[float, str, str]], kind: pa.DataType,
                 group: int | None = None, name: str = "flight.parquet") -> Path:
    """Write the lines of a flight as Parquet; numbers hold what words of a state would."""
    words = {"UP": "0", "DOWN": "1"}
    cells = [value if kind == pa.string() else words.get(value, value) for _, _, value in rows]
    values = (pa.array(cells) if kind == pa.string() else
              pa.array([float(cell) if cell[0] in "-0123456789" else None for cell in cells]))
    return parquet(folder, {
        "Time [s]": pa.array([float(row[0]) for row in rows]),
        "Parameter": pa.array([row[1] for row in rows]).dictionary_encode(),
        "Value": values.cast(kind), "Unit": pa.array([UNITS[row[1]] for row in rows]),
    }, name, rows=group)


@pytest.mark.parametrize("kind", [pa.float64(), pa.decimal128(12, 4), pa.string()], ids=str)
@pytest.mark.parametrize("order", ["by time", "by parameter"])
def test_a_long_table_in_parquet(order: str, kind: pa.DataType, tmp_path: Path,
                                 monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("loganalyze.read.parquet.parquet_log.BATCH", 47)
    rows = table(40, {"SAT": 4})
    if order == "by parameter":
        rows.sort(key=lambda row: (row[1], row[0]))
    path = long_parquet(tmp_path, rows, kind, 61)
    log = read_log(path)
    check(log, 40)
    flight, = read_flights(path)
    check(flight, 40)
    assert log.source.dialect["table"] == "long"
    assert log.source.dialect["format"] == "Parquet"
    rows_of_sat = log.channels["static_air_temperature"].rows
    assert rows_of_sat is not None
    assert rows_of_sat.tolist() == list(range(0, 40, 4))


def test_a_long_table_in_parquet_that_says_a_thing_twice(tmp_path: Path) -> None:
    rows = table(40)
    path = long_parquet(tmp_path, [*rows[:51], rows[51], *rows[51:]], pa.float64())
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == (
        f'{path}: "IAS" has a second value at one time; export the log with one value for each '
        "parameter and time.")
    path = long_parquet(tmp_path, [*rows[:51], (10.5, "IAS", "fast"), *rows[55:]], pa.string())
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == (
        f'{path}: "fast" for "IAS" isn\'t a number; export it as a number, or blank where nothing '
        "was recorded.")


def test_a_unit_that_changes_in_a_long_table_in_parquet(tmp_path: Path) -> None:
    path = parquet(tmp_path, {
        "time_s": pa.array([0, 0, 1, 1]), "parameter": pa.array(["ALT", "IAS"] * 2),
        "value": pa.array([1000.0, 100, 1000, 185]), "unit": pa.array(["ft", "kt", "ft", "km/h"])})
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == (
        f'{path}: the unit of "IAS" changes from "kt" to "km/h"; export the log with one unit for '
        "each parameter.")
