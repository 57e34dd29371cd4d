"""A few damaged cells and lines count as missing, with a word; a habit of the export is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from small_exports import export, lines

from loganalyze import FlightLog, Problem, read_flights, read_log
from loganalyze.text.language import reading_text

HEADER = "Time [s];Pressure Altitude [ft];IAS [kt];SAT [degC];Gear Down"
ROWS = 600


def cells() -> list[list[str]]:
    return [[str(i), str(20000 + i), f"{200 + i / 100:.2f}", "-20.5", str(int(i < 90))]
            for i in range(ROWS)]


def read(folder: Path, rows: list[list[str]]) -> FlightLog:
    """Read rows as a whole, and flight by flight, which must say the same."""
    path = export(folder, lines(HEADER, [";".join(row) for row in rows]))
    log = read_log(path)
    flight, = read_flights(path)
    assert reading_text.sentences(log.source.inferred) == (
        reading_text.sentences(flight.source.inferred))
    for name, channel in log.channels.items():
        np.testing.assert_array_equal(channel.values, flight.channels[name].values)
    return log


def refusal(folder: Path, rows: list[list[str]]) -> str:
    with pytest.raises(Problem) as caught:
        read(folder, rows)
    return caught.value.sentence


COLUMNS = {1: "pressure_altitude", 2: "indicated_airspeed", 3: "static_air_temperature",
           4: "gear_down"}


@pytest.mark.parametrize("row", [0, 5, 333, ROWS - 1])
@pytest.mark.parametrize("cell", ["fast", "x9", "0x10", "1,5", "1.500,5", "=1+1", "12:00 PM"])
@pytest.mark.parametrize("column", COLUMNS)
def test_one_damaged_cell_is_missing(column: int, cell: str, row: int, tmp_path: Path) -> None:
    rows = cells()
    whole = read(tmp_path, rows)
    rows[row][column] = cell
    log = read(tmp_path, rows)
    assert len(log) == ROWS
    for name, channel in log.channels.items():
        gone = [row] if name == COLUMNS[column] else []
        assert np.flatnonzero(np.isnan(channel.values)).tolist() == gone, name
        there = ~np.isnan(channel.values)
        np.testing.assert_array_equal(channel.values[there], whole.channels[name].values[there])
    name = HEADER.split(";")[column]
    assert (f'1 cell of column "{name}" can\'t be read as what it holds: taken as missing.'
            in reading_text.sentences(log.source.inferred))
    assert log.steps[0].counts[f'damaged cells in "{name}"'] == 1


@pytest.mark.parametrize("cell", ["1.5", "2", "-1"])
def test_a_number_that_is_no_state_is_missing(cell: str, tmp_path: Path) -> None:
    rows = cells()
    rows[10][4] = rows[580][4] = cell
    gear = read(tmp_path, rows).channels["gear_down"].values
    assert np.flatnonzero(np.isnan(gear)).tolist() == [10, 580]


@pytest.mark.parametrize("column", COLUMNS)
def test_a_word_in_two_rows_in_sequence_means_something(column: int, tmp_path: Path) -> None:
    rows = cells()
    rows[100][column] = rows[101][column] = "TRANSIT"
    said = refusal(tmp_path, rows)
    assert f'line 102: "TRANSIT" in column "{HEADER.split(";")[column]}" isn\'t' in said


def test_more_than_a_few_are_refused(tmp_path: Path) -> None:
    rows = cells()
    for i in range(12):
        rows[40 * i][2] = f"bad{i}"
    assert np.isnan(read(tmp_path, rows).channels["indicated_airspeed"].values).sum() == 12
    rows[500][2] = "bad12"
    assert '"bad0" in column "IAS [kt]" isn\'t a number' in refusal(tmp_path, rows)


@pytest.mark.parametrize("line", ["300;20300;203.00;-20.5", "300;20300;203.00;-20.5;0;7;7",
                                  '300;20300;"203.00;-20.5;0', "30;;"])
def test_a_damaged_line_is_left_out(line: str, tmp_path: Path) -> None:
    rows = cells()
    rows[300] = line.split(";")
    log = read(tmp_path, rows)
    assert log.time.tolist() == [i for i in range(ROWS) if i != 300]
    assert any(one.startswith("1 damaged line was left out")
               for one in reading_text.sentences(log.source.inferred))


def test_many_damaged_lines_are_refused(tmp_path: Path) -> None:
    rows = cells()
    for i in range(13):
        del rows[40 * i + 5][-1]
    assert "the line has 4 cells where the others have 5" in refusal(tmp_path, rows)
