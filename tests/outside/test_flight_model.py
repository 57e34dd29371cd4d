"""The main job against a flight that an independent flight dynamics model flew (jsbsim)."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest
from flight_model import FOOT, RATE_HZ, fly
from numpy.typing import NDArray

import loganalyze
from loganalyze.simulate import pressures

VMO_KT = 258.0
MMO = 0.50
KNOT = 1852 / 3600

SHEET = f"""
aircraft = "an invented aircraft"
[airspeed]
recorded = "calibrated"
static_source_corrected = true
[temperature]
outside_air = "static"
[[limit]]
name = "VMO"
quantity = "calibrated_airspeed"
maximum_kt = {VMO_KT}
[[limit]]
name = "MMO"
quantity = "mach"
maximum = {MMO}
"""

@pytest.fixture(scope="module")
def flown() -> dict[str, NDArray[np.float64]]:
    """The model's own values at 120 Hz, in air 15 K warmer than standard."""
    return fly()


def analysed(folder: Path, time, altitude_ft, cas_kt, temperature) -> loganalyze.Analysis:
    """Write a log and a limits sheet as a user would, and put them through the main job."""
    log, sheet = folder / "log.csv", folder / "limits.toml"
    with log.open("w", newline="", encoding="utf-8") as stream:
        writer = csv.writer(stream)
        writer.writerow(["Time [s]", "Pressure Altitude [ft]", "CAS [kt]", "SAT [degC]"])
        writer.writerows(
            zip(time.tolist(), altitude_ft.tolist(), cas_kt.tolist(),
                (temperature - 273.15).tolist(), strict=True)
        )
    sheet.write_text(SHEET, encoding="utf-8")
    return loganalyze.analyze(loganalyze.read_log(log), loganalyze.read_limits(sheet))


def excess_kt(flown: dict[str, NDArray[np.float64]], limit: str) -> NDArray[np.float64]:
    """By how much the model flew above a limit [kt CAS], from its own pressure and speed."""
    if limit == "VMO":
        return flown["cas_kt"] - VMO_KT
    at_limit = pressures.impact_ratio(MMO) * flown["pressure"]
    return flown["cas_kt"] - pressures.calibrated_airspeed(at_limit) / KNOT


def stretches_over(flown: dict[str, NDArray[np.float64]], limit: str) -> NDArray[np.float64]:
    """When the model itself was over a limit [s], from its own Mach number or CAS."""
    excess = flown["mach"] - MMO if limit == "MMO" else flown["cas_kt"] - VMO_KT
    turn = np.flatnonzero((excess[1:] > 0) != (excess[:-1] > 0))
    share = excess[turn] / (excess[turn] - excess[turn + 1])
    return (flown["time"][turn] + share / RATE_HZ).reshape(-1, 2)


def test_flight_is_worth_the_test(flown):
    """Non-standard air, through MMO twice and VMO once, the last two overlapping."""
    standard = pressures.standard_temperature(flown["altitude_ft"] * FOOT)
    assert np.all(np.abs(flown["temperature"] - standard) > 12)
    mmo, vmo = stretches_over(flown, "MMO"), stretches_over(flown, "VMO")
    assert len(mmo) == 2
    assert len(vmo) == 1
    assert mmo[1, 0] < vmo[0, 0] < mmo[1, 1] < vmo[0, 1]


def test_mach_and_tas_are_the_models_own(flown, tmp_path):
    analysis = analysed(tmp_path, flown["time"], flown["altitude_ft"], flown["cas_kt"],
                        flown["temperature"])
    mach = np.abs(analysis.columns["mach"] - flown["mach"])
    tas = np.abs(analysis.columns["true_airspeed_kt"] - flown["tas_kt"])
    print(f"greatest difference from the model: Mach {mach.max():.1e}, TAS {tas.max():.1e} kt")
    assert len(mach) == len(flown["time"])
    assert mach.max() <= 1e-5
    assert tas.max() <= 0.01


@pytest.mark.parametrize(("speed_step_kt", "altitude_step_ft"), [(0.0625, 1), (0.25, 4), (1, 5)])
def test_exceedances_from_a_quantised_log(flown, tmp_path, speed_step_kt, altitude_step_ft):
    """Four samples a second and coarse steps: edges and worst value as near as those allow.

    An edge may be off by one sample, and by the time in which the margin moves by half its
    quantum q: the step of the speed, and that of the altitude as it moves the limit.
    """
    every = RATE_HZ // 4
    kept = {name: values[::every] for name, values in flown.items()}
    analysis = analysed(
        tmp_path,
        kept["time"],
        np.round(kept["altitude_ft"] / altitude_step_ft) * altitude_step_ft,
        np.round(kept["cas_kt"] / speed_step_kt) * speed_step_kt,
        np.round(kept["temperature"] / 0.25) * 0.25,
    )
    for limit in ("VMO", "MMO"):
        excess = excess_kt(flown, limit)
        rate = np.gradient(excess, flown["time"])
        limit_kt = flown["cas_kt"] - excess
        limit_per_ft = np.abs(np.gradient(limit_kt, flown["time"])
                              / np.gradient(flown["altitude_ft"], flown["time"]))
        truth = stretches_over(flown, limit)
        found = [e for e in analysis.exceedances if e.limit == limit]
        assert len(found) == len(truth)
        for exceedance, (start, end) in zip(found, truth, strict=True):
            assert (exceedance.began_by, exceedance.ended_by) == ("crossed", "recovered")
            for edge, true_edge in ((exceedance.start_s, start), (exceedance.end_s, end)):
                at = round(true_edge * RATE_HZ)
                q = speed_step_kt + limit_per_ft[at] * altitude_step_ft
                allowed = 0.25 + q / (2 * abs(rate[at]))
                print(f"{limit} edge {true_edge:.3f} s: off {edge - true_edge:+.3f}, "
                      f"allowed {allowed:.3f}")
                assert abs(edge - true_edge) <= allowed
            # The worst instant of a Mach limit is that of the greatest Mach number; in knots
            # the excess may be greatest at another one.
            over = slice(int(start * RATE_HZ), int(end * RATE_HZ) + 2)
            published = flown["mach"] - MMO if limit == "MMO" else excess
            worst = over.start + int(np.argmax(published[over]))
            q = speed_step_kt + limit_per_ft[worst] * altitude_step_ft
            q_published = q * published[worst] / excess[worst]
            found_worst = (exceedance.worst_excess_mach if limit == "MMO"
                           else exceedance.worst_excess_kt)
            print(f"{limit} worst {published[worst]:.5f}: "
                  f"off {found_worst - published[worst]:+.5f}, allowed {q_published:.5f}")
            assert abs(found_worst - published[worst]) <= q_published
            there = excess[round(exceedance.worst_time_s * RATE_HZ)]
            assert abs(exceedance.worst_excess_kt - there) <= q
