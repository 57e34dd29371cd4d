"""A log without pressure altitude through the whole command: airspeed limits judged, no other."""

from __future__ import annotations

import json
import re
from pathlib import Path

import numpy as np
import pyarrow.parquet as pq
import pytest

from loganalyze.cli import main

MMO = """
[[limit]]
name = "MMO"
quantity = "mach"
maximum = 0.5
"""
SPEEDS = """
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = 250
[[limit]]
name = "VFE"
quantity = "calibrated_airspeed"
maximum_kt = 180
when = { flap_deg = { above = 5 } }
"""
OVER = [0, 0, 140, 230, 235, 258, 262, 240, 230, 120, 0]
"""Airspeeds [kt] of a flight that is over VMO about 0:16:40."""


def flight(path: Path, speeds: list[int], *names: str) -> Path:
    """Write 30 min at 1 Hz; `names` of further columns, each with numbers of its own."""
    time = np.arange(1800.0)
    speed = np.interp(time, [0, 60, 120, 400, 900, 960, 1000, 1100, 1500, 1700, 1799], speeds)
    speed = np.maximum(speed + np.random.default_rng(1).normal(0, 0.2, len(time)), 0)
    columns = {"Time [s]": time, "CAS [kt]": speed.round(1),
               "Flap [deg]": np.where((time < 150) | (time > 1600), 15, 0)}
    columns |= {name: np.linspace(10, -20, len(time)).round(1) for name in names}
    path.write_text(",".join(columns) + "\n" + "".join(
        ",".join(map(str, row)) + "\n" for row in zip(*columns.values(), strict=True)))
    return path


@pytest.fixture
def run(tmp_path: Path, capsys: pytest.CaptureFixture[str]):
    def running(log: Path, limits: str, *more: str) -> tuple[int, str]:
        sheet = tmp_path / "limits.toml"
        sheet.write_text('aircraft = "an invented twin"\n[airspeed]\nrecorded = "calibrated"\n'
                         f"{limits}")
        capsys.readouterr()
        with pytest.raises(SystemExit) as stopped:
            main(["analyze", str(log), "--limits", str(sheet), *more])
        out, err = capsys.readouterr()
        assert err == ""
        return int(stopped.value.code or 0), " ".join(out.split())

    return running


def test_airspeed_limits_alone_get_their_verdict(tmp_path, run):
    over, under = (flight(tmp_path / name, speeds) for name, speeds in (
        ("over.csv", OVER), ("under.csv", [0.9 * one for one in OVER])))
    code, out = run(under, SPEEDS)
    assert code == 0
    assert "No limit was exceeded in the 30 min 00 s that could be judged. The smallest" in out
    code, out = run(over, SPEEDS, "--fail-on-exceedance", "-v")
    assert code == 1
    assert "VMO was exceeded" in out
    assert "The limit pointer stood at 250.0 kt IAS." in out


def test_of_a_mixed_sheet_the_airspeed_limits_are_judged_and_the_others_named(tmp_path, run):
    over, under = (flight(tmp_path / name, speeds) for name, speeds in (
        ("over.csv", OVER), ("under.csv", [0.9 * one for one in OVER])))
    why = "MMO could not be judged: it needs the pressure altitude, and none is recorded."
    code, out = run(under, SPEEDS + MMO)
    assert code == 3
    assert ("No limit was exceeded in the 30 min 00 s that could be judged; MMO could not be "
            "judged.") in out
    assert out.count(why) == 1
    assert "Too little for a verdict" not in out
    code, out = run(under, SPEEDS + MMO, "-q")
    assert code == 3
    assert out.rstrip().endswith("; MMO could not be judged (pressure_altitude not recorded)")
    code, out = run(over, SPEEDS + MMO)
    assert code == 3
    assert "VMO was exceeded" in out
    assert out.count(why) == 1
    # The pointer would show the lower of VMO and MMO.
    assert "limit pointer" not in out
    code, out = run(over, SPEEDS + MMO, "-q", "--fail-on-exceedance")
    assert code == 1
    assert out.rstrip().endswith("; MMO could not be judged (pressure_altitude not recorded)")


def test_a_sheet_of_mach_limits_gets_no_verdict_and_is_never_clean(tmp_path, run):
    log = flight(tmp_path / "log.csv", [0.5 * one for one in OVER])
    code, out = run(log, MMO)
    assert code == 3
    assert "Nothing of the 30 min 00 s recorded could be judged." in out
    assert "No limit was exceeded" not in out
    assert run(log, MMO, "-q", "--fail-on-exceedance")[0] == 3


@pytest.mark.parametrize("names", [(), ("SAT [degC]",), ("GPS Altitude [ft]",),
                                   ("Baro Altitude [ft]", "SAT [degC]")], ids=" ".join)
@pytest.mark.parametrize("speeds", [OVER, [0.9 * one for one in OVER]], ids=["over", "under"])
def test_all_files_say_what_could_not_be_judged(names, speeds, tmp_path, run):
    log = flight(tmp_path / "log.csv", speeds, *names)
    code, out = run(log, SPEEDS + MMO, "--out", str(tmp_path / "out"), "--report", "both", "-v")
    assert code == 3
    # No tolerance is listed for what isn't recorded, and nothing absent is put in numbers.
    assert "pressure altitude: standard uncertainty" not in out.casefold()
    assert "nan" not in re.findall(r"[a-z]+", out.casefold())
    folder = tmp_path / "out" / "log"
    summary = json.loads((folder / "summary.json").read_text())
    (one,) = summary["flights"]
    assert one["unjudged_limits"] == ["MMO"]
    assert one["judged_shares"] == {"VMO": 1.0, "VFE": 1.0, "MMO": 0.0}
    assert [found["code"] for found in one["taken"] if "limit" in found["values"]] == [
        "limit_needs_altitude"]
    samples = pq.read_table(folder / "samples.parquet").to_pydict()
    assert all(value is None or np.isnan(value) for value in samples["pressure_altitude_ft"])
    assert sum(value is not None and np.isfinite(value) for value in samples["margin_kt"]) == 1800
    page = (folder / "report.html").read_text()
    assert "MMO could not be judged: it needs the pressure altitude, and none is recorded." in page
    assert "there is no track to draw" in page
    assert (folder / "report.pdf").stat().st_size > 10_000
    exceeded = speeds is OVER
    assert ("VMO was exceeded" in page) is exceeded
    assert ("; MMO could not be judged" in page) is not exceeded
    if exceeded:
        (found,) = one["exceedances"]
        assert found["assessment"] == "proven over"
        assert found["worst_pressure_altitude_ft"] is None
        told, = one["assessment"]["exceedances"]
        # What can be told of the way there is told: the speed rose, and nothing else moved.
        assert told["contributions"]["speed_change_kt"] == pytest.approx(
            told["contributions"]["lost_kt"], abs=0.05)
        assert told["contributions"]["split"] is False


@pytest.mark.parametrize("name", ["Temperature [degC]", "OAT"])
def test_a_temperature_in_doubt_costs_the_true_airspeed_limit_alone(name, tmp_path, run):
    log = flight(tmp_path / "log.csv", [0.9 * one for one in OVER], "Pressure Altitude [ft]", name)
    code, out = run(log, SPEEDS + MMO)
    assert code == 0
    assert "No limit was exceeded in the 30 min 00 s that could be judged. The smallest" in out
    assert f'Column "{name}"' in out
    code, out = run(log, SPEEDS + """
[[limit]]
name = "VT"
quantity = "true_airspeed"
maximum_kt = 300
""")
    # A gate must not let through what nobody judged.
    assert code == 3
    assert "that could be judged; VT could not be judged." in out
    assert out.count("VT could not be judged: a true airspeed limit needs") == 1


def test_inspect_offers_a_columns_file_to_start_from(tmp_path, capsys):
    log = flight(tmp_path / "log.csv", OVER, "ALT X [ft]")

    def inspected(*more: str) -> str:
        capsys.readouterr()
        with pytest.raises(SystemExit) as stopped:
            main(["inspect", str(log), *more])
        out, err = capsys.readouterr()
        assert (stopped.value.code or 0, err) == (0, "")
        return out

    out = inspected()
    start = out.split("a columns file to start from:\n")[1]
    assert "No column is recognised as the pressure altitude" in " ".join(out.split())
    columns = tmp_path / "columns.toml"
    columns.write_text(start.replace('"?"', '"ALT X [ft]"'))
    out = inspected("--columns", str(columns))
    assert json.loads(inspected("--json"))["starter"].endswith(start.strip())
    assert "pressure_altitude " in out
    assert "to start from" not in out


def with_altitude(path: Path, altitude: object) -> Path:
    """Write the flight that is over VMO with one pressure altitude [ft] in every row."""
    header, *rows = flight(path, OVER).read_text().splitlines()
    path.write_text("\n".join([f"{header},Pressure Altitude [ft]",
                               *(f"{row},{altitude}" for row in rows)]) + "\n")
    return path


@pytest.mark.parametrize("fill", [
    "", "-9999", "-9999.0", "99999", "65535", "32767", "-32768", "16383", "9999"])
def test_an_altitude_of_fill_values_throughout_is_an_absent_one(fill, tmp_path, run):
    path = with_altitude(tmp_path / "filled.csv", fill)
    why = "MMO could not be judged: it needs the pressure altitude, and none is recorded."
    code, out = run(path, SPEEDS + MMO)
    assert code == 3
    assert "VMO was exceeded" in out
    assert out.count(why) == 1
    assert ("Nothing that can be a pressure altitude stands in column Pressure Altitude [ft]: "
            "taken as not recorded") in out
    assert run(path, SPEEDS, "--fail-on-exceedance")[0] == 1
    # What the airspeed limits are, and how sure, doesn't depend on it.
    absent = flight(tmp_path / "absent.csv", OVER)
    said = [run(one, SPEEDS, "--json")[1] for one in (path, absent)]
    found = [json.loads(one)["flights"][0] for one in said]
    assert found[0]["exceedances"] == found[1]["exceedances"]
    assert found[0]["exceedances"]


@pytest.mark.parametrize("altitude", ["10000", "1023", "4096", "0"])
def test_an_altitude_that_stands_still_is_one(altitude, tmp_path, run):
    code, out = run(with_altitude(tmp_path / "level.csv", altitude), SPEEDS + MMO)
    assert code == 0
    assert "could not be judged:" not in out


@pytest.mark.parametrize("fill", ["", "-9999", "9999"])
def test_an_airspeed_of_fill_values_throughout_is_not_judged(fill, tmp_path, run):
    path = tmp_path / "lost.csv"
    path.write_text("Time [s],CAS [kt],Pressure Altitude [ft]\n" + "".join(
        f"{i},{fill},{10000 + i % 5}\n" for i in range(300)))
    code, out = run(path, SPEEDS + MMO, "-q", "--fail-on-exceedance")
    assert code == 3
    assert "could be judged" in out
