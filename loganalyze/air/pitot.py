"""Impact pressure at a pitot probe, that is total minus static pressure.

Isentropic up to Mach 1; above it the probe stands behind a normal shock.

References
----------
.. [1] Ames Research Staff, Equations, Tables, and Charts for Compressible Flow, NACA Report 1135,
   1953: eq. 44 (isentropic) and eq. 100 (Rayleigh's pitot formula).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from loganalyze.air.validity import Floats, within

HIGHEST_MACH = 5.0
"""The highest Mach number accepted (of CAS: over the speed of sound at sea level).

The formulas hold for any speed in a gas whose specific heats stay constant. Air's do well enough
up to about here; beyond lies hypersonic flow, which no pitot formula describes.
"""
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


_HIGHEST_RATIO = float(impact_ratio_from_mach(HIGHEST_MACH))
