"""How the margin to a limit, and the limit itself, move with the air data: sensitivities."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import airspeed, atmosphere, sensitivity
from loganalyze.limits.limit_equivalents import Point
from loganalyze.quantities.speed_relations import within
from loganalyze.record.units import KNOT
from loganalyze.sheets.limits_sheet import Limit

Floats = NDArray[np.float64]


def static_source(at: Point) -> Floats:
    """Altitude that moves with airspeed by a static source's error [m per m/s]."""
    return within(sensitivity.altitude_by_static_source, at.calibrated_airspeed,
                  at.pressure_altitude)


def tas_slopes(at: Point, recovery_factor: float) -> tuple[Floats, Floats]:
    """True airspeed by Mach [m/s] and by the temperature read [m/s/K]."""
    by_mach = within(lambda m, t: sensitivity.tas_by_mach(m, t, recovery_factor)[0],
                     at.mach, at.temperature)
    by_heat = within(lambda m, t: sensitivity.tas_by_mach(m, t, recovery_factor)[1],
                     at.mach, at.temperature)
    return by_mach, by_heat


def margin_slopes(
    limit: Limit, at: Point, recovery_factor: float
) -> tuple[Floats, Floats, Floats]:
    """Derivatives of the margin to a limit by its inputs, in its published quantity.

    Parameters
    ----------
    limit : Limit
    at : Point
        Air data at m rows.
    recovery_factor : float
        That of the temperature that is read; 0 for static temperature.

    Returns
    -------
    tuple of float64[m]
        By calibrated airspeed [kt or Mach per m/s], by pressure altitude [per m] and by the
        temperature read [per K]; NaN where an input that matters is missing.
    """
    unit = 1.0 if limit.is_mach else 1.0 / KNOT
    nothing = np.zeros(at.rows.shape)
    speed, height = at.calibrated_airspeed, at.pressure_altitude
    by_heat = nothing
    if limit.quantity in ("calibrated_airspeed", "indicated_airspeed"):
        by_speed, by_height = np.full(at.rows.shape, 1.0), nothing
    else:
        if limit.quantity == "indicated_mach":
            speed, height = at.indicated_airspeed, at.indicated_altitude
        by_speed = within(sensitivity.mach_by_cas, speed, height)
        by_height = within(sensitivity.mach_by_altitude, speed, height)
        if limit.quantity == "equivalent_airspeed":
            by_mach = within(lambda m, h: sensitivity.eas_by_mach(m, h)[0], at.mach, height)
            own = within(lambda m, h: sensitivity.eas_by_mach(m, h)[1], at.mach, height)
            by_speed, by_height = by_mach * by_speed, by_mach * by_height + own
        elif limit.quantity == "true_airspeed":
            by_mach, by_heat = tas_slopes(at, recovery_factor)
            by_speed, by_height = by_mach * by_speed, by_mach * by_height
    moves = nothing
    if limit.by_pressure_altitude is not None:
        moves = maximum_slope(limit, at.pressure_altitude)
    return -unit * by_speed, unit * (moves - by_height), -unit * by_heat


def maximum_slope(limit: Limit, altitude: Floats) -> Floats:
    """How a limit's maximum changes with pressure altitude [m/s or Mach per m].

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
    by_cas = within(sensitivity.mach_by_cas, cas, altitude)
    by_height = within(sensitivity.mach_by_altitude, cas, altitude)
    match limit.quantity:
        case "calibrated_airspeed" | "indicated_airspeed":
            return own, by_cas * own + by_height
        case "mach" | "indicated_mach":
            in_mach = own
        case "equivalent_airspeed":
            root = atmosphere.A0 * np.sqrt(within(atmosphere.pressure_ratio, altitude))
            mach = within(airspeed.mach_from_cas, cas, altitude)
            in_mach = own / root + 0.5 * mach * within(sensitivity.thinning, altitude)
        case _:
            in_mach = np.full(len(cas), np.nan)
    return (in_mach - by_height) / by_cas, in_mach
