"""Sensitivities of a limit and of the margin to it by the air data."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import atmosphere, sensitivity
from loganalyze.limits.limit_equivalents import AirDataRows
from loganalyze.quantities.speed_relations import skip_nan
from loganalyze.record.units import KNOT
from loganalyze.sheets.limits_sheet import Limit

Floats = NDArray[np.float64]
Singles = NDArray[np.float32]

SLOWEST_KT = 3.0
"""CAS below which the ratio of Mach to CAS is taken as that at rest [kt]."""

_SOUND_KT = atmosphere.A0 / KNOT


def static_source(at: AirDataRows) -> Floats:
    """Return the altitude error per airspeed error of a static source error [m per m/s]."""
    return skip_nan(sensitivity.altitude_by_static_source, at.calibrated_airspeed,
                    at.pressure_altitude)


def margin_slopes(
    limit: Limit, at: AirDataRows, recovery_factor: float
) -> tuple[Floats, Floats, Floats]:
    """Derivatives of the margin to a limit by its inputs, in its published quantity.

    Parameters
    ----------
    limit : Limit
    at : AirDataRows
        Air data at m rows.
    recovery_factor : float
        That of the temperature that is read; 0 for static temperature.

    Returns
    -------
    tuple of float64[m]
        By calibrated airspeed [the limit's unit per m/s], by pressure altitude [per m] and by
        the temperature read [per K]; NaN where an input that matters is missing.
    """
    unit = 1.0 / limit.kind.unit.factor
    by_speed, by_height, by_heat = limit.kind.value_slopes(at, recovery_factor)
    moves = np.zeros(at.rows.shape)
    if limit.by_pressure_altitude is not None:
        moves = maximum_slope(limit, at.pressure_altitude)
    return -unit * by_speed, unit * (moves - by_height), -unit * by_heat


def maximum_slope(limit: Limit, altitude: Floats) -> Floats:
    """Return the derivative of a limit's maximum by pressure altitude [SI per m], float64[m].

    Half a metre to either side, so that a table's bend counts half; 0 beyond its ends.
    """
    before, after = limit.maximum_at(altitude - 0.5), limit.maximum_at(altitude + 0.5)
    here = limit.maximum_at(altitude)
    before = np.where(np.isnan(before), here, before)
    after = np.where(np.isnan(after), here, after)
    return np.asarray(after - before)


def limit_slopes(limit: Limit, cas: Floats, altitude: Floats) -> tuple[Floats, Floats]:
    """How a limit, as CAS [m/s per m] and as Mach [1/m], changes with pressure altitude.

    `cas` is its calibrated equivalent [m/s] at the altitudes [m]. A true airspeed limit is
    taken at constant temperature.
    """
    own = maximum_slope(limit, altitude) if limit.by_pressure_altitude else np.zeros(len(cas))
    return limit.kind.limit_slopes(own, cas, altitude)


def mach_slopes(speed: Singles, number: Singles, thick: Singles, thin: Singles
                ) -> tuple[Singles, Singles, Singles]:
    """Return Mach by CAS [1/kt] and by altitude [1/ft], and altitude by static source [ft/kt].

    In single precision, for many rows. `speed` [kt CAS]; `number` : Mach; `thick` : sea-level
    pressure over that at the altitude, overwritten; `thin` : how that falls with altitude.
    """
    ratio = speed * np.float32(1 / _SOUND_KT)
    if np.fmin.reduce(speed, initial=SLOWEST_KT) < SLOWEST_KT:
        least = np.float32(SLOWEST_KT / _SOUND_KT)
        ratio = np.maximum(ratio, least)
        number = np.maximum(number, least * np.sqrt(thick))
    thick *= ratio
    thick *= _power(ratio)[1]
    warmer, fifth = _power(number)
    below = number * fifth
    by_kt = thick / below
    by_kt *= np.float32(1 / _SOUND_KT)
    fifth *= warmer
    fifth -= 1
    fifth /= below
    fifth *= thin
    fifth *= np.float32(1 / 1.4)
    thick /= thin
    thick *= np.float32(1.4 / _SOUND_KT)
    return by_kt, fifth, thick


def _power(mach: Singles) -> tuple[Singles, Singles]:
    """1 + M^2/5 and its power 5/2."""
    warmer = mach * mach
    warmer *= np.float32(0.2)
    warmer += 1
    power = np.sqrt(warmer)
    power *= warmer
    power *= warmer
    return warmer, power
