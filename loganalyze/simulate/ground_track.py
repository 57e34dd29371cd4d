"""What a navigation system records of a flight: heading, track and ground speed in a wind.

The wind blows mainly from one side, more with height, and wanders in time. The aircraft flies
straight but for a turn after takeoff, a holding pattern at its top, and a turn before landing.
"""

from __future__ import annotations

import numpy as np

from loganalyze.simulate.flight import FOOT, KNOT, Truth
from loganalyze.simulate.pressures import Array

TURN_DEG_S = 2.0
WIND_KT, SHEAR_KT = 14.0, 1.2
"""Mean wind near the ground, and what it gains in 1,000 ft."""
WANDER_KT, WANDER_S = 1.5, 60.0
"""Standard deviation and correlation time of each component's change."""
NOISE_KT, NOISE_DEG = 0.4, 0.15
STEP_KT, STEP_DEG = 0.5, 0.1


def ground_rows(truth: Truth, time: Array, rng: np.random.Generator) -> dict[str, Array]:
    """Return heading, track and ground speed as they are recorded.

    Parameters
    ----------
    truth : Truth
        The flight, at most a second apart.
    time : float64[n]
        Instants that are recorded [s].
    rng : numpy.random.Generator
        Of the route, the wind and the noise.

    Returns
    -------
    dict of str to float64[n]
        ``heading_deg`` and ``track_deg``, true, 0 to below 360; ``ground_speed_kt``.
    """
    heading = np.interp(time, truth.time, _headings(truth, rng))
    seen = truth.at(time)
    speed = seen.true_airspeed / KNOT
    mean = WIND_KT + SHEAR_KT * seen.pressure_altitude / FOOT / 1000
    away = rng.uniform(0, 2 * np.pi)
    north, east = (mean * part + WANDER_KT * _wandering(time, rng)
                   for part in (np.cos(away), np.sin(away)))
    flown = np.clip(speed / 60, 0, 1)  # on the ground the wind carries nothing
    north = speed * np.cos(heading) + north * flown
    east = speed * np.sin(heading) + east * flown
    return {
        "heading_deg": _angle(heading, rng),
        "track_deg": _angle(np.arctan2(east, north), rng),
        "ground_speed_kt": np.round(np.maximum(
            np.hypot(north, east) + NOISE_KT * rng.standard_normal(len(time)), 0.0)
            / STEP_KT) * STEP_KT,
    }


def _headings(truth: Truth, rng: np.random.Generator) -> Array:
    """Return the true heading at each instant of the truth [rad], not folded."""
    altitude = truth.pressure_altitude
    top = np.flatnonzero(altitude > altitude.max() - 200 * FOOT)
    first, last = truth.time[top[0]], truth.time[top[-1]]
    end = truth.time[-1]
    turns = (
        (0.3 * first, rng.uniform(-120, 120)),
        (first + 0.2 * (last - first), 180.0 * rng.choice((-1, 1))),
        (first + 0.5 * (last - first), 180.0 * rng.choice((-1, 1))),
        (last + 0.75 * (end - last), rng.uniform(-90, 90)),
    )
    heading = np.full(len(truth.time), rng.uniform(0, 360))
    for start, by in turns:
        heading += np.sign(by) * np.clip((truth.time - start) * TURN_DEG_S, 0, abs(by))
    turned: Array = np.radians(heading)
    return turned


def _wandering(time: Array, rng: np.random.Generator) -> Array:
    """Return a first-order autoregressive course of unit standard deviation."""
    drawn = rng.standard_normal(len(time))
    keep = np.exp(-np.diff(time, prepend=time[:1]) / WANDER_S)
    course = np.empty(len(time))
    value = drawn[0]
    for i, (kept, new) in enumerate(zip(keep.tolist(), drawn.tolist(), strict=True)):
        value = kept * value + np.sqrt(1 - kept ** 2) * new
        course[i] = value
    return course


def _angle(radians: Array, rng: np.random.Generator) -> Array:
    noisy = np.degrees(radians) + NOISE_DEG * rng.standard_normal(len(radians))
    folded: Array = np.round(noisy / STEP_DEG) * STEP_DEG % 360
    return folded
