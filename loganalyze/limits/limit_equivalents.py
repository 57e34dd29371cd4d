"""Each limit in its published quantity and as calibrated airspeed, reckoned row by row.

This is the plain, exact reckoning. The block loop takes a tabulated shortcut where a limit is
safely far away, and comes back here for every row near one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import probes
from loganalyze.airdata.air_data import AirData
from loganalyze.quantities.speed_relations import mach_at_cas, within
from loganalyze.record import sample_reasons
from loganalyze.record.arrays import Bits
from loganalyze.sheets.evaluation_settings import Settings
from loganalyze.sheets.limits_sheet import Limit

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

NO_GOVERNING_LIMIT = np.uint8(255)
"""Governing limit where none applies or the lowest can't be told."""


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
    others: Mapping[str, Floats] = field(default_factory=dict)
    """The further channels that the sheet's limits take, by name."""

    def taken(self, which: NDArray[np.bool_] | Rows | slice) -> Point:
        """Return some of the rows."""
        return Point(
            self.rows[which], self.calibrated_airspeed[which], self.pressure_altitude[which],
            self.mach[which], self.temperature[which], self.indicated_airspeed[which],
            self.indicated_altitude[which],
            {name: values[which] for name, values in self.others.items()})

    def followed_by(self, after: Point) -> Point:
        """Return these rows and then those of another."""
        return Point(
            np.concatenate([self.rows, after.rows]),
            np.concatenate([self.calibrated_airspeed, after.calibrated_airspeed]),
            np.concatenate([self.pressure_altitude, after.pressure_altitude]),
            np.concatenate([self.mach, after.mach]),
            np.concatenate([self.temperature, after.temperature]),
            np.concatenate([self.indicated_airspeed, after.indicated_airspeed]),
            np.concatenate([self.indicated_altitude, after.indicated_altitude]),
            {name: np.concatenate([values, after.others[name]])
             for name, values in self.others.items()})


def point(air: AirData, rows: Rows, reasons: Bits | None = None) -> Point:
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
    others = {name: kept(values, sample_reasons.LOST) for name, values in air.others.items()}
    return Point(rows, speed, altitude, mach, temperature, indicated, felt, others)


def static_from(felt: Floats, mach: Floats, recovery_factor: float) -> Floats:
    """Static temperature [K] of what the probe felt; a recovery factor of 0 feels static."""
    if recovery_factor == 0.0:
        return felt
    return within(lambda t, m: probes.static_temperature(t, m, recovery_factor), felt, mach)


def published_value(limit: Limit, at: Point) -> Floats:
    """Return the limited quantity in its own unit, such as kt or Mach.

    NaN where an input is missing, such as a channel that the log doesn't hold.
    """
    kind = limit.kind
    if any(name not in at.others for name in kind.channels):
        return np.full(at.rows.shape, np.nan)
    return np.asarray(kind.value(at) / kind.unit.factor)


def published_maximum(limit: Limit, at: Point) -> Floats:
    """Return the limit's maximum in its own unit, such as kt or Mach; NaN outside its table."""
    return _maximum(limit, at) / limit.kind.unit.factor


def calibrated_equivalent(limit: Limit, air: AirData, at: Point) -> Floats:
    """Return the calibrated airspeed [m/s] at which the limit lies; NaN where unknown.

    The position correction is taken at the limit speed. Every map used rises with the speed,
    so the sign of the margin is that of the published quantity. NaN throughout for a quantity
    that has no such speed.
    """
    equivalent = limit.kind.calibrated_equivalent(_maximum(limit, at), at, air)
    return np.full(at.rows.shape, np.nan) if equivalent is None else equivalent


def _maximum(limit: Limit, at: Point) -> Floats:
    """The limit's maximum in SI."""
    return np.broadcast_to(limit.maximum_at(at.pressure_altitude), at.rows.shape)


def over(limit: Limit, value: Floats, maximum: Floats, air: AirData, settings: Settings
         ) -> NDArray[np.bool_]:
    """Whether the quantity is over the limit, beyond the tolerance; False where unknown."""
    # A number format that can't hold the limit exactly must not turn it into an exceedance.
    slack = np.maximum(limit.kind.tolerance(settings),
                       air.rounding_of(limit.kind) * np.abs(maximum))
    return np.asarray(value - maximum > slack)


def equivalents(
    limits: Sequence[Limit], altitude: Floats, tables: tuple[probes.CorrectionTable, ...] = (),
    temperature: Floats | None = None, indicated_altitude: Floats | None = None,
) -> Floats:
    """Calibrated airspeed [m/s] at which each limit lies, float64[limits, n]; NaN unknown.

    `altitude` and `temperature` are float64[n], [m] and [K].
    """
    unknown = np.full(altitude.shape, np.nan)
    felt = altitude if indicated_altitude is None else indicated_altitude
    air = AirData(None, unknown, felt, altitude, temperature, 0.0, None, tables, ())
    at = Point(np.arange(len(altitude)), unknown, altitude, unknown,
               unknown if temperature is None else temperature, unknown, felt)
    return np.stack([calibrated_equivalent(limit, air, at) for limit in limits])


def lowest(speeds: Floats) -> tuple[Floats, NDArray[np.uint8]]:
    """Return the lowest known speed [m/s] and the index of its limit.

    NaN and `NO_GOVERNING_LIMIT` where none is known.
    """
    known = np.where(np.isnan(speeds), np.inf, speeds)
    governing = known.argmin(axis=0)
    least = np.take_along_axis(known, governing[None], axis=0)[0]
    none = np.isinf(least)
    return np.where(none, np.nan, least), np.where(none, NO_GOVERNING_LIMIT, governing).astype(
        np.uint8
    )
