"""airdata, crossover and envelope."""

import json

import numpy as np
import pytest

from .conftest import SHEET

# CAS kt, pressure altitude ft, SAT degC -> Mach, TAS kt, EAS kt: computed in closed form.
POINTS = [
    (100, 5000, 5.094, 0.165638616, 107.666595, 99.9428157),
    (250, 25000, -34.53, 0.603684526, 363.387469, 243.257700),
    (210, 51000, -65, 0.884459628, 497.247610, 193.230645),
    (600, 30000, -44.436, 1.48898537, 877.492249, 536.729983),
]


@pytest.mark.parametrize(("cas", "altitude", "sat", "mach", "tas", "eas"), POINTS)
def test_any_speed_gives_the_others(run, cas, altitude, sat, mach, tas, eas):
    for option, value in (("--cas", cas), ("--mach", mach), ("--tas", tas), ("--eas", eas)):
        done = run("airdata", option, value, "--pressure-altitude", altitude, "--sat", sat,
                   "--json")
        said = json.loads(done.out)
        assert said["calibrated_airspeed_kt"] == pytest.approx(cas, rel=1e-7)
        assert said["mach"] == pytest.approx(mach, rel=1e-7)
        assert said["true_airspeed_kt"] == pytest.approx(tas, rel=1e-7)
        assert said["equivalent_airspeed_kt"] == pytest.approx(eas, rel=1e-7)


@pytest.mark.parametrize("option", ["--cas", "--mach", "--tas", "--eas"])
@pytest.mark.parametrize("factor", [1.0, 0.8, 0.0])
def test_total_temperature_and_deviation_do_as_well_as_static(run, option, factor):
    key = {"--cas": "calibrated_airspeed_kt", "--mach": "mach", "--tas": "true_airspeed_kt",
           "--eas": "equivalent_airspeed_kt"}[option]
    base = json.loads(run("airdata", "--cas", 300, "--pressure-altitude", 28000, "--sat", -30,
                          "--json").out)
    tat = -30 + 0.2 * factor * base["mach"] ** 2 * 243.15
    for how in (["--tat", tat, "--recovery-factor", factor],
                ["--isa-deviation", base["isa_deviation_degc"]]):
        said = json.loads(run("airdata", option, base[key], "--pressure-altitude", 28000, *how,
                              "--json").out)
        assert said == pytest.approx(base, abs=1e-5)


def test_an_altimeter_setting_gives_the_pressure_altitude(run):
    said = json.loads(run("airdata", "--cas", 200, "--indicated-altitude", 5000,
                          "--altimeter-setting", 1013.25, "--json").out)
    assert said["pressure_altitude_ft"] == pytest.approx(5000)
    said = json.loads(run("airdata", "--cas", 200, "--indicated-altitude", 5000,
                          "--altimeter-setting", 993.25, "--json").out)
    assert 5500 < said["pressure_altitude_ft"] < 5600


def test_without_a_temperature_true_airspeed_is_absent_not_invented(run):
    done = run("airdata", "--cas", 250, "--pressure-altitude", 25000)
    assert "true airspeed           unknown without a temperature" in done.out
    assert "Mach number             0.60368" in done.out
    said = json.loads(run("airdata", "--cas", 250, "--pressure-altitude", 25000, "--json").out)
    assert said["true_airspeed_kt"] is None
    assert said["density_altitude_ft"] is None


def test_margins_at_a_point(run, sheet):
    done = run("airdata", "--cas", 237, "--pressure-altitude", 20000, "--limits", sheet,
               "--declare", "flap_deg=0", "--json")
    rows = {row["limit"]: row for row in json.loads(done.out)["margins"]["limits"]}
    assert rows["VMO"]["margin_kt"] == pytest.approx(8.0)
    assert rows["MMO"]["state"] == rows[None]["state"] == "over"
    assert rows["VFE 20"]["state"] == "not applicable"
    assert rows[None]["limit_airspeed_kt"] == rows["MMO"]["limit_airspeed_kt"]
    text = run("airdata", "--cas", 237, "--pressure-altitude", 20000, "--limits", sheet).out
    assert "VFE 20                  unknown" in text
    assert "VMO                     under, limit 245.00 KCAS, margin 8.00 kt" in text


def test_an_indicated_airspeed_takes_the_sheets_corrections(run, tmp_path):
    # +5 kt at 250 kt and FL250 moves the altitude by 269 ft and Mach from .6037 to .6185:
    # computed in closed form.
    path = tmp_path / "corrected.toml"
    path.write_text(SHEET.replace(
        'recorded = "calibrated"',
        'recorded = "indicated"\nposition_correction = [[100, 5], [300, 5]]'))
    said = json.loads(run("airdata", "--ias", 250, "--pressure-altitude", 25000, "--limits", path,
                          "--json").out)
    assert said["calibrated_airspeed_kt"] == pytest.approx(255)
    assert said["pressure_altitude_ft"] == pytest.approx(25269, abs=1)
    assert said["mach"] == pytest.approx(0.6185, abs=1e-4)
    assert any("static-source" in sentence for sentence in said["margins"]["taken"])
    done = run("airdata", "--ias", 50, "--pressure-altitude", 25000, "--limits", path)
    assert done.code == 2
    assert "outside the correction tables" in done.err


@pytest.mark.parametrize("arguments", [
    ["--cas", 200], ["--pressure-altitude", 3000],
    ["--cas", 200, "--mach", 0.3, "--pressure-altitude", 3000],
    ["--tas", 200, "--pressure-altitude", 3000],
    ["--cas", 200, "--pressure-altitude", 3000, "--tat", 3],
    ["--cas", 200, "--pressure-altitude", 3000, "--sat", 3, "--isa-deviation", 0],
    ["--cas", 200, "--indicated-altitude", 3000],
    ["--ias", 200, "--pressure-altitude", 3000],
    ["--cas", -1, "--pressure-altitude", 3000],
    ["--cas", 200, "--pressure-altitude", 300000],
    ["--cas", 200, "--pressure-altitude", "nan"],
    ["--cas", "nan", "--pressure-altitude", 3000],
    ["--cas", 200, "--pressure-altitude", 3000, "--sat", -300],
])
def test_what_is_no_sufficient_set_is_exit_2(run, arguments):
    done = run("airdata", *arguments)
    assert done.code == 2
    assert done.out == ""
    assert "Traceback" not in done.err


# CAS kt, Mach, pressure altitude ft: computed in closed form.
@pytest.mark.parametrize(("cas", "mach", "altitude"), [
    (340, 0.82, 25968.14), (320, 0.80, 27582.20), (350, 0.86, 27089.59), (300, 0.78, 29314.10)])
def test_crossover_of_two_speeds(run, cas, mach, altitude):
    done = run("crossover", "--cas", cas, "--mach", mach, "--json")
    assert json.loads(done.out)["pressure_altitude_ft"] == pytest.approx(altitude, abs=0.01)
    assert f"{altitude:,.0f} ft" in run("crossover", "--cas", cas, "--mach", mach).out


def test_speeds_that_never_meet(run):
    done = run("crossover", "--cas", 20, "--mach", 0.95)
    assert done.code == 2
    assert "meet nowhere" in done.err
    assert len(done.err.splitlines()) == 1


def test_crossovers_of_a_sheet(run, sheet, tmp_path):
    (one,) = json.loads(run("crossover", "--limits", sheet, "--json").out)["crossovers"]
    assert (one["below"], one["above"]) == ("VMO", "MMO")
    closed = json.loads(run("crossover", "--cas", 245, "--mach", 0.48, "--json").out)
    assert one["pressure_altitude_ft"] == pytest.approx(closed["pressure_altitude_ft"], abs=1e-4)
    none = tmp_path / "none.toml"
    none.write_text(SHEET.replace("maximum = 0.48", "maximum = 2.9"))
    done = run("crossover", "--limits", none)
    assert done.code == 0
    assert done.out == "an invented twin: no two limits cross.\n"


def test_a_table_may_cross_a_mach_limit_several_times(run, tmp_path):
    feet, knots = [0, 15000, 17000, 22000, 30000], [240, 260, 200, 200, 260]
    rows = [list(row) for row in zip(feet, knots, strict=True)]
    path = tmp_path / "several.toml"
    path.write_text(SHEET.replace("maximum_kt = 245", f"by_pressure_altitude = {rows}"))
    found = json.loads(run("crossover", "--limits", path, "--json").out)["crossovers"]
    assert [(one["below"], one["above"]) for one in found] == [
        ("VMO", "MMO"), ("MMO", "VMO"), ("VMO", "MMO")]
    for one in found:
        height = one["pressure_altitude_ft"]
        # The CAS of Mach .48 there, in closed form.
        delta = (1 - 6.87558563248e-6 * height) ** 5.25587981271
        ratio = delta * ((1 + 0.2 * 0.48**2) ** 3.5 - 1)
        cas = 661.478594435 * np.sqrt(5 * ((ratio + 1) ** (2 / 7) - 1))
        assert one["limit_airspeed_kt"] == pytest.approx(cas, abs=1e-5)
        assert np.interp(height, feet, knots) == pytest.approx(cas, abs=1e-5)
    text = run("crossover", "--limits", path).out
    assert "the governing limit changes at 3 altitudes" in text


def test_envelope_table(run, sheet):
    rows = json.loads(run("envelope", "--limits", sheet, "--to", 30000, "--step", 10000,
                          "--isa-deviation", 10, "--json").out)["envelope"]
    assert [row["pressure_altitude_ft"] for row in rows] == [0, 10000, 20000, 30000]
    assert [row["governing_limit"] for row in rows] == ["VMO", "VMO", "MMO", "MMO"]
    assert rows[0]["limit_airspeed_kt"] == pytest.approx(245)
    assert rows[2]["limit_mach"] == pytest.approx(0.48)
    # TAS at Mach .48: computed from a = sqrt(1.4 R T).
    tas = 0.48 * np.sqrt(1.4 * 287.05287 * (288.15 - 0.0065 * 6096 + 10)) * 3600 / 1852
    assert rows[2]["true_airspeed_kt"] == pytest.approx(tas, rel=1e-8)
    text = run("envelope", "--limits", sheet, "--declare", "flap_deg=15").out
    assert "VFE 20" in text
    assert "180.0" in text


def test_envelope_plot(run, sheet, tmp_path):
    plot = tmp_path / "envelope.png"
    assert run("envelope", "--limits", sheet, "--plot", plot).code == 0
    assert plot.read_bytes().startswith(b"\x89PNG")
    done = run("envelope", "--limits", sheet, "--plot", plot)
    assert done.code == 2
    assert "exists already" in done.err
    assert run("envelope", "--limits", sheet, "--plot", plot, "--overwrite").code == 0
    assert run("envelope", "--limits", sheet, "--plot", tmp_path / "e.xyz").code == 2
    done = run("envelope", "--limits", sheet, "--plot", tmp_path / "nowhere" / "e.png")
    assert done.code == 2
    assert len(done.err.splitlines()) == 1


@pytest.mark.parametrize("arguments", [
    ["--from", 3000, "--to", 1000], ["--step", 0], ["--step", 0.001], ["--to", 900000],
    ["--temperature", 3, "--isa-deviation", 3], ["--temperature", -400],
])
def test_an_absurd_envelope_is_exit_2(run, sheet, arguments):
    done = run("envelope", "--limits", sheet, *arguments)
    assert done.code == 2
    assert done.out == ""
