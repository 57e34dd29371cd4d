"""Noise that neither the sheet nor another channel tells from gusts is said to be so."""

import numpy as np

from .conftest import write_log

SHEET = """
aircraft = "an invented twin"
[airspeed]
recorded = "calibrated"
[temperature]
outside_air = "static"
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = 250
[uncertainty]
airspeed = { standard = 0.3 }
pressure_altitude = { standard = 0 }
static_source = { standard = 0 }
position_correction = { standard = 0 }
displayed_airspeed = { standard = 0 }
displayed_altitude = { standard = 0 }
"""


def test_the_interval_covers_both_and_a_sentence_says_so(run, tmp_path):
    rng = np.random.default_rng(21)
    noise = rng.normal(0, 1, 1500)
    for i in range(1, len(noise)):  # correlated over 4 s, all along
        noise[i] = 0.78 * noise[i - 1] + 0.626 * noise[i]
    level = np.interp(np.arange(1500), [0, 900, 940, 1240, 1280], [225, 225, 255, 255, 225])
    log = write_log(tmp_path / "log.csv", np.round(level + noise, 2))
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(SHEET)
    said = " ".join(run("analyze", log, "--limits", sheet, "-v").out.split())
    assert "Gusts and sensor noise can't be separated here" in said
    assert "the interval covers both" in said
    sheet.write_text(SHEET + "airspeed_noise = { standard = 1.0, correlation_s = 4 }\n")
    said = " ".join(run("analyze", log, "--limits", sheet, "-v").out.split())
    assert "the interval covers both" not in said
