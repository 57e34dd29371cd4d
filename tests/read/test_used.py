"""The columns file that was used: reads the same log, and fits its family."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from gallery.cases import CASES, Case
from small_exports import PLAIN, export

from loganalyze import ColumnsFile, Problem, read_columns, read_log
from loganalyze.read.plan.columns_file_export import used_columns
from loganalyze.read.plan.columns_file_text import columns_text
from loganalyze.text.language import reading_text


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.file)
def test_a_log_reads_the_same_with_the_file_that_was_used(case: Case, tmp_path: Path) -> None:
    sheet, known = used_columns(case.path, case.columns)
    path = tmp_path / "used.toml"
    words = {channel: reading_text.known_by(column) for channel, column in known.items()}
    path.write_text(columns_text(sheet, words), encoding="utf-8")
    assert read_columns(path) == sheet
    if case.file in ("later_unit.csv", "later_units_row.csv"):
        # One unit can't be stated for a file whose headers state two.
        with pytest.raises(Problem, match="a second header"):
            read_log(case.path, path)
        return
    once, again = read_log(case.path, case.columns), read_log(case.path, path)
    np.testing.assert_array_equal(once.time, again.time)
    assert once.utc_start == again.utc_start
    assert list(once.channels) == list(again.channels)
    for name, channel in once.channels.items():
        other = again.channels[name]
        np.testing.assert_array_equal(channel.values, other.values)
        assert np.array_equal(channel.rows, other.rows) if channel.rows is not None else (
            other.rows is None)
        assert (channel.column, channel.lag_s, channel.skew_s) == (
            other.column, other.lag_s, other.skew_s)
    twice, _ = used_columns(case.path, path)
    assert twice == sheet


def test_what_was_decided_from_one_log_holds_for_the_next(tmp_path: Path) -> None:
    """The 28th tells that the day comes first; the next log of the family couldn't tell."""
    sheet, _ = used_columns(next(one.path for one in CASES if one.file == "day_first.csv"))
    rows = ["Date;Time UTC;Pressure Altitude [ft];IAS [kt];SAT [degC]",
            "01/03/2026;10:00:00;3900;160;0.4", "01/03/2026;10:00:01;3900;160;0.4"]
    path = export(tmp_path, "\n".join([*rows, ""]))
    with pytest.raises(Problem, match="day first or month first"):
        read_log(path)
    assert read_log(path, sheet).utc_start == np.datetime64("2026-03-01T10:00:00", "ns")


def test_an_inferred_unit_is_stated(tmp_path: Path) -> None:
    path = export(tmp_path, "time_s,press_alt_ft,ias_kt,OAT\n0,0,200,288.1\n1,0,200,288.2\n")
    sheet, known = used_columns(path)
    assert sheet.columns["outside_air_temperature"].unit == "K"
    assert reading_text.known_by(known["outside_air_temperature"]) == (
        "recognised by its name, unit inferred")


def test_the_text_is_the_file(tmp_path: Path) -> None:
    sheet = ColumnsFile.model_validate({
        "signature": {"header": ["A \"quoted\" name", "T, s"]},
        "file": {"delimiter": "tab", "decimal": "comma", "thousands": "point", "header_line": 7},
        "clock": {"form": "day of year", "year": 2026, "utc_offset_s": -3600.5},
        "columns": {
            "time": {"column": "T, s", "unit": "s", "missing": ["--", -9999.0]},
            "gear_down": {"column": "A \"quoted\" name", "values": {"T/O # 1": 0, "°": 1}},
            "pressure_altitude": {"column": "HP", "fine": "HPF", "fine_span": 1000.25,
                                  "unit": "ft", "skew_s": -0.125},
        },
    })
    path = tmp_path / "columns.toml"
    path.write_text(columns_text(sheet, {"time": "told"}), encoding="utf-8")
    assert read_columns(path) == sheet
    assert "time = { column = \"T, s\", unit = \"s\", missing = [\"--\", -9999] }  # told" in (
        path.read_text(encoding="utf-8").splitlines())


def test_a_log_that_is_refused_has_no_file(tmp_path: Path) -> None:
    with pytest.raises(Problem, match="no column is recognised as the time"):
        used_columns(export(tmp_path, PLAIN.replace("time_s", "sample")))
