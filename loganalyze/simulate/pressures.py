"""The air as pressures: barometric integration and the pitot tube, for the simulation alone.

Independent of the package's own formulas, and by other methods, so that each can test the
other: static pressure comes from quadrature of the hydrostatic equation over the standard
temperature profile, total pressure from a stream brought to rest (behind a normal shock when
faster than sound), and every inverse from Newton's method on the direct relation.

Constants: ISO 2533:1975, table 1 and 2.1.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

Array = NDArray[np.float64]

SEA_LEVEL_PRESSURE = 101325.0
SEA_LEVEL_TEMPERATURE = 288.15
GRAVITY = 9.80665
GAS_CONSTANT = 287.05287
HEAT_RATIO = 1.4
SEA_LEVEL_SOUND = float(np.sqrt(HEAT_RATIO * GAS_CONSTANT * SEA_LEVEL_TEMPERATURE))

_NODE_HEIGHT = np.array([-5000.0, 0.0, 11000.0, 20000.0, 32000.0])
_NODE_TEMPERATURE = np.array([320.65, 288.15, 216.65, 216.65, 228.65])
# 25 m meets every corner of the profile and leaves the interpolation exact to 1e-15.
_STEP = 25.0
_HEIGHT = np.arange(-5000.0, 32000.0 + _STEP / 2, _STEP)


def standard_temperature(pressure_altitude: ArrayLike) -> Array:
    """Temperature of the standard atmosphere [K] at a pressure altitude [m], -5 to 32 km."""
    height = np.asarray(pressure_altitude, dtype=np.float64)
    return np.asarray(np.interp(height, _NODE_HEIGHT, _NODE_TEMPERATURE))


def _slope(height: Array) -> Array:
    return np.asarray(-GRAVITY / (GAS_CONSTANT * standard_temperature(height)))


def _integrated() -> Array:
    """ln(p / p0) at every height of the grid, by three-point Gauss-Legendre quadrature."""
    nodes = np.array([-1, 0, 1]) * np.sqrt(0.6)
    weights = np.array([5, 8, 5]) / 9
    centres = _HEIGHT[:-1] + _STEP / 2
    increments = (_slope(centres[:, None] + _STEP / 2 * nodes) * weights).sum(axis=1) * _STEP / 2
    logs = np.concatenate([[0.0], np.cumsum(increments)])
    return np.asarray(logs - logs[np.searchsorted(_HEIGHT, 0.0)])


_LOG_RATIO = _integrated()


def static_pressure(pressure_altitude: ArrayLike) -> Array:
    """Pressure of the standard atmosphere [Pa] at a pressure altitude [m], -5 to 32 km.

    NaN gives NaN; ValueError outside the range.
    """
    height = np.asarray(pressure_altitude, dtype=np.float64)
    if (height < _HEIGHT[0]).any() or (height > _HEIGHT[-1]).any():
        raise ValueError("pressure altitude outside -5 to 32 km")
    lower = np.clip(np.searchsorted(_HEIGHT, height, side="right") - 1, 0, len(_HEIGHT) - 2)
    s = (height - _HEIGHT[lower]) / _STEP
    # Cubic Hermite: the slope is known exactly at both ends of each step.
    log = (
        (1 + 2 * s) * (1 - s) ** 2 * _LOG_RATIO[lower]
        + s**2 * (3 - 2 * s) * _LOG_RATIO[lower + 1]
        + _STEP * s * (1 - s) ** 2 * _slope(_HEIGHT[lower])
        + _STEP * s**2 * (s - 1) * _slope(_HEIGHT[lower + 1])
    )
    return np.asarray(SEA_LEVEL_PRESSURE * np.exp(log))


def pressure_altitude(pressure: ArrayLike) -> Array:
    """Pressure altitude [m] at which the standard atmosphere has this pressure [Pa].

    NaN gives NaN; ValueError outside -5 to 32 km.
    """
    log = np.log(np.asarray(pressure, dtype=np.float64) / SEA_LEVEL_PRESSURE)
    if (log > _LOG_RATIO[0]).any() or (log < _LOG_RATIO[-1]).any():
        raise ValueError("pressure outside -5 to 32 km")
    height = np.interp(-log, -_LOG_RATIO, _HEIGHT)
    for _ in range(3):
        miss = np.log(static_pressure(height) / SEA_LEVEL_PRESSURE) - log
        height = np.clip(height - miss / _slope(height), _HEIGHT[0], _HEIGHT[-1])
    return np.asarray(height)


def _log_total_ratio(mach_squared: Array) -> Array:
    """ln of (pressure in the pitot tube / static pressure) at a squared Mach number."""
    x = np.maximum(mach_squared, 1.0)
    behind_squared = (1 + 0.2 * x) / (1.4 * x - 0.2)
    shocked = np.log1p((x - 1) * 7 / 6) + 3.5 * np.log1p(0.2 * behind_squared)
    return np.where(mach_squared > 1, shocked, 3.5 * np.log1p(0.2 * mach_squared))


def impact_ratio(mach: ArrayLike) -> Array:
    """Impact over static pressure, q_c / p [1], at a Mach number >= 0, any speed.

    A stream at rest isentropically, behind a normal shock where Mach > 1 (NACA Report 1135,
    eqs. 44, 93, 96, gamma 1.4). NaN gives NaN.
    """
    return np.asarray(np.expm1(_log_total_ratio(np.asarray(mach, dtype=np.float64) ** 2)))


def mach_of(ratio: ArrayLike) -> Array:
    """Mach number at q_c / p [1] >= 0, by Newton's method on `impact_ratio`. NaN gives NaN."""
    log = np.log1p(np.asarray(ratio, dtype=np.float64))
    x = log / 0.7
    for _ in range(8):
        fast = np.maximum(x, 1.0)
        slope = np.where(
            x > 1, 3.5 * (2 * fast - 1) / (fast * (7 * fast - 1)), 0.7 / (1 + 0.2 * x)
        )
        x = np.maximum(x + (log - _log_total_ratio(x)) / slope, 0.0)
    return np.asarray(np.sqrt(x))


def impact_pressure(calibrated_airspeed: ArrayLike) -> Array:
    """Impact pressure [Pa] that shows as this calibrated airspeed [m/s] >= 0."""
    return SEA_LEVEL_PRESSURE * impact_ratio(np.asarray(calibrated_airspeed) / SEA_LEVEL_SOUND)


def calibrated_airspeed(impact: ArrayLike) -> Array:
    """Calibrated airspeed [m/s] that an impact pressure [Pa] >= 0 shows as."""
    return SEA_LEVEL_SOUND * mach_of(np.asarray(impact) / SEA_LEVEL_PRESSURE)


def sound_speed(temperature: ArrayLike) -> Array:
    """Speed of sound [m/s] at a static temperature [K]."""
    return np.asarray(np.sqrt(HEAT_RATIO * GAS_CONSTANT * np.asarray(temperature)))
