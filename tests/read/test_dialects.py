"""Exports that differ in how they are written are read to the same flight log."""

from __future__ import annotations

import gzip
from pathlib import Path

import numpy as np
import pyarrow as pa
import pytest
from small_exports import ALTITUDE, KT, PLAIN, SPEED, TEMPERATURE, TIME, export

from loganalyze import ColumnsFile, FlightLog, Problem, read_log
from loganalyze.sheets.export_options import FileHabits

DECIMAL_COMMA = PLAIN.replace(",", ";").replace(".", ",")
UNITS_ROW = """time,pressure altitude,ias,sat
s,ft,kt,degC
0,20000,200.5,-24.6
0.25,20010,201,-24.7
0.5,20020,201.5,-24.8
0.75,20030,202,-24.9
"""
PREAMBLE = "Recorder export\nTail: invented, Operator: invented\nSoftware 1.2, build 7\n\n"

QUOTED = """time_s,pressure_altitude_ft,ias_kt,sat_degc
"0","20000","200.5","-24.6"
"0.25","20010","201","-24.7"
"0.5","20020","201.5","-24.8"
"0.75","20030","202","-24.9"
"""

HABITS: dict[str, bytes] = {
    "plain": PLAIN.encode(),
    "carriage returns": PLAIN.replace("\n", "\r\n").encode(),
    "no newline at the end": PLAIN.rstrip("\n").encode(),
    "blank lines at the end": (PLAIN + "\n\n\n").encode(),
    "byte order mark": b"\xef\xbb\xbf" + PLAIN.encode(),
    "UTF-16 little endian": PLAIN.encode("utf-16"),
    "UTF-16 big endian": b"\xfe\xff" + PLAIN.encode("utf-16-be"),
    "UTF-16 without a mark": PLAIN.encode("utf-16-le"),
    "Latin-1 degree sign": PLAIN.replace("sat_degc", "SAT (°C)").encode("latin-1"),
    "UTF-8 degree sign": PLAIN.replace("sat_degc", "SAT (°C)").encode(),
    "Latin-1 text column": PLAIN.replace("\n", ",\xe9t\xe9\n").encode("latin-1"),
    "semicolon": PLAIN.replace(",", ";").encode(),
    "semicolon and decimal comma": DECIMAL_COMMA.encode(),
    "decimal comma, quoted": QUOTED.replace(".", ",").encode(),
    "tab": PLAIN.replace(",", "\t").encode(),
    "tab and decimal comma": DECIMAL_COMMA.replace(";", "\t").encode(),
    "pipe": PLAIN.replace(",", "|").encode(),
    "quoted names": PLAIN.replace("time_s,pressure_altitude_ft", '"time_s","pressure_altitude_ft"')
    .encode(),
    "quoted cells": QUOTED.encode(),
    "preamble": (PREAMBLE + PLAIN).encode(),
    "comments before the header": ("# made by a recorder\n# 2 lines, of comment\n" + PLAIN)
    .encode(),
    "comments among the rows": PLAIN.replace(
        "\n0.5,", "\n# event, marked, by, crew\n0.5,").encode(),
    "short comment among the rows": PLAIN.replace("\n0.5,", "\n# event\n0.5,").encode(),
    "a line of blanks among the rows": PLAIN.replace("\n0.5,", "\n   \n0.5,").encode(),
    "a line of delimiters among the rows": PLAIN.replace("\n0.5,", "\n,,\n0.5,").encode(),
    "header in a comment": ("# " + PLAIN).encode(),
    "units row": UNITS_ROW.encode(),
    "units row in brackets": UNITS_ROW.replace("s,ft,kt,degC", "[s],[ft],[kt],[degC]").encode(),
    "header come again": PLAIN.replace("\n0.5,", "\n" + PLAIN.split("\n")[0] + "\n0.5,").encode(),
    "units row come again": UNITS_ROW.replace(
        "\n0.5,", "\n" + "\n".join(UNITS_ROW.split("\n")[:2]) + "\n0.5,").encode(),
    "delimiter at every line's end": PLAIN.replace("\n", ",\n").encode(),
    "delimiter at the rows' ends only": PLAIN.replace("\n", ",\n").replace("degc,", "degc")
    .encode(),
    "delimiter at the header's end only": PLAIN.replace("degc", "degc,").encode(),
    "blanks around cells": PLAIN.replace(",", " , ").encode(),
    "columns of fixed width": PLAIN.replace(",", ",      ").encode(),
    "a cut last line": (PLAIN + "1,20040,20").encode(),
    "a column of words": PLAIN.replace("\n", ",cruise\n", 9).replace("degc,cruise", "degc,phase")
    .encode(),
    "a column without a name": PLAIN.replace("\n", ",7\n").replace("degc,7", "degc,").encode(),
    "plus signs": PLAIN.replace(",20", ",+20").encode(),
    "carriage returns alone": PLAIN.replace("\n", "\r").encode(),
    "carriage returns alone, UTF-16": PLAIN.replace("\n", "\r").encode("utf-16"),
    "delimiters at some rows' ends": PLAIN.replace("201,-24.7", "201,-24.7,,").encode(),
    "a sentence at the end": (PLAIN + "End of data, 4 samples\n").encode(),
    "a heading on every page": PLAIN.replace("\n0.5,", "\n\x0cReplay, page 2\n\n0.5,").encode(),
    "a stray line of words": PLAIN.replace("\n0.5,", "\nEVENT,by the crew,,\n0.5,").encode(),
    "exponents": PLAIN.replace("20000", "2.0000E+04").encode(),
}


def check(log: FlightLog) -> None:
    np.testing.assert_allclose(log.time, TIME, atol=1e-12)
    np.testing.assert_allclose(log.channels["pressure_altitude"].values, ALTITUDE, rtol=1e-12)
    np.testing.assert_allclose(log.channels["indicated_airspeed"].values, SPEED, rtol=1e-12)
    np.testing.assert_allclose(log.channels["static_air_temperature"].values, TEMPERATURE,
                               rtol=1e-12)


@pytest.mark.parametrize("habit", HABITS)
def test_every_habit_reads_to_the_same_log(habit: str, tmp_path: Path) -> None:
    check(read_log(export(tmp_path, HABITS[habit])))


@pytest.mark.parametrize("habit", ["plain", "UTF-16 little endian", "semicolon and decimal comma"])
@pytest.mark.parametrize("pack", [gzip.compress, pa.compress])
def test_packed_exports(habit: str, pack: object, tmp_path: Path) -> None:
    data = HABITS[habit]
    if pack is gzip.compress:
        log = read_log(export(tmp_path, gzip.compress(data), "flight.csv.gz"))
        assert log.source.dialect["compression"] == "gzip"
    else:
        packed = pa.compress(data, "zstd", asbytes=True)
        log = read_log(export(tmp_path, packed, "flight.csv.zst"))
        assert log.source.dialect["compression"] == "zstd"
    check(log)


def test_the_dialect_is_kept_with_the_log(tmp_path: Path) -> None:
    path = export(tmp_path, PREAMBLE + DECIMAL_COMMA)
    dialect = read_log(path).source.dialect
    assert dialect == {
        "format": "CSV", "encoding": "utf-8", "delimiter": "semicolon", "decimal": "comma",
        "header_line": 5, "first_line": 6, "units_row": False, "clock": "elapsed s",
        "time_column": "time_s",
    }


def test_blank_cells_left_out_at_the_ends_of_lines(tmp_path: Path) -> None:
    rows = [f"{i},20000,200{'' if i % 3 else ',-24.6'}" for i in range(30)]
    log = read_log(export(tmp_path, "\n".join([PLAIN.split("\n")[0], *rows, ""])))
    assert len(log) == 30
    channel = log.channels["static_air_temperature"]
    assert channel.rows is not None
    assert channel.rows.tolist() == list(range(0, 30, 3))
    np.testing.assert_allclose(channel.values, TEMPERATURE[0])


GROUPED = {
    "comma": ('"3,900.5"', '"12,345,678"', "point"), "point": ("3.900,5", "12.345.678", "comma"),
    "blank": ("3 900,5", "12\u00a0345\u202f678", "comma"), "apostrophe": ("3'900.5", "12'345'678",
                                                                       "point"),
}


@pytest.mark.parametrize("mark", GROUPED)
def test_thousands_are_read_where_the_columns_file_states_them(mark: str, tmp_path: Path) -> None:
    first, second, decimal = GROUPED[mark]
    text = f"time_s;press_alt_m;ias_kt\n0;{first};200\n1;{second};200\n2;;200\n3;99;200\n"
    sheet = ColumnsFile(file=FileHabits(decimal=decimal, thousands=mark))
    log = read_log(export(tmp_path, text), sheet)
    np.testing.assert_array_equal(log.channels["pressure_altitude"].values,
                                  [3900.5, 12345678, np.nan, 99])
    assert log.source.dialect["thousands"] == mark
    wrong = text.replace("99;", "39.00;" if mark == "point" else "3,9,0;")
    with pytest.raises(Problem, match="isn't a number"):
        read_log(export(tmp_path, wrong), sheet)


def test_what_the_columns_file_says_of_the_file_is_taken(tmp_path: Path) -> None:
    text = "a;b,c;d\n1;2,3;4\ntime_s;press_alt_ft;ias_kt;été\n0;1,5;200;1\n1;2,5;200;1\n"
    path = export(tmp_path, text.encode("latin-1"))
    sheet = ColumnsFile(file=FileHabits(delimiter="semicolon", decimal="comma", header_line=3,
                                        encoding="latin-1"))
    log = read_log(path, sheet)
    np.testing.assert_allclose(log.channels["pressure_altitude"].values, [0.4572, 0.762])
    assert log.source.dialect["header_line"] == 3


def test_lines_without_a_sample_are_counted(tmp_path: Path) -> None:
    log = read_log(export(tmp_path, PLAIN.replace("\n0.5,", "\n# event\n# another\n0.5,") + "1,2"))
    assert log.steps[0].counts["lines without a sample"] == 3
    assert log.steps[0].counts["rows"] == 4


def test_the_source_has_size_and_hash(tmp_path: Path) -> None:
    path = export(tmp_path, PLAIN)
    source = read_log(path).source
    assert (source.size, source.path) == (len(PLAIN), path)
    assert source.modified_ns == path.stat().st_mtime_ns
    assert len(source.sha256) == 64


def test_words_for_missing_values_are_nan(tmp_path: Path) -> None:
    words = ["", "NA", "N/A", "NaN", "nan", "null", "NULL", "---", "***", "NCD", "FAIL", "INOP",
             "-", "#N/A", "  ", " NA "]
    rows = [f"{i},{20000 + i},{word},-20" for i, word in enumerate(words)]
    rows += [f"{len(words) + i},20000,201,-20" for i in range(len(words))]
    log = read_log(export(tmp_path, "\n".join(["time_s,press_alt_ft,ias_kt,sat_degc", *rows])))
    speed = log.channels["indicated_airspeed"]
    assert speed.rows is None
    assert np.isnan(speed.values[: len(words)]).all()
    np.testing.assert_allclose(speed.values[len(words):], 201 * KT)
    assert not np.isnan(log.channels["pressure_altitude"].values).any()


@pytest.mark.parametrize(("text", "sentence"), [
    (PLAIN.replace(",", ";").replace("20010", "20.010,5"),
     '{}, line 3: "20.010,5" holds a thousands separator beside a decimal mark; export the log '
     "without thousands separators, or state decimal and thousands under [file] in a "
     "columns file."),
    ("time_s;press_alt_ft;ias_kt;sat_degc\n0;20,000;200;-24\n1;20,010;200;-24\n",
     '{}: "20,000" may hold a thousands separator or a decimal comma; export the log without '
     "thousands separators, or state decimal and thousands under [file] in a columns file."),
])
def test_ambiguous_separators_are_refused(text: str, sentence: str, tmp_path: Path) -> None:
    path = export(tmp_path, text)
    with pytest.raises(Problem) as caught:
        read_log(path)
    assert caught.value.sentence == sentence.format(path)
