"""Each limit in its published quantity and as calibrated airspeed, reckoned row by row.

This is the plain, exact reckoning. The block loop takes a tabulated shortcut where a limit is
safely far away, and comes back here for every row near one.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import airspeed, atmosphere, probes
from loganalyze.airdata.air_data import AirData
from loganalyze.record import sample_reasons
from loganalyze.record.units import KNOT
from loganalyze.screening.evaluation_settings import Settings
from loganalyze.sheets.limits_sheet import Limit

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

GREATEST_MACH = 3.0
"""No limit or speed beyond this Mach number is reckoned with; it is unknown."""
GREATEST_CAS = GREATEST_MACH * atmosphere.A0
_GREATEST_RATIO = float(airspeed.impact_ratio_from_mach(GREATEST_MACH))


@dataclass(frozen=True, eq=False)
class Point:
    """The air data of some rows, float64[m] in SI, with what follows from them."""

    rows: Rows
    calibrated_airspeed: Floats
    pressure_altitude: Floats
    mach: Floats
    temperature: Floats
    indicated_airspeed: Floats
    indicated_altitude: Floats
    """Pressure altitude with the static source's error in it."""


def within(function: Callable[..., Floats], *arrays: Floats) -> Floats:
    """Apply an engine function where all arguments are numbers; NaN elsewhere."""
    if not any(np.isnan(array).any() for array in arrays):
        return np.asarray(function(*arrays))
    known = ~np.isnan(arrays[0])
    for array in arrays[1:]:
        known = known & ~np.isnan(array)
    result = np.full(known.shape, np.nan)
    if known.any():
        result[known] = function(*(np.broadcast_to(a, known.shape)[known] for a in arrays))
    return result


def point(air: AirData, rows: Rows, reasons: sample_reasons.Bits | None = None) -> Point:
    """Reckon Mach number and static temperature at the given rows.

    What was screened out is NaN: by the rows' `reasons`, or else by those that `air` keeps.
    """
    reasons = air.reasons_at(rows) if reasons is None else reasons

    def kept(values: Floats, mask: np.uint16) -> Floats:
        return np.where(reasons & mask, np.nan, values[rows])

    speed = kept(air.calibrated_airspeed, sample_reasons.AIRSPEED)
    altitude = kept(air.pressure_altitude, air.altitude_mask)
    indicated, felt = speed, altitude
    if air.indicated_airspeed is not None:
        indicated = kept(air.indicated_airspeed, sample_reasons.AIRSPEED)
    if air.indicated_pressure_altitude is not air.pressure_altitude:
        felt = kept(air.indicated_pressure_altitude, air.indicated_altitude_mask)
    mach = mach_at_cas(speed, altitude)
    temperature = np.full(rows.shape, np.nan)
    if air.temperature is not None:
        read = sample_reasons.HEAT.plausible(kept(air.temperature, sample_reasons.TEMPERATURE))
        temperature = static_from(read, mach, air.recovery_factor)
    return Point(rows, speed, altitude, mach, temperature, indicated, felt)


def static_from(felt: Floats, mach: Floats, recovery_factor: float) -> Floats:
    """Static temperature [K] of what the probe felt; a recovery factor of 0 feels static."""
    if recovery_factor == 0.0:
        return felt
    return within(lambda t, m: probes.static_temperature(t, m, recovery_factor), felt, mach)


def published_value(limit: Limit, at: Point) -> Floats:
    """Return the speed in the limit's own quantity, in kt or Mach.

    NaN where an input is missing.
    """
    match limit.quantity:
        case "calibrated_airspeed":
            return at.calibrated_airspeed / KNOT
        case "indicated_airspeed":
            return at.indicated_airspeed / KNOT
        case "equivalent_airspeed":
            return within(airspeed.eas_from_mach, at.mach, at.pressure_altitude) / KNOT
        case "true_airspeed":
            return within(airspeed.tas_from_mach, at.mach, at.temperature) / KNOT
        case "mach":
            return at.mach
        case "indicated_mach":
            return mach_at_cas(at.indicated_airspeed, at.indicated_altitude)
    raise AssertionError(limit.quantity)


def published_maximum(limit: Limit, at: Point) -> Floats:
    """Return the limit's maximum in its own quantity, in kt or Mach; NaN outside its table."""
    maximum = np.broadcast_to(limit.maximum_at(at.pressure_altitude), at.rows.shape)
    return np.asarray(maximum if limit.is_mach else maximum / KNOT, dtype=np.float64)


def calibrated_equivalent(limit: Limit, air: AirData, at: Point) -> Floats:
    """Return the calibrated airspeed [m/s] at which the limit lies; NaN where unknown.

    The position correction is taken at the limit speed. Every map used rises with the speed,
    so the sign of the margin is that of the published quantity.
    """
    maximum = np.broadcast_to(
        np.asarray(limit.maximum_at(at.pressure_altitude), dtype=np.float64), at.rows.shape
    )
    altitude = at.pressure_altitude
    match limit.quantity:
        case "calibrated_airspeed":
            return maximum
        case "indicated_airspeed":
            return air.calibrated_from_indicated(maximum, at.rows)
        case "equivalent_airspeed":
            return cas_at_mach(_mach_from_eas(maximum, altitude), altitude)
        case "true_airspeed":
            sound = within(atmosphere.speed_of_sound, at.temperature)
            return cas_at_mach(maximum / sound, altitude)
        case "mach":
            return cas_at_mach(maximum, altitude)
        case "indicated_mach":
            return air.calibrated_from_indicated(
                cas_at_mach(maximum, at.indicated_altitude), at.rows
            )
    raise AssertionError(limit.quantity)


def cas_at_mach(mach: Floats, altitude: Floats) -> Floats:
    """Calibrated airspeed [m/s] of a Mach number; NaN beyond the greatest one reckoned with."""
    return within(
        airspeed.cas_from_mach, np.where(mach <= GREATEST_MACH, mach, np.nan), altitude
    )


def mach_at_cas(cas: Floats, altitude: Floats) -> Floats:
    """Mach number of a calibrated airspeed [m/s]; NaN beyond the greatest one reckoned with."""
    ratio = within(airspeed.impact_ratio_from_cas, np.where(cas <= GREATEST_CAS, cas, np.nan))
    ratio = ratio / within(atmosphere.pressure_ratio, altitude)
    return within(
        airspeed.mach_from_impact_ratio, np.where(ratio <= _GREATEST_RATIO, ratio, np.nan)
    )


def over(limit: Limit, value: Floats, maximum: Floats, air: AirData, settings: Settings
         ) -> NDArray[np.bool_]:
    """Whether the speed is over the limit, beyond the tolerance; False where unknown."""
    tolerance = settings.tolerance_mach if limit.is_mach else settings.tolerance_kt
    # A number format that can't hold the limit exactly must not turn it into an exceedance.
    slack = np.maximum(tolerance, air.speed_rounding * np.abs(maximum))
    return np.asarray(value - maximum > slack)


def _mach_from_eas(eas: Floats, altitude: Floats) -> Floats:
    mach = eas / (atmosphere.A0 * np.sqrt(within(atmosphere.pressure_ratio, altitude)))
    return np.asarray(mach)
