"""Calibrated, equivalent and true airspeed and Mach number, each from any other.

All conversions go through the impact pressure. CAS refers it to the pressure at sea level and Mach
to the static pressure, so the branch of the pitot formula is chosen separately for CAS and for
Mach.

References
----------
.. [1] Ames Research Staff, Equations, Tables, and Charts for Compressible Flow, NACA Report 1135,
   1953: eq. 44 (isentropic) and eq. 100 (Rayleigh's pitot formula).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from loganalyze.air.atmosphere import (
    A0,
    pressure_altitude_from_ratio,
    pressure_ratio,
    speed_of_sound,
)
from loganalyze.air.pitot import (
    HIGHEST_MACH,
    SONIC_RATIO,
    impact_ratio_from_mach,
    mach_from_impact_ratio,
)
from loganalyze.air.validity import Floats, within

__all__ = [
    "HIGHEST_CAS",
    "HIGHEST_MACH",
    "SONIC_RATIO",
    "cas_from_eas",
    "cas_from_impact_ratio",
    "cas_from_mach",
    "cas_from_tas",
    "crossover_pressure_altitude",
    "eas_from_cas",
    "eas_from_mach",
    "eas_from_tas",
    "impact_ratio_from_cas",
    "impact_ratio_from_mach",
    "mach_from_cas",
    "mach_from_eas",
    "mach_from_impact_ratio",
    "mach_from_tas",
    "tas_from_cas",
    "tas_from_eas",
    "tas_from_mach",
]

HIGHEST_CAS = HIGHEST_MACH * A0
"""The highest CAS accepted [m/s]."""


def impact_ratio_from_cas(cas: ArrayLike) -> Floats:
    """Impact pressure over the standard pressure at sea level, at a calibrated airspeed.

    Parameters
    ----------
    cas : array_like
        Any shape [m/s], 0 to 5 times the speed of sound at sea level.

    Returns
    -------
    ndarray of float64, or a float64 scalar for a scalar
        q_c / p0; NaN where CAS is NaN.

    Raises
    ------
    ValueError
        If a speed lies outside the range.

    References
    ----------
    NACA Report 1135, eqs. 44 and 100, at sea level: CAS is the TAS that gives the same impact
    pressure there.
    """
    return impact_ratio_from_mach(within(cas, 0.0, HIGHEST_CAS, "calibrated airspeed [m/s]") / A0)


def cas_from_impact_ratio(ratio: ArrayLike) -> Floats:
    """Calibrated airspeed at an impact pressure over the standard pressure at sea level.

    Parameters
    ----------
    ratio : array_like
        q_c / p0, any shape, from 0 to 31.65.

    Returns
    -------
    ndarray of float64, or a float64 scalar for a scalar
        CAS [m/s]; NaN where the ratio is NaN.

    Raises
    ------
    ValueError
        If a ratio lies outside the range.

    References
    ----------
    NACA Report 1135, eqs. 44 and 100, at sea level.
    """
    return A0 * mach_from_impact_ratio(ratio)


def mach_from_cas(cas: ArrayLike, pressure_altitude: ArrayLike) -> Floats:
    """Mach number at a calibrated airspeed; independent of temperature.

    Parameters
    ----------
    cas : array_like
        Any shape [m/s], from 0 to where Mach is 5.
    pressure_altitude : array_like
        [m, geopotential], -5000 to 32000; broadcast against the speed.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        Mach number; NaN where either is NaN.

    Raises
    ------
    ValueError
        If a speed, an altitude or the resulting Mach lies outside its range.

    References
    ----------
    NACA Report 1135, eqs. 44 and 100.
    """
    return mach_from_impact_ratio(impact_ratio_from_cas(cas) / pressure_ratio(pressure_altitude))


def cas_from_mach(mach: ArrayLike, pressure_altitude: ArrayLike) -> Floats:
    """Calibrated airspeed at a Mach number; the inverse of ``mach_from_cas``.

    Parameters
    ----------
    mach : array_like
        Any shape, 0 to 5.
    pressure_altitude : array_like
        [m, geopotential], -5000 to 32000; broadcast against Mach.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        CAS [m/s]; NaN where either is NaN.

    Raises
    ------
    ValueError
        If a Mach number, an altitude or the resulting CAS lies outside its range.

    References
    ----------
    NACA Report 1135, eqs. 44 and 100.
    """
    return cas_from_impact_ratio(impact_ratio_from_mach(mach) * pressure_ratio(pressure_altitude))


def mach_from_eas(eas: ArrayLike, pressure_altitude: ArrayLike) -> Floats:
    """Mach number at an equivalent airspeed: EAS = M a0 sqrt(delta), whatever the temperature.

    Parameters
    ----------
    eas : array_like
        Any shape [m/s], from 0 to where Mach is 5.
    pressure_altitude : array_like
        [m, geopotential], -5000 to 32000; broadcast against the speed.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        Mach number; NaN where either is NaN.

    Raises
    ------
    ValueError
        If an altitude or the resulting Mach lies outside its range.
    """
    scale = A0 * np.sqrt(pressure_ratio(pressure_altitude))
    return _mach(np.asarray(eas, dtype=np.float64) / scale, "equivalent airspeed gives Mach")


def eas_from_mach(mach: ArrayLike, pressure_altitude: ArrayLike) -> Floats:
    """Equivalent airspeed at a Mach number; the inverse of ``mach_from_eas``.

    Parameters
    ----------
    mach : array_like
        Any shape, 0 to 5.
    pressure_altitude : array_like
        [m, geopotential], -5000 to 32000; broadcast against Mach.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        EAS [m/s]; NaN where either is NaN.

    Raises
    ------
    ValueError
        If a Mach number or an altitude lies outside its range.
    """
    scale: Floats = A0 * np.sqrt(pressure_ratio(pressure_altitude))
    return _mach(mach, "Mach number") * scale


def tas_from_mach(mach: ArrayLike, temperature: ArrayLike) -> Floats:
    """True airspeed at a Mach number.

    Parameters
    ----------
    mach : array_like
        Any shape, 0 to 5.
    temperature : array_like
        Static temperature [K], 100 to 400; broadcast against Mach.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        TAS [m/s]; NaN where either is NaN.

    Raises
    ------
    ValueError
        If a Mach number or a temperature lies outside its range.
    """
    return _mach(mach, "Mach number") * speed_of_sound(temperature)


def mach_from_tas(tas: ArrayLike, temperature: ArrayLike) -> Floats:
    """Mach number at a true airspeed.

    Parameters
    ----------
    tas : array_like
        Any shape [m/s], from 0 to where Mach is 5.
    temperature : array_like
        Static temperature [K], 100 to 400; broadcast against the speed.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        Mach number; NaN where either is NaN.

    Raises
    ------
    ValueError
        If a temperature or the resulting Mach lies outside its range.
    """
    speed = np.asarray(tas, dtype=np.float64)
    return _mach(speed / speed_of_sound(temperature), "true airspeed gives Mach")


def eas_from_cas(cas: ArrayLike, pressure_altitude: ArrayLike) -> Floats:
    """Equivalent from calibrated airspeed, both in m/s.

    Joins ``mach_from_cas`` and ``eas_from_mach``: shapes, ranges, NaN and errors are theirs.
    """
    return eas_from_mach(mach_from_cas(cas, pressure_altitude), pressure_altitude)


def cas_from_eas(eas: ArrayLike, pressure_altitude: ArrayLike) -> Floats:
    """Calibrated from equivalent airspeed, both in m/s.

    Joins ``mach_from_eas`` and ``cas_from_mach``: shapes, ranges, NaN and errors are theirs.
    """
    return cas_from_mach(mach_from_eas(eas, pressure_altitude), pressure_altitude)


def tas_from_cas(cas: ArrayLike, pressure_altitude: ArrayLike, temperature: ArrayLike) -> Floats:
    """True from calibrated airspeed, both in m/s.

    Joins ``mach_from_cas`` and ``tas_from_mach``: shapes, ranges, NaN and errors are theirs.
    """
    return tas_from_mach(mach_from_cas(cas, pressure_altitude), temperature)


def cas_from_tas(tas: ArrayLike, pressure_altitude: ArrayLike, temperature: ArrayLike) -> Floats:
    """Calibrated from true airspeed, both in m/s.

    Joins ``mach_from_tas`` and ``cas_from_mach``: shapes, ranges, NaN and errors are theirs.
    """
    return cas_from_mach(mach_from_tas(tas, temperature), pressure_altitude)


def tas_from_eas(eas: ArrayLike, pressure_altitude: ArrayLike, temperature: ArrayLike) -> Floats:
    """True from equivalent airspeed, both in m/s.

    Joins ``mach_from_eas`` and ``tas_from_mach``: shapes, ranges, NaN and errors are theirs.
    """
    return tas_from_mach(mach_from_eas(eas, pressure_altitude), temperature)


def eas_from_tas(tas: ArrayLike, pressure_altitude: ArrayLike, temperature: ArrayLike) -> Floats:
    """Equivalent from true airspeed, both in m/s.

    Joins ``mach_from_tas`` and ``eas_from_mach``: shapes, ranges, NaN and errors are theirs.
    """
    return eas_from_mach(mach_from_tas(tas, temperature), pressure_altitude)


def crossover_pressure_altitude(cas: ArrayLike, mach: ArrayLike) -> Floats:
    """Pressure altitude at which a CAS and a Mach number are the same speed.

    Both then have one impact pressure, so the pressure ratio there is their quotient: a closed
    form, also when either is supersonic.

    Parameters
    ----------
    cas : array_like
        Any shape [m/s], above 0, up to 5 times the speed of sound at sea level.
    mach : array_like
        Above 0, up to 5; broadcast against the speed.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        Pressure altitude [m, geopotential]; NaN where either is NaN.

    Raises
    ------
    ValueError
        If a speed lies outside its range, or the two meet nowhere between -5000 and 32000 m.
    """
    by_cas, by_mach = impact_ratio_from_cas(cas), impact_ratio_from_mach(mach)
    if np.any(by_cas == 0.0) or np.any(by_mach == 0.0):
        raise ValueError("a speed of zero crosses no other")
    try:
        return pressure_altitude_from_ratio(by_cas / by_mach)
    except ValueError as error:
        raise ValueError("the CAS and the Mach number cross nowhere in -5 to 32 km") from error


def _mach(mach: ArrayLike, quantity: str) -> Floats:
    return within(mach, 0.0, HIGHEST_MACH, quantity)
