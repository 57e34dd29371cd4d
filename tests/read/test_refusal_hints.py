"""Every refusal names what mends it, and offers a columns file with what was recognised."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest
from gallery.refused import REFUSED, Refusal

from loganalyze import ColumnsFile, Problem, read_log
from loganalyze.cli import main
from loganalyze.sheets.columns_file import CLOCK_PARTS, Column
from loganalyze.sheets.export_options import ClockHabits, FileHabits, LongTable, Signature

KEYS = {*ColumnsFile.model_fields, *Column.model_fields, *ClockHabits.model_fields,
        *FileHabits.model_fields, *LongTable.model_fields, *Signature.model_fields, *CLOCK_PARTS,
        "pressure_altitude", "indicated_airspeed"} - {"file", "column", "columns"}
CONCRETE = re.compile(
    r"^(export|give|add|download|unpack|cut the (log|file)|mend the|name the (log|right one)|"
    r"name a log|name one of the columns found|write it such as)")

AIRSPEED, ALTITUDE = "indicated_airspeed", "pressure_altitude"
EDITS: dict[str, dict[str, dict[str, Any]]] = {
    "rows_above_header.csv": {"file": {"header_line": 21}},
    "thousands_beside_comma.csv": {"file": {"decimal": "comma", "thousands": "point"}},
    "thousands_or_comma.csv": {"file": {"decimal": "point", "thousands": "comma"}},
    "unknown_state.csv": {"gear_down": {"values": {"UP": 0, "DOWN": 1, "TRANSIT": 0}}},
    "unit_unknown.csv": {AIRSPEED: {"unit": "kt"}},
    "unit_unstated.csv": {ALTITUDE: {"unit": "ft"}},
    "units_disagree.csv": {AIRSPEED: {"unit": "km/h"}},
    "which_altitude.csv": {ALTITUDE: {"column": "Altitude [ft]"}},
    "which_airspeed.csv": {AIRSPEED: {"column": "Airspeed [kt]"}},
    "two_airspeeds.csv": {AIRSPEED: {"column": "KIAS"}},
    "no_time.csv": {"time": {"column": "Sample", "unit": "s"}},
    "no_airspeed.csv": {AIRSPEED: {"column": "Ground Speed [kt]"}},
    "named_column_missing.csv": {AIRSPEED: {"column": "IAS [kt]"}},
    "no_family.csv": {"time": {"column": "Time [s]"}, ALTITUDE: {"column": "HP", "unit": "ft"},
                      AIRSPEED: {"column": "VI", "unit": "kt"}},
    "day_or_month.csv": {"clock": {"form": "day first"}},
    "seconds_or_milliseconds.csv": {"time": {"unit": "ms"}},
    "day_fraction.csv": {"clock": {"form": "time of day"}},
    "decimal_hours.csv": {"time": {"unit": "h"}},
    "decimal_minutes.csv": {"time": {"unit": "min"}},
}
"""What the hint of each refusal that a columns file can mend says to add to the starter."""
TAKEN = {"no_airspeed.csv": ("ground_speed",)}
"""Channels whose column becomes another one."""


def problem_of(refusal: Refusal) -> Problem:
    with pytest.raises(Problem) as caught:
        read_log(refusal.path, refusal.columns)
    return caught.value


def starter_of(problem: Problem) -> dict[str, Any]:
    assert problem.starter
    assert problem.starter in problem.details
    return tomllib.loads(problem.starter)


@pytest.mark.parametrize("refusal", REFUSED, ids=lambda one: one.file)
def test_every_refusal_names_what_mends_it(refusal: Refusal) -> None:
    hint = problem_of(refusal).hint
    stated = [part for part in re.split("; |, or ", hint) if "columns file" in part]
    for part in stated:
        assert set(re.findall(r"[a-z_0-9]+", part)) & KEYS or "name a columns file" in part, part
    assert stated or CONCRETE.match(hint), hint


@pytest.mark.parametrize("name", EDITS)
def test_the_starter_and_the_named_key_make_the_log_read(name: str, tmp_path: Path) -> None:
    refusal = next(one for one in REFUSED if one.file == f"refused/{name}")
    starter = starter_of(problem_of(refusal))
    for place, keys in EDITS[name].items():
        table = starter if place in ("file", "clock") else starter.setdefault("columns", {})
        table[place] = {**table.get(place, {}), **keys}
    for channel in TAKEN.get(name, ()):
        del starter["columns"][channel]
    log = read_log(refusal.path, ColumnsFile.model_validate(starter))
    assert {"indicated_airspeed"} <= set(log.channels)
    assert len(log) >= 16


def test_all_that_a_columns_file_mends_is_tried() -> None:
    """No refusal whose hint names a key is left out, but those without the column that it wants."""
    without = {"minute_missing.csv", "nested.parquet", "clock_reset.csv", "newest_first.csv",
               "far_stamps.parquet", "two_families.csv"}
    named = {refusal.file.removeprefix("refused/") for refusal in REFUSED
             if "columns file" in problem_of(refusal).hint}
    assert named - without <= set(EDITS)


def test_the_starter_holds_all_that_was_recognised(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_text(
        "UTC;Pressure Altitude [ft];Airspeed [kt];SAT [degC];Gear Down;Torque [%]\n" + "".join(
            f"10:00:{s:02};20000,5;2{s:02},5;-20,5;{s % 2};50,5\n" for s in range(40)))
    with pytest.raises(Problem) as caught:
        read_log(path)
    starter = starter_of(caught.value)
    assert starter["file"] == {"delimiter": "semicolon", "decimal": "comma"}
    assert set(starter["columns"]) >= {"time", "pressure_altitude", "indicated_airspeed",
                                       "static_air_temperature", "gear_down", "torque"}
    assert starter["columns"]["static_air_temperature"] == {"column": "SAT [degC]", "unit": "degC"}


def test_inspect_writes_the_starter_of_a_log_that_is_refused(
        tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    refusal = next(one for one in REFUSED if one.file == "refused/which_altitude.csv")
    target = tmp_path / "columns.toml"
    with pytest.raises(SystemExit) as stopped:
        main(["inspect", str(refusal.path), "--write-columns", str(target)])
    assert stopped.value.code == 2
    assert f"loganalyze: {refusal.said}" in capsys.readouterr().err
    assert tomllib.loads(target.read_text())["columns"]["pressure_altitude"]["column"] == "?"
    target.write_text(target.read_text().replace('"?"', '"Altitude [ft]"'))
    assert "pressure_altitude" in read_log(refusal.path, target).channels
