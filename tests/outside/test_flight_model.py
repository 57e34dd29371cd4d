"""The main job against a flight that an independent open flight dynamics model flew (jsbsim).

The aircraft is an invented one (tests/data/aircraft); the air, the forces and every speed are
the model's own, at 120 Hz. The pressure altitude is derived from the model's static pressure,
since what a flight dynamics model calls pressure altitude may be a geometric height.
"""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path

import jsbsim
import numpy as np
import pytest
from numpy.typing import NDArray

import loganalyze
from loganalyze.simulate import pressures

AIRCRAFT = Path(__file__).parents[1] / "data" / "aircraft"
RATE_HZ = 120
VMO_KT = 258.0
MMO = 0.50
KNOT = 1852 / 3600
FOOT = 0.3048
PSF = 4.4482216152605 / FOOT**2  # Pa in one pound-force per square foot

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

PROPERTIES = {
    "time": "simulation/sim-time-sec",
    "pressure": "atmosphere/P-psf",
    "temperature": "atmosphere/T-R",
    "cas_kt": "velocities/vc-kts",
    "mach": "velocities/mach",
    "tas_kt": "velocities/vtrue-kts",
}


@dataclass(frozen=True)
class Leg:
    """For some seconds, hold a climb rate [ft/s], and a Mach number or a CAS [kt]."""

    seconds: float
    climb_fps: float
    mach: float | None = None
    cas_kt: float | None = None


LEGS = (
    Leg(40, 0, mach=0.485),
    Leg(60, -25, mach=0.492),
    Leg(50, -38, mach=0.510),  # through MMO
    Leg(60, -38, mach=0.492),  # and back
    Leg(110, -42, mach=0.511),  # through MMO again, down to the crossover and below it
    Leg(90, -36, cas_kt=265.5),  # over VMO
    Leg(70, -20, cas_kt=243),
    Leg(30, 0, cas_kt=243),
)


@pytest.fixture(scope="module")
def flown() -> dict[str, NDArray[np.float64]]:
    """The model's own values at 120 Hz, in air 15 K warmer than standard."""
    fdm = jsbsim.FGFDMExec(None)
    fdm.set_debug_level(0)
    fdm.disable_output()
    fdm.set_aircraft_path(str(AIRCRAFT))
    assert fdm.load_model("sandpiper_x")
    fdm.set_dt(1 / RATE_HZ)
    fdm["atmosphere/delta-T"] = 15 * 1.8
    fdm["ic/h-sl-ft"] = 24500
    fdm["ic/mach"] = LEGS[0].mach
    fdm["ic/alpha-deg"] = 2.0
    assert fdm.run_ic()

    rows = []
    pitch_trim, thrust_trim = 0.0, 2600.0
    for leg in LEGS:
        for _ in range(round(leg.seconds * RATE_HZ)):
            climb_error = leg.climb_fps - fdm["velocities/h-dot-fps"]
            pitch_trim += 0.0005 * climb_error / RATE_HZ
            pitch = min(max(pitch_trim + 0.0012 * climb_error, -0.2), 0.2)
            fdm["pilot/elevator-rad"] = (
                1.2 * (fdm["attitude/theta-rad"] - pitch) + 0.8 * fdm["velocities/q-rad_sec"]
            )
            if leg.mach is not None:
                slow_kt = (leg.mach - fdm["velocities/mach"]) * 600
            else:
                slow_kt = leg.cas_kt - fdm["velocities/vc-kts"]
            thrust_trim += 12 * slow_kt / RATE_HZ
            fdm["pilot/thrust-lbs"] = min(max(thrust_trim + 420 * slow_kt, -2500.0), 6500.0)
            assert fdm.run()
            rows.append([fdm[name] for name in PROPERTIES.values()])
    columns = dict(zip(PROPERTIES, np.array(rows).T.copy(), strict=True))
    columns["time"] -= columns["time"][0]
    columns["pressure"] *= PSF
    columns["temperature"] /= 1.8
    columns["altitude_ft"] = pressures.pressure_altitude(columns["pressure"]) / FOOT
    return columns


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
