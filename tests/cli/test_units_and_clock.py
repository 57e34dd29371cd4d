"""--units, --clock, --isa-deviation and the standard input, on every command that can use them."""

import json
import re
import subprocess
import sys
from pathlib import Path

import pytest

from .conftest import SHEET, write_log

ROOT = Path(__file__).parents[2]
KMH, METRE = 1.852, 0.3048


def numbers(text: str, unit: str) -> list[float]:
    """Return the numbers that stand before a unit, in their order."""
    found = re.findall(rf"([-+]?[\d,]*\.?\d+) {re.escape(unit)}(?![\w/])", text)
    return [float(one.replace(",", "")) for one in found]


def no_knots_nor_feet(text: str) -> bool:
    return not re.search(r"\d (kt|ft|KCAS|KTAS|KIAS)\b|\bK[CTEI]AS\b", text)


COMMANDS = [
    ["airdata", "--cas", 237, "--pressure-altitude", 20000, "--sat", -20, "--limits", "SHEET",
     "--declare", "flap_deg=0"],
    ["crossover", "--cas", 245, "--mach", 0.48],
    ["crossover", "--limits", "SHEET"],
    ["envelope", "--limits", "SHEET"],
    ["inspect", "LOG"],
    ["analyze", "LOG", "--limits", "SHEET"],
]


def without_verdict(text: str) -> object:
    found = json.loads(text)
    for flight in found.get("flights", []):
        flight.pop("verdict", None)  # an inspection gives none
    return found


@pytest.mark.parametrize("command", COMMANDS, ids=lambda command: " ".join(map(str, command[:2])))
def test_the_same_in_metric_units(run, sheet, slow, command):
    arguments = [{"SHEET": sheet, "LOG": slow}.get(one, one) for one in command]
    plain, metric = run(*arguments), run(*arguments, "--units", "kmh-m")
    assert plain.code == metric.code
    body = metric.out
    if command[0] == "inspect":
        # The column's own name and unit stay as the file has them.
        body = "\n".join(" ".join(re.split(r"  +", line)[3:]) for line in body.splitlines())
    if command[0] != "analyze":  # its lines on what was read name the file's own units
        assert no_knots_nor_feet(body), body
    assert numbers(metric.out, "km/h") or "km/h CAS" in metric.out
    # Numbers in JSON stay in knots and feet; only its sentence of the verdict follows the units.
    assert [without_verdict(run(*arguments, "--json", *more).out) for more in (
        (), ("--units", "kmh-m"))].count(without_verdict(run(*arguments, "--json").out)) == 2


def test_speeds_at_a_point_are_converted_exactly(run):
    given = ["airdata", "--cas", 250, "--pressure-altitude", 25000, "--sat", -30]
    said = json.loads(run(*given, "--json").out)
    metric = run(*given, "--units", "kmh-m").out
    speeds = [said[f"{name}_kt"] * KMH for name in (
        "calibrated_airspeed", "equivalent_airspeed", "true_airspeed", "speed_of_sound")]
    assert numbers(metric, "km/h") == pytest.approx(speeds, abs=0.005)
    assert numbers(metric, "m") == pytest.approx(
        [25000 * METRE, said["density_altitude_ft"] * METRE], abs=0.5)


def test_an_envelope_is_converted_exactly(run, sheet):
    given = ["envelope", "--limits", sheet, "--from", 5000, "--to", 6000, "--step", 1000]
    rows = json.loads(run(*given, "--json").out)["envelope"]
    heading, *lines = run(*given, "--units", "kmh-m").out.splitlines()[1:]
    assert "km/h CAS" in heading
    for row, line in zip(rows, lines, strict=True):
        cells = re.split(r"  +", line)
        assert cells[0] == f"{row['pressure_altitude_ft'] * METRE:,.0f} m"
        assert float(cells[2]) == pytest.approx(row["limit_airspeed_kt"] * KMH, abs=0.05)
        assert float(cells[4]) == pytest.approx(row["true_airspeed_kt"] * KMH, abs=0.05)


def test_an_inspection_in_metric_units(run, slow):
    out = run("inspect", slow, "--units", "kmh-m").out
    row = next(line for line in out.splitlines() if line.startswith("calibrated_airspeed  "))
    assert "CAS [kt]" in row  # as the file has it
    assert row.count("370.4 km/h") == 2
    assert "1524 m" in out


def test_an_inspection_in_utc(run, tmp_path):
    path = tmp_path / "dated.csv"
    rows = [f"2024-02-03T10:{i // 60:02d}:{i % 60:02d}Z,5000,{200 + i % 3}\n" for i in range(600)]
    del rows[300:360]
    path.write_text("UTC,Pressure Altitude [ft],CAS [kt]\n" + "".join(rows))
    out = run("inspect", path, "--clock", "utc").out
    assert "  10:04:59.0Z to 10:06:00.0Z" in out
    assert "  0:04:59.0 to 0:06:00.0" in run("inspect", path).out
    assert (run("inspect", path, "--json", "--clock", "utc").out
            == run("inspect", path, "--json").out)


def test_a_log_without_a_date_is_inspected_on_the_elapsed_clock(run, tmp_path):
    path = write_log(tmp_path / "log.csv", [200] * 100)
    lines = path.read_text().splitlines(keepends=True)
    path.write_text("".join(lines[:41] + lines[61:]))
    out = run("inspect", path, "--clock", "utc").out
    assert "no date" in out
    assert "0:00:39.0 to 0:01:00.0" in out


@pytest.mark.parametrize("deviation", [-15, 0, 20])
def test_true_airspeed_where_speeds_cross(run, sheet, deviation):
    # a = sqrt(gamma R T) at the crossing's altitude, below the tropopause.
    for given in (["--cas", 245, "--mach", 0.48], ["--limits", sheet]):
        done = json.loads(run("crossover", *given, "--isa-deviation", deviation, "--json").out)
        (found,) = done.get("crossovers", [done])
        kelvin = 288.15 - 0.0065 * found["pressure_altitude_ft"] * METRE + deviation
        assert found["static_air_temperature_degc"] == pytest.approx(kelvin - 273.15, abs=1e-3)
        tas = 0.48 * (1.4 * 287.05287 * kelvin) ** 0.5 / 0.5144444444
        assert found["true_airspeed_kt"] == pytest.approx(tas, rel=1e-6)
        assert found["isa_deviation_degc"] == pytest.approx(deviation, abs=1e-5)
        text = run("crossover", *given, "--isa-deviation", deviation).out
        assert f"{tas:.1f} KTAS" in text
        assert f"ISA {deviation:+.1f}" in text


def test_a_true_airspeed_limit_crosses_elsewhere_in_warm_air(run, tmp_path):
    path = tmp_path / "true.toml"
    path.write_text(SHEET.replace('name = "MMO"\nquantity = "mach"\nmaximum = 0.48',
                                  'name = "VTAS"\nquantity = "true_airspeed"\nmaximum_kt = 290'))
    heights = []
    for deviation in (0, 20):
        (found,) = json.loads(run("crossover", "--limits", path, "--isa-deviation", deviation,
                                  "--json").out)["crossovers"]
        assert found["true_airspeed_kt"] == pytest.approx(290, abs=1e-4)
        assert found["limit_airspeed_kt"] == pytest.approx(245, abs=1e-4)
        heights.append(found["pressure_altitude_ft"])
        # The other way round: at that altitude and airspeed the true airspeed is the limit.
        point = json.loads(run("airdata", "--cas", 245, "--pressure-altitude", heights[-1],
                               "--isa-deviation", deviation, "--json").out)
        assert point["true_airspeed_kt"] == pytest.approx(290, abs=1e-3)
    assert heights[1] < heights[0] - 1000


@pytest.mark.parametrize("command", [
    ["crossover", "--cas", 245, "--mach", 0.48], ["envelope", "--limits", "SHEET"]])
def test_two_temperatures_are_one_too_many(run, sheet, command):
    arguments = [{"SHEET": sheet}.get(one, one) for one in command]
    done = run(*arguments, "--temperature", 3, "--isa-deviation", 3)
    assert (done.code, done.out) == (2, "")
    assert "not both" in done.err
    done = run(*arguments, "--temperature", -400)
    assert (done.code, done.out) == (2, "")
    assert len(done.err.splitlines()) == 1


def piped(data: bytes, *arguments: object) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run([sys.executable, "-m", "loganalyze", *map(str, arguments)], input=data,
                          capture_output=True, cwd=ROOT, check=False, timeout=120)


def test_a_log_comes_through_a_pipe(run, sheet, fast, tmp_path):
    data = fast.read_bytes()
    judged = piped(data, "analyze", "-", "--limits", sheet, "--json")
    named = run("analyze", fast, "--limits", sheet, "--json")
    assert judged.returncode == named.code
    here, there = json.loads(judged.stdout), json.loads(named.out)
    assert here["log"] == "-"
    assert here["flights"][0]["exceedances"] == there["flights"][0]["exceedances"]
    assert here["flights"][0]["exceedances"]

    columns = tmp_path / "columns.toml"
    seen = piped(data, "inspect", "-", "--json", "--write-columns", columns)
    assert seen.returncode == 0, seen.stderr
    assert (json.loads(seen.stdout)["flights"]
            == json.loads(run("inspect", fast, "--json").out)["flights"])
    assert "calibrated_airspeed" in columns.read_text()  # the pipe was read twice


def test_results_of_a_pipe_need_a_place(sheet, fast, tmp_path):
    out = tmp_path / "out"
    done = piped(fast.read_bytes(), "analyze", "-", "--limits", sheet, "--out", out)
    assert done.returncode == 2
    assert b"add --name" in done.stderr
    assert not out.exists()
    done = piped(fast.read_bytes(), "analyze", "-", "--limits", sheet, "--out", out, "--name", "f")
    assert done.returncode == 0, done.stderr
    assert (out / "f" / "summary.json").is_file()


def test_an_empty_pipe_is_wrong_input(sheet):
    for command in (["analyze", "-", "--limits", sheet], ["inspect", "-"]):
        done = piped(b"", *command)
        assert done.returncode == 2
        assert b"-: the file is empty" in done.stderr
        assert b"Traceback" not in done.stderr
