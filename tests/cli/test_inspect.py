"""inspect: what a log holds, before anything is judged."""

import json
import os
import subprocess
import sys
from pathlib import Path

from .conftest import write_log

ROOT = Path(__file__).parents[2]


def test_columns_units_sampling_and_gaps(run, tmp_path):
    log = write_log(tmp_path / "log.csv", [200] * 100)
    lines = log.read_text().splitlines(keepends=True)
    log.write_text("".join(lines[:41] + lines[61:]))
    done = run("inspect", log)
    assert done.code == 0
    assert done.err == ""
    assert "80 samples over 1 min 39 s, no date" in done.out
    assert "Sampling: one every 1 s (1 Hz)" in done.out
    assert "Gaps: 1 gap, 21.0 s in all" in done.out
    assert "0:00:39.0 to 0:01:00.0" in done.out
    assert "calibrated_airspeed" in done.out
    assert "recognised by its name, unit from the brackets in its name" in done.out
    said = json.loads(run("inspect", log, "--json").out)
    flight, = said["flights"]
    assert flight["longest_gaps_s"] == [[39.0, 60.0]]
    speed = next(one for one in flight["channels"] if one["channel"] == "calibrated_airspeed")
    assert (speed["column"], speed["unit"]) == ("CAS [kt]", "kt")
    reach = next(one for one in flight["ranges"] if one["channel"] == "calibrated_airspeed")
    assert (reach["least"], reach["greatest"], reach["unit"]) == (200.0, 200.0, "kt")


def test_a_line_of_text_a_channel_in_80_columns(run, tmp_path):
    speeds = [200 + i / 10 for i in range(500)]
    speeds[250] = 260
    log = write_log(tmp_path / "log.csv", [*speeds, *[""] * 300, *[200] * 200])
    out = run("inspect", log).out
    line = next(line for line in out.splitlines() if line.startswith("calibrated_airspeed     ")
                and "kt" not in line)
    assert len(line) <= 80
    assert line.count("█") == 1
    assert "······" in line
    assert line.rstrip("▁").endswith("·")


def test_what_screening_finds_is_said(run, tmp_path):
    speeds = [200.0] * 60
    speeds[30] = 400.0
    log = write_log(tmp_path / "log.csv", [*speeds, "", ""])
    done = run("inspect", log)
    assert "Screening: 3.0 s (4.8 %) of 1 min 02 s airborne screened out" in done.out
    assert ("  Calibrated airspeed: out and at once back, faster than plausible for 1.0 s of "
            "1 min 00 s, from 0:00:30.0: screened out.") in done.out
    assert "  Calibrated airspeed: no value for 2.0 s of 1 min 02 s, from 0:01:00.0" in done.out
    flight, = json.loads(run("inspect", log, "--json").out)["flights"]
    spike = next(one for one in flight["quality"] if one["name"] == "faster than plausible"
                 and one["channel"] == "calibrated_airspeed")
    assert (spike["raised_s"], spike["stretches"], spike["screened_out"]) == (1.0, [[30, 31]], True)
    assert flight["screened_s"][""] == 3.0


def test_each_flight_of_a_log_is_shown(run, tmp_path):
    path = tmp_path / "two.csv"
    rows = [f"{t},5000,{v},4\n" for start, v in ((0, 200), (9000, 250))
            for t in range(start, start + 30)]
    path.write_text("Time [s],Pressure Altitude [ft],CAS [kt],SAT [degC]\n" + "".join(rows))
    out = run("inspect", path).out
    assert "Flight 1, from 0:00:00.0\n30 samples over 29.0 s" in out
    assert "Flight 2, from 2:30:00.0\n30 samples over 29.0 s" in out
    said = json.loads(run("inspect", path, "--json").out)
    assert [one["ranges"][1]["greatest"] for one in said["flights"]] == [200.0, 250.0]


def test_a_terminal_that_knows_no_blocks(tmp_path):
    log = write_log(tmp_path / "log.csv", [200 + i for i in range(50)])
    log.write_text(log.read_text().replace("SAT", "Ω"), encoding="utf-8")
    sheet = tmp_path / "columns.toml"
    sheet.write_text('[columns]\nstatic_air_temperature = { column = "Ω [degC]", unit = "degC" }\n',
                     encoding="utf-8")
    done = subprocess.run([sys.executable, "-m", "loganalyze", "inspect", str(log), "--columns",
                           str(sheet)],
                          capture_output=True, cwd=ROOT, check=False,
                          env=os.environ | {"PYTHONIOENCODING": "latin-1"})
    assert done.stderr == b""
    assert done.returncode == 0
    out = done.stdout.decode("latin-1")
    assert "calibrated_airspeed     _........---" in out
    assert "static_air_temperature  ? [degC]" in out


def test_the_columns_file_that_was_used_is_written(run, tmp_path):
    log = write_log(tmp_path / "log.csv", [200] * 20)
    target = tmp_path / "columns.toml"
    done = run("inspect", log, "--write-columns", target)
    assert (done.code, done.err) == (0, "")
    assert ('calibrated_airspeed = { column = "CAS [kt]", unit = "kt" }  # recognised by its name, '
            "unit from the brackets in its name") in target.read_text().splitlines()
    plain = json.loads(run("inspect", log, "--json").out)
    told = json.loads(run("inspect", log, "--json", "--columns", target).out)
    assert [flight["ranges"] for flight in told["flights"]] == [
        flight["ranges"] for flight in plain["flights"]]
    assert told["flights"][0]["channels"][0]["known_by"] == (
        "named in the columns file, unit from the columns file")
    assert [one.name for one in sorted(tmp_path.iterdir())] == ["columns.toml", "log.csv"]


def test_a_folder_of_columns_files_is_searched(run, sheet, tmp_path):
    log = write_log(tmp_path / "log.csv", [250] * 20)
    log.write_text(log.read_text().replace("CAS [kt]", "VC"))
    folder = tmp_path / "families"
    folder.mkdir()
    for name, unit in (("VC", "km/h"), ("VCAS", "kt")):
        (folder / f"{name}.toml").write_text(
            f'[signature]\nheader = ["{name}"]\n[columns]\ncalibrated_airspeed = '
            f'{{ column = "{name}", unit = "{unit}" }}\n')
    said = json.loads(run("inspect", log, "--json", "--columns", folder).out)
    assert said["flights"][0]["channels"][1]["unit"] == "km/h"
    done = run("analyze", log, "--limits", sheet, "--columns", folder, "--json")
    assert done.code == 0
    inputs = {one["role"]: one["file"] for one in json.loads(done.out)["inputs"]}
    assert inputs["columns"] == "VC.toml"


def test_a_columns_file_is_not_overwritten_unasked(run, tmp_path):
    log = write_log(tmp_path / "log.csv", [200] * 20)
    target = tmp_path / "columns.toml"
    target.write_text("# mine\n")
    done = run("inspect", log, "--write-columns", target)
    assert (done.code, done.out) == (2, "")
    assert done.err == (f"loganalyze: {target}: the file exists already; name another file, or "
                        "give --overwrite to replace it.\n")
    assert target.read_text() == "# mine\n"
    assert run("inspect", log, "--write-columns", target, "--overwrite").code == 0
    assert "[signature]" in target.read_text()
    for place, what in ((tmp_path, "this is a folder"),
                        (tmp_path / "none" / "columns.toml", "the file can't be written")):
        done = run("inspect", log, "--write-columns", place)
        assert done.code == 2
        assert done.err.startswith(f"loganalyze: {place}: {what}")
        assert len(done.err.splitlines()) == 1


def test_a_log_that_is_refused_writes_a_columns_file_to_start_from(run, tmp_path):
    log, columns = tmp_path / "log.csv", tmp_path / "columns.toml"
    log.write_text("Time [s],CAS\n0,1\n1,2\n")
    done = run("inspect", log, "--write-columns", columns)
    assert done.code == 2
    assert f"The columns file to start from is in {columns}" in done.err
    assert 'calibrated_airspeed = { column = "CAS", unit = "kt" }   # check' in columns.read_text()


def test_a_log_that_no_columns_file_mends_writes_none(run, tmp_path):
    log = tmp_path / "log.csv"
    log.write_text("")
    assert run("inspect", log, "--write-columns", tmp_path / "columns.toml").code == 2
    assert [one.name for one in tmp_path.iterdir()] == ["log.csv"]


def test_several_logs_and_one_recording_in_several_files(run, tmp_path):
    whole = write_log(tmp_path / "whole.csv", [200 + i for i in range(40)])
    lines = whole.read_text().splitlines(keepends=True)
    parts = [tmp_path / "a.csv", tmp_path / "b.csv"]
    parts[0].write_text("".join(lines[:21]))
    parts[1].write_text("".join([lines[0], *lines[21:]]))
    apart = json.loads(run("inspect", *parts, "--json").out)
    assert [one["flights"][0]["samples"] for one in apart] == [20, 20]
    done = run("inspect", *parts, "--together", "--json", "--write-columns", tmp_path / "c.toml")
    assert json.loads(done.out)["flights"][0]["samples"] == 40
    assert (tmp_path / "c.toml").exists()
    assert run("inspect", *parts, "--write-columns", tmp_path / "d.toml").code == 2
    done = run("inspect", parts[0], tmp_path / "none.csv", parts[1])
    assert done.code == 2
    assert done.out.count("20 samples over 19.0 s") == 2
    assert len(done.err.splitlines()) == 1
