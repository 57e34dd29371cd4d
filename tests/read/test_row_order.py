"""Rows a few places out of order where a clock starts again: sorted there as anywhere else."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from numpy.typing import NDArray

from loganalyze import FlightLog, read_flights, read_log
from loganalyze.text.language import reading_text

ROWS, TURN = 240, 120
"""The clock starts again at row 120."""
ORDERS = {
    "neighbours across the turn": {119: 120, 120: 119},
    "neighbours after the turn": {120: 121, 121: 120},
    "neighbours before the turn": {118: 119, 119: 118},
    "four rows turned round": {118: 121, 119: 120, 120: 119, 121: 118},
    "two rows three apart": {118: 121, 121: 118},
    "a row three places late": {118: 119, 119: 120, 120: 121, 121: 118},
    "a row three places early": {118: 121, 119: 118, 120: 119, 121: 120},
    "a row eight places early": {116: 124, **{row: row - 1 for row in range(117, 125)}},
    "two pairs": {119: 120, 120: 119, 123: 124, 124: 123},
}
STATES = "\n[columns]\nframe = { column = \"FRAME\" }\nsubframe = { column = \"SUBFRAME\" }\n"


def cells(clock: str, rate: float) -> tuple[str, list[str], str]:
    """Return a clock's header, its cells of each row, and the columns file that it needs."""
    if clock == "frame":
        numbers = (np.arange(ROWS) - TURN) % 4096
        return "FRAME", [f"{number}" for number in numbers], (
            '[clock]\nform = "frame counter"\nframe_s = 1\nframes = 4096\n'
            '[columns]\nframe = { column = "FRAME" }\n')
    if clock == "frame and subframe":
        numbers = np.arange(ROWS) - TURN
        return "FRAME,SUBFRAME", [f"{number // 4 % 4096},{number % 4}" for number in numbers], (
            '[clock]\nform = "frame counter"\nframe_s = 4\nframes = 4096\nsubframes = 4\n'
            + STATES)
    first = np.datetime64("2026-03-01T00:00:00.000", "ms")
    if clock.startswith("hour"):
        first += np.timedelta64(11, "h")
    stamps = [str(first + np.timedelta64(round(1000 * (row - TURN) / rate), "ms")).split("T")
              for row in range(ROWS)]
    if clock == "time of day":
        return "UTC", [time for _, time in stamps], ""
    if clock == "date and time":
        return "Date,UTC", [f"{date},{time}" for date, time in stamps], ""
    if clock == "stamp":
        return "UTC", [f"{date} {time}" for date, time in stamps], ""
    if clock in ("hour, minute, second", "hands at midnight"):
        return "Hour,Minute,Second", [time.replace(":", ",") for _, time in stamps], ""
    if clock == "digits":
        return "UTC", [time.replace(":", "") for _, time in stamps], ""
    assert clock == "seconds of the day"
    seconds = [(row - TURN) / rate % 86400 for row in range(ROWS)]
    return "Time [s]", [f"{one:.2f}" for one in seconds], ""


def write(path: Path, clock: str, rate: float, order: dict[int, int]) -> str:
    """Write a log whose airspeed counts its rows; returns the columns file that it needs."""
    head, times, columns = cells(clock, rate)
    lines = [f"{head},Pressure Altitude [ft],IAS [kt],SAT [degC]"]
    for place in range(ROWS):
        row = order.get(place, place)
        lines.append(f"{times[row]},{20000 + 5 * row / rate:.1f},{200 + row / 10:.1f},-20.0")
    path.write_text("\n".join(lines) + "\n")
    return columns


def check(log: FlightLog, rate: float) -> None:
    speed = log.channels["indicated_airspeed"].values * 3600 / 1852
    np.testing.assert_allclose(speed, 200 + np.arange(ROWS) / 10, atol=1e-6)
    np.testing.assert_allclose(log.time, np.arange(ROWS) / rate, atol=1e-6)
    assert any("rows were out of order" in sentence
               for sentence in reading_text.sentences(log.source.inferred))
    assert not any("left out" in sentence
                   for sentence in reading_text.sentences(log.source.inferred))


@pytest.mark.parametrize("clock", [
    "time of day", "date and time", "stamp", "hour, minute, second", "hands at midnight",
    "digits", "seconds of the day", "frame", "frame and subframe"])
@pytest.mark.parametrize("order", ORDERS)
def test_rows_out_of_order_where_the_clock_starts_again(tmp_path: Path, clock: str, order: str
                                                        ) -> None:
    path, columns = tmp_path / "log.csv", None
    stated = write(path, clock, 1.0, ORDERS[order])
    if stated:
        columns = tmp_path / "columns.toml"
        columns.write_text(stated)
    (flight,) = read_flights(path, columns)
    for log in (read_log(path, columns), flight):
        if clock == "frame and subframe" and len(log) < ROWS:
            # A few rows are half a frame: they may be left out, but none gets a wrong time.
            assert len(log) >= ROWS - 5
            speed = log.channels["indicated_airspeed"].values * 3600 / 1852
            np.testing.assert_allclose(speed, 200 + log.time / 10, atol=1e-6)
            assert any("left out" in sentence
                       for sentence in reading_text.sentences(log.source.inferred))
        else:
            check(log, 1.0)


@pytest.mark.parametrize("clock", ["time of day", "date and time", "hour, minute, second",
                                   "hands at midnight", "seconds of the day"])
@pytest.mark.parametrize("order", ORDERS)
def test_at_four_rows_a_second(tmp_path: Path, clock: str, order: str) -> None:
    write(tmp_path / "log.csv", clock, 4.0, ORDERS[order])
    check(read_log(tmp_path / "log.csv"), 4.0)


def shuffled(values: NDArray[np.float64], order: dict[int, int]) -> NDArray[np.float64]:
    return values[[order.get(row, row) for row in range(len(values))]]


@pytest.mark.parametrize("order", ORDERS)
def test_times_of_a_parquet_file(tmp_path: Path, order: str) -> None:
    rows = np.arange(ROWS, dtype=float)
    stamps = shuffled((rows - TURN) % 86400, ORDERS[order]).astype(np.int32)
    rows = shuffled(rows, ORDERS[order])
    pq.write_table(pa.table({
        "UTC": pa.array(stamps).cast(pa.time32("s")), "Pressure Altitude [ft]": 20000 + 5 * rows,
        "IAS [kt]": 200 + rows / 10}), tmp_path / "log.parquet")
    check(read_log(tmp_path / "log.parquet"), 1.0)


def test_midnight_is_said_once(tmp_path: Path) -> None:
    write(tmp_path / "log.csv", "seconds of the day", 1.0, ORDERS["two rows three apart"])
    said = reading_text.sentences(read_log(tmp_path / "log.csv").source.inferred)
    assert sum("midnight" in sentence for sentence in said) == 1
