"""A flight flown by an independent open flight dynamics model (jsbsim), at 120 Hz.

The aircraft is an invented one (tests/data/aircraft); the air, the forces and every speed are
the model's own. The pressure altitude is derived from the model's static pressure, since what a
flight dynamics model calls pressure altitude may be a geometric height.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

import jsbsim
import numpy as np
from numpy.typing import NDArray

from loganalyze.simulate import pressures

AIRCRAFT = Path(__file__).parents[1] / "data" / "aircraft"
RATE_HZ = 120
FOOT = 0.3048
PSF = 4.4482216152605 / FOOT**2  # Pa in one pound-force per square foot

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


def fly() -> dict[str, NDArray[np.float64]]:
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
