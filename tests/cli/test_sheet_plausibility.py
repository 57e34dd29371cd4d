"""A limits sheet whose flap or gear limit applies through climb and cruise is questioned."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

ROOT = Path(__file__).parents[2]
CLEAN = ROOT / "sample_logs" / "clean_flight.csv"


def readme_sheet() -> str:
    """Return the limits sheet that the README shows, as it stands there."""
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    return next(block for block in re.findall(r"```toml\n(.*?)```", text, re.DOTALL)
                if block.startswith("aircraft"))


def said_by(run, log: Path, sheet: str, folder: Path, *more: str) -> tuple[int, str]:
    path = folder / "limits.toml"
    path.write_text(sheet)
    done = run("analyze", log, "--limits", path, "--fail-on-exceedance", *more)
    assert done.err == ""
    return done.code, " ".join(done.out.split())


def test_the_sheet_of_the_readme_convicts_nobody_of_the_clean_flight(run, tmp_path):
    code, said = said_by(run, CLEAN, readme_sheet(), tmp_path)
    assert "No limit was exceeded" in said
    assert "was not judged" not in said
    assert code == 0


def test_a_flap_limit_that_includes_flaps_up_is_questioned(run, tmp_path):
    sheet = readme_sheet().replace("above = 2", "above = 1")
    assert "above = 1" in sheet
    code, said = said_by(run, CLEAN, sheet, tmp_path)
    assert code == 3
    assert "VFE 15 was not judged" in said
    assert "with the flap angle at 1.2 deg" in said
    assert "lower edge is 1 now" in said
    assert "VFE 15 was exceeded" not in said
    # The others are judged as ever.
    assert "No limit was exceeded in the 37 min 42 s that could be judged" in said
    assert "The smallest margin was" in said


def flown(folder: Path, flap, gear, speed, minutes: int = 60) -> Path:
    """Write an hour of climb, cruise and descent, a row a second."""
    n = minutes * 60
    share = np.linspace(0, 1, n)
    altitude = np.interp(share, [0, 0.25, 0.75, 1], [1500, 15000, 15000, 1500])
    rng = np.random.default_rng(1)
    rows = zip(range(n), altitude + rng.normal(0, 3, n), speed(share) + rng.normal(0, 0.3, n),
               flap(share) + rng.normal(0, 0.02, n), gear(share), strict=True)
    path = folder / "flight.csv"
    path.write_text("Time [s],Pressure Altitude [ft],IAS [kt],Flap [deg],Gear Down\n" + "".join(
        f"{t},{alt:.0f},{ias:.1f},{angle:.2f},{down:.0f}\n" for t, alt, ias, angle, down in rows))
    return path


SHEET = """
aircraft = "an invented twin"
[airspeed]
recorded = "indicated"
[[limit]]
name = "VMO"
quantity = "indicated_airspeed"
maximum_kt = 250
[[limit]]
name = "VFE 15"
quantity = "indicated_airspeed"
maximum_kt = 180
when = { flap_deg = { above = 2, up_to = 15 } }
[[limit]]
name = "VLE"
quantity = "indicated_airspeed"
maximum_kt = 185
when = { gear_down = { is = true } }
"""


def cruise(share):
    """Airspeed: 140 kt at either end, 225 kt between."""
    return np.interp(share, [0, 0.05, 0.9, 1], [140, 225, 225, 120])


def late(share):
    """Flaps and gear out for the last twentieth, where the aircraft is slow."""
    return share > 0.95


def test_flaps_and_gear_as_they_should_be_are_judged(run, tmp_path):
    log = flown(tmp_path, lambda s: 1.2 + 10 * late(s), late, cruise)
    code, said = said_by(run, log, SHEET, tmp_path)
    assert (code, "was not judged" in said) == (0, False)


def test_a_limit_in_force_in_part_of_the_noise_of_flaps_up_is_questioned(run, tmp_path):
    log = flown(tmp_path, lambda s: 2.0 + 10 * late(s), late, cruise)
    code, said = said_by(run, log, SHEET, tmp_path)
    assert code == 3
    assert "VFE 15 was not judged" in said


def test_an_inverted_gear_state_is_questioned(run, tmp_path):
    log = flown(tmp_path, lambda s: 1.2 + 10 * late(s), lambda s: ~late(s), cruise)
    code, said = said_by(run, log, SHEET, tmp_path)
    assert code == 3
    assert "VLE was not judged" in said
    assert "which value of the landing gear means which state" in said


@pytest.mark.parametrize("minutes", [2, 4, 9])
def test_flaps_forgotten_after_take_off_are_exceeded_not_questioned(minutes, run, tmp_path):
    log = flown(tmp_path, lambda s: 1.2 + 10 * (late(s) | (s < 0.05 + minutes / 60)), late, cruise)
    code, said = said_by(run, log, SHEET, tmp_path)
    assert code == 1
    assert "VFE 15 was exceeded" in said
    assert "was not judged" not in said


def test_a_short_exceedance_with_flaps_out_all_the_time_is_judged(run, tmp_path):
    def speed(share):
        return np.where((share > 0.5) & (share < 0.53), 190.0, 150.0)

    log = flown(tmp_path, lambda s: 11.2 + 0 * s, late, speed)
    code, said = said_by(run, log, SHEET, tmp_path)
    assert code == 1
    assert "VFE 15 was exceeded" in said


def test_the_user_can_have_it_judged_all_the_same(run, tmp_path):
    log = flown(tmp_path, lambda s: 11.2 + 0 * s, late, cruise)
    assert said_by(run, log, SHEET, tmp_path)[0] == 3
    code, said = said_by(run, log, SHEET + "\n[screening]\nat_rest_s = 7200\n", tmp_path)
    assert code == 1
    assert "VFE 15 was exceeded" in said
