"""A header that comes again with other columns, another order or another unit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from loganalyze import Problem, read_flights, read_log
from loganalyze.text.language import reading_text

KT = 1852 / 3600
NAMES = ["Time [s]", "Pressure Altitude [ft]", "IAS [kt]"]


def rows(start: int, stop: int, order: tuple[int, ...] = (0, 1, 2), factor: float = 1.0,
         delimiter: str = ",", more: str = "") -> str:
    """Return rows of a second each: 5000 ft, 220 kt and a thousandth a second."""
    lines = []
    for t in range(start, stop):
        cells = [f"{t}", "5000", f"{(220 + t / 1000) * factor:.4f}"]
        lines.append(delimiter.join([*(cells[i] for i in order), *([more] if more else [])]))
    return "\n".join(lines) + "\n"


def check(path: Path, count: int) -> None:
    """Hold both readings of a log against what was written: 220 kt and a thousandth a second."""
    flights = list(read_flights(path))
    assert len(flights) == 1
    for log in (read_log(path), flights[0]):
        assert log.time.tolist() == list(range(count))
        speed = log.channels["indicated_airspeed"]
        assert speed.rows is None
        np.testing.assert_allclose(speed.values / KT, 220 + np.arange(count) / 1000, atol=1e-3)
        altitude = log.channels["pressure_altitude"].values
        np.testing.assert_allclose(altitude, 5000 * 0.3048)


def log(path: Path, *parts: str) -> Path:
    path = path / "flight.csv"
    path.write_text("".join(parts))
    return path


def test_another_order_is_obeyed(tmp_path: Path) -> None:
    path = log(tmp_path, ",".join(NAMES) + "\n", rows(0, 300),
               ",".join([NAMES[2], NAMES[0], NAMES[1]]) + "\n", rows(300, 700, (2, 0, 1)))
    check(path, 700)
    assert any("line 302" in one and "order" in one
               for one in reading_text.sentences(read_log(path).source.inferred))


def test_another_unit_in_the_name_is_obeyed(tmp_path: Path) -> None:
    check(log(tmp_path, ",".join(NAMES) + "\n", rows(0, 300),
              ",".join([*NAMES[:2], "IAS [km/h]"]) + "\n", rows(300, 700, factor=1.852)), 700)


@pytest.mark.parametrize("first", [20, 600])
def test_another_unit_in_a_units_row_is_obeyed(tmp_path: Path, first: int) -> None:
    header = "Time,Pressure Altitude,IAS\ns,ft,{}\n"
    check(log(tmp_path, header.format("kt"), rows(0, first), header.format("km/h"),
              rows(first, 700, factor=1.852)), 700)


def test_a_units_row_alone_is_obeyed(tmp_path: Path) -> None:
    check(log(tmp_path, "Time,Pressure Altitude,IAS\ns,ft,kt\n", rows(0, 300), "s,ft,km/h\n",
              rows(300, 700, factor=1.852)), 700)


def test_a_commented_header_is_obeyed(tmp_path: Path) -> None:
    header = "# " + ",".join(NAMES) + "\n"
    check(log(tmp_path, header, rows(0, 300), header.replace("IAS [kt]", "IAS [km/h]"),
              rows(300, 700, factor=1.852)), 700)


def test_the_same_header_goes_on_being_skipped(tmp_path: Path) -> None:
    header = "Time,Pressure Altitude,IAS\ns,ft,kt\n"
    check(log(tmp_path, header, rows(0, 300), header, rows(300, 500),
              header.splitlines()[0] + "\n", rows(500, 700)), 700)


@pytest.mark.parametrize("first", [20, 200, 600])
def test_a_column_that_nobody_asks_for_may_be_added(tmp_path: Path, first: int) -> None:
    check(log(tmp_path, ",".join(NAMES) + "\n", rows(0, first),
              ",".join([*NAMES, "Cabin Crew Call"]) + "\n", rows(first, 700, more="1")), 700)


@pytest.mark.parametrize("first", [20, 200, 600])
def test_a_channel_that_is_added_is_refused(tmp_path: Path, first: int) -> None:
    path = log(tmp_path, ",".join(NAMES) + "\n", rows(0, first),
               ",".join([*NAMES, "Gear Down"]) + "\n", rows(first, 700, more="1"))
    with pytest.raises(Problem, match=f"line {first + 2}: .*gear") as caught:
        read_log(path)
    assert "cut the file" in caught.value.sentence
    with pytest.raises(Problem, match=f"line {first + 2}: .*gear"):
        list(read_flights(path))


@pytest.mark.parametrize("names", [
    "Time [s],Pressure Altitude [ft],CAS [kt]", "Time [s],Pressure Altitude [ft],Pitch [deg]",
    "P1,P2,P3", "Time [ms],Pressure Altitude [ft],IAS [kt]", "Time [s],IAS [kt]",
    "Time [s],Pressure Altitude [ft],IAS"])
def test_other_columns_are_refused(tmp_path: Path, names: str) -> None:
    width = names.count(",") + 1
    path = log(tmp_path, ",".join(NAMES) + "\n", rows(0, 600), names + "\n",
               rows(600, 700, (0, 1, 2)[:width]))
    with pytest.raises(Problem, match="line 602") as caught:
        read_log(path)
    assert "cut the file" in caught.value.sentence


def test_another_delimiter_below_another_header_is_obeyed(tmp_path: Path) -> None:
    check(log(tmp_path, ",".join(NAMES) + "\n", rows(0, 600), ";".join(NAMES) + "\n",
              rows(600, 700, delimiter=";")), 700)


def test_lines_with_another_delimiter_are_never_left_out(tmp_path: Path) -> None:
    path = log(tmp_path, ",".join(NAMES) + "\n", rows(0, 600), rows(600, 700, delimiter=";"))
    with pytest.raises(Problem, match="line 602"):
        read_log(path)


def test_rows_above_the_header_are_refused(tmp_path: Path) -> None:
    path = log(tmp_path, rows(0, 150), ",".join([*NAMES, "Mach"]) + "\n",
               rows(150, 700, more="0.4"))
    with pytest.raises(Problem, match="line 1") as caught:
        read_log(path)
    assert "header" in caught.value.sentence


def test_two_logs_one_after_the_other(tmp_path: Path) -> None:
    path = log(tmp_path, "Recorder 1\n\n", ",".join(NAMES) + "\n", rows(0, 300), "Recorder 1\n\n",
               ",".join([NAMES[1], NAMES[0], NAMES[2]]) + "\n", rows(300, 700, (1, 0, 2)))
    check(path, 700)


def test_another_order_far_into_a_large_file(tmp_path: Path) -> None:
    path = log(tmp_path, ",".join(NAMES) + "\n", rows(0, 600_000),
               ",".join([NAMES[1], NAMES[2], NAMES[0]]) + "\n",
               rows(600_000, 900_000, (1, 2, 0)))
    read = read_log(path)
    np.testing.assert_array_equal(read.time, np.arange(900_000.0))
    np.testing.assert_allclose(read.channels["pressure_altitude"].values, 5000 * 0.3048)


def test_many_headers_of_turning_order_stay_readable(tmp_path: Path) -> None:
    order = [(0, 1, 2), (2, 1, 0)]
    parts = []
    for page in range(70):
        way = order[page % 2]
        parts += [",".join(NAMES[i] for i in way) + "\n", rows(10 * page, 10 * page + 10, way)]
    check(log(tmp_path, *parts), 700)
