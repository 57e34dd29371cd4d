"""Calibrated, equivalent and true airspeed and Mach number, each from any other.

The common currency is the impact pressure, that is total minus static pressure at the pitot
probe: isentropic up to Mach 1, behind a normal shock above it. CAS refers it to the pressure at
sea level and Mach to the static pressure, so which of the two branches applies is decided apart
for CAS and for Mach.

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
from loganalyze.air.validity import Floats, within

HIGHEST_MACH = 5.0
"""The highest Mach number taken (of CAS: over the speed of sound at sea level).

The formulas hold for any speed in a gas whose specific heats stay constant. Air's do well enough
up to about here; beyond lies hypersonic flow, which no pitot formula describes.
"""
HIGHEST_CAS = HIGHEST_MACH * A0
"""The highest CAS taken [m/s]."""
SONIC_RATIO = 1.2**3.5 - 1.0
"""Impact pressure over static pressure at Mach 1."""

_RAYLEIGH = 1.2**3.5 * 6.0**2.5  # the factor C of C M^7 / (7 M^2 - 1)^2.5
_NEWTON_STEPS = 5  # four reach machine precision from the start taken; tests hold it to that


def _isentropic_ratio(mach_squared: Floats) -> Floats:
    # With s = sqrt(1 + M^2/5) - 1 the ratio is (1 + s)^7 - 1, written out: nothing cancels at
    # low speed, and no power is needed.
    x = 0.2 * mach_squared
    s = x / (1.0 + np.sqrt(1.0 + x))
    ratio: Floats = s * (7.0 + s * (21.0 + s * (35.0 + s * (35.0 + s * (21.0 + s * (7.0 + s))))))
    return ratio


def _rayleigh_pressure(mach_squared: Floats) -> Floats:
    """Total pressure behind the shock over static pressure."""
    slower = 7.0 * mach_squared - 1.0
    pressure: Floats = (
        _RAYLEIGH * mach_squared**3 * np.sqrt(mach_squared) / (slower**2 * np.sqrt(slower))
    )
    return pressure


_RAYLEIGH_SLOPE = _RAYLEIGH / 7.0**2.5  # pressure over Mach squared, at high speed


def _rayleigh_mach_squared(pressure: Floats) -> Floats:
    """Inverse of ``_rayleigh_pressure``.

    The pressure is a convex, rising function of the square of Mach, nearly a straight line; the
    start is on its asymptote, above the root, so every Newton step comes nearer.
    """
    square: Floats = pressure / _RAYLEIGH_SLOPE - 2.5 / 7.0
    for _ in range(_NEWTON_STEPS):
        reached = _rayleigh_pressure(square)
        slope = reached * (7.0 * square - 3.5) / (square * (7.0 * square - 1.0))
        square = square - (reached - pressure) / slope
    return square


def impact_ratio_from_mach(mach: ArrayLike) -> Floats:
    """Impact pressure over static pressure at a Mach number.

    Parameters
    ----------
    mach : array_like
        Any shape, 0 to 5.

    Returns
    -------
    ndarray of float64, or a float64 scalar for a scalar
        q_c / p; NaN where Mach is NaN.

    Raises
    ------
    ValueError
        If a Mach number lies outside the range.

    References
    ----------
    NACA Report 1135, eqs. 44 and 100.
    """
    number = within(mach, 0.0, HIGHEST_MACH, "Mach number")
    square = number * number
    ratio = _isentropic_ratio(square)
    supersonic = number > 1.0
    if np.any(supersonic):
        shocked = _rayleigh_pressure(np.where(supersonic, square, 1.0)) - 1.0
        ratio = np.where(supersonic, shocked, ratio)[()]
    return ratio


def mach_from_impact_ratio(ratio: ArrayLike) -> Floats:
    """Mach number at a ratio of impact pressure to static pressure.

    Parameters
    ----------
    ratio : array_like
        q_c / p, any shape, from 0 to the ratio at Mach 5 (31.65).

    Returns
    -------
    ndarray of float64, or a float64 scalar for a scalar
        Mach number; NaN where the ratio is NaN.

    Raises
    ------
    ValueError
        If a ratio lies outside the range.

    References
    ----------
    NACA Report 1135, eq. 44 solved for Mach, and eq. 100 by Newton's method.
    """
    impact = within(ratio, 0.0, _HIGHEST_RATIO, "impact pressure over static pressure")
    square = 5.0 * np.expm1(np.log1p(impact) * (2.0 / 7.0))
    supersonic = impact > SONIC_RATIO
    if np.any(supersonic):
        shocked = _rayleigh_mach_squared(1.0 + np.where(supersonic, impact, SONIC_RATIO))
        square = np.where(supersonic, shocked, square)[()]
    mach: Floats = np.sqrt(square)
    return mach


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
    """Mach number at a calibrated airspeed; no temperature takes part.

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
    """Equivalent from calibrated airspeed [m/s]; ranges and errors as ``mach_from_cas``."""
    return eas_from_mach(mach_from_cas(cas, pressure_altitude), pressure_altitude)


def cas_from_eas(eas: ArrayLike, pressure_altitude: ArrayLike) -> Floats:
    """Calibrated from equivalent airspeed [m/s]; ranges and errors as ``mach_from_eas``."""
    return cas_from_mach(mach_from_eas(eas, pressure_altitude), pressure_altitude)


def tas_from_cas(cas: ArrayLike, pressure_altitude: ArrayLike, temperature: ArrayLike) -> Floats:
    """True from calibrated airspeed [m/s]; ranges as ``mach_from_cas`` and ``tas_from_mach``."""
    return tas_from_mach(mach_from_cas(cas, pressure_altitude), temperature)


def cas_from_tas(tas: ArrayLike, pressure_altitude: ArrayLike, temperature: ArrayLike) -> Floats:
    """Calibrated from true airspeed [m/s]; ranges as ``mach_from_tas`` and ``cas_from_mach``."""
    return cas_from_mach(mach_from_tas(tas, temperature), pressure_altitude)


def tas_from_eas(eas: ArrayLike, pressure_altitude: ArrayLike, temperature: ArrayLike) -> Floats:
    """True from equivalent airspeed [m/s]; ranges as ``mach_from_eas`` and ``tas_from_mach``."""
    return tas_from_mach(mach_from_eas(eas, pressure_altitude), temperature)


def eas_from_tas(tas: ArrayLike, pressure_altitude: ArrayLike, temperature: ArrayLike) -> Floats:
    """Equivalent from true airspeed [m/s]; ranges as ``mach_from_tas`` and ``eas_from_mach``."""
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


_HIGHEST_RATIO = float(impact_ratio_from_mach(HIGHEST_MACH))
