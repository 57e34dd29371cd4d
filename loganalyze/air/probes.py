"""What the probes make of the air: ram rise, instrument and position error, and their undoing.

The order is that of flight testing: V_ic = V_i + instrument correction, then
V_c = V_ic + position correction.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from loganalyze.air.airspeed import HIGHEST_MACH, impact_ratio_from_cas
from loganalyze.air.atmosphere import pressure_altitude_from_ratio, pressure_ratio
from loganalyze.air.validity import (
    HIGHEST_TEMPERATURE,
    HIGHEST_TOTAL_TEMPERATURE,
    LOWEST_TEMPERATURE,
    Floats,
    within,
)


def total_temperature(
    static: ArrayLike, mach: ArrayLike, recovery_factor: ArrayLike = 1.0
) -> Floats:
    """Temperature that a probe of this recovery factor reads: T (1 + K M^2 / 5).

    Parameters
    ----------
    static : array_like
        Static temperature [K], 100 to 400, any shape.
    mach : array_like
        Mach number, 0 to 5; broadcast.
    recovery_factor : array_like
        Fraction K of the ram rise that the probe recovers, 0 to 1; 1 gives the total temperature.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        Temperature read [K]; NaN where any is NaN.

    Raises
    ------
    ValueError
        If a value lies outside its range.

    References
    ----------
    NACA Report 1135, eq. 43, with the recovery factor applied to the rise.
    """
    kelvin = within(static, LOWEST_TEMPERATURE, HIGHEST_TEMPERATURE, "static temperature [K]")
    return kelvin * _ram_factor(mach, recovery_factor)


def static_temperature(
    total: ArrayLike, mach: ArrayLike, recovery_factor: ArrayLike = 1.0
) -> Floats:
    """Static temperature from what a probe of this recovery factor reads: T_r / (1 + K M^2 / 5).

    Parameters
    ----------
    total : array_like
        Temperature read [K], 100 to 2400, any shape.
    mach : array_like
        Mach number, 0 to 5; broadcast.
    recovery_factor : array_like
        Fraction K of the ram rise that the probe recovers, 0 to 1; 1 for total temperature.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        Static temperature [K]; NaN where any is NaN.

    Raises
    ------
    ValueError
        If a value lies outside its range.

    References
    ----------
    NACA Report 1135, eq. 43, with the recovery factor applied to the rise.
    """
    kelvin = within(total, LOWEST_TEMPERATURE, HIGHEST_TOTAL_TEMPERATURE, "temperature read [K]")
    return kelvin / _ram_factor(mach, recovery_factor)


def _ram_factor(mach: ArrayLike, recovery_factor: ArrayLike) -> Floats:
    number = within(mach, 0.0, HIGHEST_MACH, "Mach number")
    return 1.0 + 0.2 * within(recovery_factor, 0.0, 1.0, "recovery factor") * number**2


@dataclass(frozen=True, eq=False)
class CorrectionTable:
    """What to add to an airspeed, linear between the speeds of a table.

    Attributes
    ----------
    at : ndarray of float64, shape (n,)
        Speeds read [m/s], rising, at least 2.
    add : ndarray of float64, shape (n,)
        What to add at each [m/s].

    Raises
    ------
    ValueError
        If the table isn't that, or the corrected speeds fall below 0 or don't rise with the
        speeds read (no speed could then be traced back to one reading).
    """

    at: Floats
    add: Floats

    def __post_init__(self) -> None:
        for name in ("at", "add"):
            column = np.array(getattr(self, name), dtype=np.float64)
            column.flags.writeable = False
            object.__setattr__(self, name, column)
        if self.at.ndim != 1 or self.at.shape != self.add.shape or len(self.at) < 2:
            raise ValueError("a correction table needs two or more pairs of speed and correction")
        if not (np.all(np.isfinite(self.at)) and np.all(np.isfinite(self.add))):
            raise ValueError("a correction table holds finite numbers only")
        if self.at[0] < 0.0 or self.at[0] + self.add[0] < 0.0:
            raise ValueError("a correction table holds no negative speed")
        if not np.all(np.diff(self.at) > 0.0):
            raise ValueError("the speeds of a correction table must rise")
        if not np.all(np.diff(self.at + self.add) > 0.0):
            raise ValueError("the corrected speeds of a correction table must rise")

    def corrected(self, speed: ArrayLike) -> Floats:
        """Corrected speed [m/s] of a speed read; NaN outside the table and where it is NaN."""
        read = np.asarray(speed, dtype=np.float64)
        added = np.interp(read, self.at, self.add, left=np.nan, right=np.nan)
        # Rounding must not push the ends out of reach of the inverse.
        ends = self.at + self.add
        result: Floats = np.clip(read + added, ends[0], ends[-1])
        return result

    def uncorrected(self, corrected: ArrayLike) -> Floats:
        """Speed read [m/s] that gives this corrected speed; NaN where no speed in the table does.

        The correction is as linear in the corrected speed as in the one read, so the inverse is
        exact.
        """
        speed = np.asarray(corrected, dtype=np.float64)
        added = np.interp(speed, self.at + self.add, self.add, left=np.nan, right=np.nan)
        result: Floats = np.clip(speed - added, self.at[0], self.at[-1])
        return result


def static_source_pressure_altitude(
    instrument_corrected: ArrayLike, calibrated: ArrayLike, indicated_altitude: ArrayLike
) -> Floats:
    """Pressure altitude when the whole position error of the airspeed is the static source's.

    Total pressure is right and static pressure wrong, so what the impact pressure lacks the
    static pressure has too much: p_s = p_s,i - [q_c(V_c) - q_c(V_ic)].

    Parameters
    ----------
    instrument_corrected : array_like
        Airspeed V_ic, corrected for the instrument alone [m/s], any shape.
    calibrated : array_like
        Calibrated airspeed V_c [m/s]; broadcast.
    indicated_altitude : array_like
        Pressure altitude that the wrong static pressure gives [m, geopotential], -5000 to 32000.

    Returns
    -------
    ndarray of float64, or a float64 scalar for scalars
        Pressure altitude [m, geopotential]; NaN where any is NaN.

    Raises
    ------
    ValueError
        If a value or the resulting altitude lies outside its range.
    """
    lacking = impact_ratio_from_cas(calibrated) - impact_ratio_from_cas(instrument_corrected)
    return pressure_altitude_from_ratio(pressure_ratio(indicated_altitude) - lacking)
