"""Partial derivatives of each speed with respect to the quantities it is computed from.

All in closed form, from the derivative of the pitot formula and of the standard atmosphere.
They are the sensitivity coefficients of the law of propagation of uncertainty.

References
----------
.. [1] JCGM 100:2008, 5.1.3: sensitivity coefficients.
.. [2] NACA Report 1135, 1953, eqs. 44 and 100, differentiated.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from loganalyze.air import airspeed, atmosphere, pitot
from loganalyze.air.atmosphere import A0, G0, R_AIR
from loganalyze.air.validity import Floats, within


def impact_ratio_slope(mach: ArrayLike) -> Floats:
    """Derivative of impact over static pressure by the Mach number.

    Parameters
    ----------
    mach : array_like
        Any shape, 0 to 5.

    Returns
    -------
    ndarray of float64, or a float64 scalar for a scalar
        d(q_c/p)/dM: 1.4 M (1 + M^2/5)^2.5 up to Mach 1, 7 (q_c/p + 1)(2 M^2 - 1)/(M (7 M^2 - 1))
        above; the two meet at Mach 1. NaN where Mach is NaN.

    Raises
    ------
    ValueError
        If a Mach number lies outside the range.
    """
    number = within(mach, 0.0, pitot.HIGHEST_MACH, "Mach number")
    warmer = 1.0 + 0.2 * number * number
    slope = 1.4 * number * warmer * warmer * np.sqrt(warmer)
    supersonic = number > 1.0
    if np.any(supersonic):
        fast = np.where(supersonic, number, 1.0)
        square = fast * fast
        shocked = (7.0 * (pitot.impact_ratio_from_mach(fast) + 1.0) * (2.0 * square - 1.0)
                   / (fast * (7.0 * square - 1.0)))
        slope = np.where(supersonic, shocked, slope)[()]
    return slope


def relative_pressure_lapse(pressure_altitude: ArrayLike) -> Floats:
    """Relative fall of static pressure with pressure altitude, -d(ln p)/dHp = g0 / (R T_ISA).

    Parameters
    ----------
    pressure_altitude : array_like
        Any shape [m, geopotential], -5000 to 32000.

    Returns
    -------
    ndarray of float64, or a float64 scalar for a scalar
        [1/m], positive; NaN where the altitude is NaN.

    Raises
    ------
    ValueError
        If an altitude lies outside the range.

    References
    ----------
    ISO 2533:1975, hydrostatic equation and perfect gas law.
    """
    return G0 / (R_AIR * atmosphere.temperature(pressure_altitude))


def mach_by_cas(cas: ArrayLike, pressure_altitude: ArrayLike) -> Floats:
    """Derivative of Mach by calibrated airspeed at constant pressure altitude [s/m].

    Parameters
    ----------
    cas : array_like
        Any shape [m/s], from 0 to where Mach is 5.
    pressure_altitude : array_like
        [m, geopotential], -5000 to 32000; broadcast against the speed.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        [s/m]; at rest its limit, 1 / (a0 sqrt(delta)). NaN where either is NaN.

    Raises
    ------
    ValueError
        If a speed, an altitude or the resulting Mach lies outside its range.
    """
    mach = airspeed.mach_from_cas(cas, pressure_altitude)
    delta = atmosphere.pressure_ratio(pressure_altitude)
    above = impact_ratio_slope(np.asarray(cas, dtype=np.float64) / A0)
    below = impact_ratio_slope(mach)
    at_rest = below == 0.0
    slope = above / (delta * A0 * np.where(at_rest, 1.0, below))
    result: Floats = np.where(at_rest, 1.0 / (A0 * np.sqrt(delta)), slope)[()]
    return result


def mach_by_altitude(cas: ArrayLike, pressure_altitude: ArrayLike) -> Floats:
    """Derivative of Mach by pressure altitude at constant calibrated airspeed [1/m].

    Parameters
    ----------
    cas : array_like
        Any shape [m/s], from 0 to where Mach is 5.
    pressure_altitude : array_like
        [m, geopotential], -5000 to 32000; broadcast against the speed.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        [1/m]; 0 at rest. NaN where either is NaN.

    Raises
    ------
    ValueError
        If a speed, an altitude or the resulting Mach lies outside its range.
    """
    mach = airspeed.mach_from_cas(cas, pressure_altitude)
    below = impact_ratio_slope(mach)
    ratio = pitot.impact_ratio_from_mach(mach)
    lapse = relative_pressure_lapse(pressure_altitude)
    slope: Floats = ratio * lapse / np.where(below == 0.0, 1.0, below)
    return slope


def altitude_by_static_source(cas: ArrayLike, pressure_altitude: ArrayLike) -> Floats:
    """Pressure altitude that moves with the airspeed when the static pressure is in error.

    Total pressure stays as it is, so what the static pressure gains the impact pressure loses;
    both then read low or high together.

    Parameters
    ----------
    cas : array_like
        Any shape [m/s], 0 to 5 times the speed of sound at sea level.
    pressure_altitude : array_like
        [m, geopotential], -5000 to 32000; broadcast against the speed.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        dHp/dV [m per m/s]; NaN where either is NaN.

    Raises
    ------
    ValueError
        If a speed or an altitude lies outside its range.

    References
    ----------
    Below the speed of sound this is the flight test form
    (58.57 ft/kt / sigma)(V/a0)(1 + 0.2 (V/a0)^2)^2.5.
    """
    speed = within(cas, 0.0, airspeed.HIGHEST_CAS, "calibrated airspeed [m/s]")
    delta = atmosphere.pressure_ratio(pressure_altitude)
    lapse = relative_pressure_lapse(pressure_altitude)
    moved: Floats = impact_ratio_slope(speed / A0) / (A0 * delta * lapse)
    return moved


def eas_by_mach(mach: ArrayLike, pressure_altitude: ArrayLike) -> tuple[Floats, Floats]:
    """Derivatives of equivalent airspeed by Mach [m/s] and by pressure altitude [1/s].

    The second is at constant Mach. Shapes, ranges, NaN and errors are those of
    ``airspeed.eas_from_mach``.
    """
    eas = airspeed.eas_from_mach(mach, pressure_altitude)
    sound = A0 * np.sqrt(atmosphere.pressure_ratio(pressure_altitude))
    return sound, -0.5 * eas * relative_pressure_lapse(pressure_altitude)


def tas_by_mach(
    mach: ArrayLike, temperature: ArrayLike, recovery_factor: float = 0.0
) -> tuple[Floats, Floats]:
    """Derivatives of true airspeed by Mach [m/s] and by the temperature that is read [m/s/K].

    A probe that recovers a part K of the ram rise reads T_r = T (1 + K M^2/5), so Mach moves
    true airspeed through the reduction too.

    Parameters
    ----------
    mach : array_like
        Any shape, 0 to 5.
    temperature : array_like
        Static temperature [K], 100 to 400; broadcast against the Mach number.
    recovery_factor : float
        K, 0 to 1; 0 where the static temperature itself is read.

    Returns
    -------
    tuple of ndarray of float64, or of float64 scalars
        By Mach at constant reading, by the reading at constant Mach; NaN where either is NaN.

    Raises
    ------
    ValueError
        If a value lies outside its range.
    """
    number = within(mach, 0.0, pitot.HIGHEST_MACH, "Mach number")
    rise = 1.0 + 0.2 * within(recovery_factor, 0.0, 1.0, "recovery factor") * number * number
    sound = atmosphere.speed_of_sound(temperature)
    read = np.asarray(temperature, dtype=np.float64) * rise
    return sound / rise, 0.5 * number * sound / read


def cas_at_mach_by_altitude(
    cas: ArrayLike, pressure_altitude: ArrayLike, mach_slope: ArrayLike = 0.0
) -> Floats:
    """Derivative by pressure altitude of the calibrated airspeed of a Mach number [1/s].

    Parameters
    ----------
    cas : array_like
        The calibrated airspeed of that Mach number [m/s], above 0, any shape.
    pressure_altitude : array_like
        [m, geopotential], -5000 to 32000; broadcast.
    mach_slope : array_like
        How the Mach number itself changes with altitude [1/m]; broadcast.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        [1/s]; negative for a constant Mach number. NaN where any is NaN.

    Raises
    ------
    ValueError
        If a speed, an altitude or the Mach number lies outside its range, or a speed is 0.
    """
    speed = np.asarray(cas, dtype=np.float64)
    if np.any(speed == 0.0):
        raise ValueError("a calibrated airspeed of 0 m/s is that of any altitude's Mach 0")
    by_cas = mach_by_cas(speed, pressure_altitude)
    result: Floats = (np.asarray(mach_slope) - mach_by_altitude(speed, pressure_altitude)) / by_cas
    return result
