"""Each limit in its published quantity and as calibrated airspeed, computed row by row.

This is the exact computation. The engine uses tables where the margin is certainly positive, and
this module for every row near a limit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import probes
from loganalyze.airdata.air_data import AirData
from loganalyze.quantities.speed_relations import mach_at_cas, skip_nan
from loganalyze.record import sample_reasons
from loganalyze.record.arrays import Bits
from loganalyze.sheets.evaluation_settings import Settings
from loganalyze.sheets.limits_sheet import Limit

Floats = NDArray[np.float64]
Rows = NDArray[np.intp]

NO_GOVERNING_LIMIT = np.uint8(255)
"""Index of the governing limit where none applies or the lowest isn't known."""


@dataclass(frozen=True, eq=False)
class AirDataRows:
    """The air data of m rows of a log, and values derived from them, float64[m] in SI.

    NaN where missing or rejected. ``rows`` : intp[m], into the log; ``temperature`` : static [K].
    """

    rows: Rows
    calibrated_airspeed: Floats
    pressure_altitude: Floats
    mach: Floats
    temperature: Floats
    indicated_airspeed: Floats
    indicated_altitude: Floats
    """Pressure altitude [m] before the correction for static source error."""
    others: Mapping[str, Floats] = field(default_factory=dict)
    """Other channels that the sheet's limits use, by name."""

    def taken(self, which: NDArray[np.bool_] | Rows | slice) -> AirDataRows:
        """Return the selected rows."""
        return AirDataRows(
            self.rows[which], self.calibrated_airspeed[which], self.pressure_altitude[which],
            self.mach[which], self.temperature[which], self.indicated_airspeed[which],
            self.indicated_altitude[which],
            {name: values[which] for name, values in self.others.items()})

    def followed_by(self, after: AirDataRows) -> AirDataRows:
        """Return these rows followed by those of `after`."""
        return AirDataRows(
            np.concatenate([self.rows, after.rows]),
            np.concatenate([self.calibrated_airspeed, after.calibrated_airspeed]),
            np.concatenate([self.pressure_altitude, after.pressure_altitude]),
            np.concatenate([self.mach, after.mach]),
            np.concatenate([self.temperature, after.temperature]),
            np.concatenate([self.indicated_airspeed, after.indicated_airspeed]),
            np.concatenate([self.indicated_altitude, after.indicated_altitude]),
            {name: np.concatenate([values, after.others[name]])
             for name, values in self.others.items()})


def air_data_rows(air: AirData, rows: Rows, reasons: Bits | None = None) -> AirDataRows:
    """Return the air data of the given rows, with Mach number and static temperature.

    Values rejected by screening are NaN: by `reasons`, uint16[m], or by default those `air` holds.
    """
    reasons = air.reasons_at(rows) if reasons is None else reasons

    def kept(values: Floats, mask: np.uint16) -> Floats:
        return np.where(reasons & mask, np.nan, values[rows])

    speed = kept(air.calibrated_airspeed, sample_reasons.AIRSPEED)
    altitude = kept(air.pressure_altitude, air.altitude_mask)
    indicated, indicated_altitude = speed, altitude
    if air.indicated_airspeed is not None:
        indicated = kept(air.indicated_airspeed, sample_reasons.AIRSPEED)
    if air.indicated_pressure_altitude is not air.pressure_altitude:
        indicated_altitude = kept(air.indicated_pressure_altitude, air.indicated_altitude_mask)
    mach = mach_at_cas(speed, altitude)
    temperature = np.full(rows.shape, np.nan)
    if air.temperature is not None:
        probe = sample_reasons.HEAT.plausible(kept(air.temperature, sample_reasons.TEMPERATURE))
        temperature = static_from(probe, mach, air.recovery_factor)
    others = {name: kept(values, sample_reasons.LOST) for name, values in air.others.items()}
    return AirDataRows(
        rows, speed, altitude, mach, temperature, indicated, indicated_altitude, others)


def static_from(probe: Floats, mach: Floats, recovery_factor: float) -> Floats:
    """Return the static temperature [K] from a probe's reading [K] and the Mach number.

    float64[m]; NaN where an argument is NaN. Recovery factor 0: the probe reads static temperature.
    """
    if recovery_factor == 0.0:
        return probe
    return skip_nan(lambda t, m: probes.static_temperature(t, m, recovery_factor), probe, mach)


def published_value(limit: Limit, at: AirDataRows) -> Floats:
    """Return the limited quantity in its own unit, such as kt or Mach.

    NaN where an input is missing, such as a channel that the log doesn't hold.
    """
    kind = limit.kind
    if any(name not in at.others for name in kind.channels):
        return np.full(at.rows.shape, np.nan)
    return np.asarray(kind.value(at) / kind.unit.factor)


def published_maximum(limit: Limit, at: AirDataRows) -> Floats:
    """Return the limit's maximum in its own unit, such as kt or Mach; NaN outside its table."""
    return _maximum(limit, at) / limit.kind.unit.factor


def calibrated_equivalent(limit: Limit, air: AirData, at: AirDataRows) -> Floats:
    """Return the calibrated airspeed [m/s] at which the limit lies; NaN where unknown.

    The position correction is taken at the limit speed. Every relation used increases with speed,
    so the sign of the margin is that of the published quantity. NaN everywhere for a quantity
    without an equivalent CAS.
    """
    equivalent = limit.kind.calibrated_equivalent(_maximum(limit, at), at, air)
    return np.full(at.rows.shape, np.nan) if equivalent is None else equivalent


def _maximum(limit: Limit, at: AirDataRows) -> Floats:
    """Return the limit's maximum in SI, float64[m]."""
    return np.broadcast_to(limit.maximum_at(at.pressure_altitude), at.rows.shape)


def over(limit: Limit, value: Floats, maximum: Floats, air: AirData, settings: Settings
         ) -> NDArray[np.bool_]:
    """Whether the quantity exceeds the limit by more than the tolerance; False where unknown."""
    # A number format that can't hold the limit exactly must not turn it into an exceedance.
    slack = np.maximum(limit.kind.tolerance(settings),
                       air.rounding_of(limit.kind) * np.abs(maximum))
    return np.asarray(value - maximum > slack)


def equivalents(
    limits: Sequence[Limit], altitude: Floats, tables: tuple[probes.CorrectionTable, ...] = (),
    temperature: Floats | None = None, indicated_altitude: Floats | None = None,
) -> Floats:
    """Return each limit as calibrated airspeed [m/s], float64[limits, n]; NaN where unknown.

    `altitude` and `temperature` are float64[n], [m] and [K].
    """
    unknown = np.full(altitude.shape, np.nan)
    indicated_altitude = altitude if indicated_altitude is None else indicated_altitude
    air = AirData(None, unknown, indicated_altitude, altitude, temperature, 0.0, None, tables, ())
    at = AirDataRows(np.arange(len(altitude)), unknown, altitude, unknown,
                     unknown if temperature is None else temperature, unknown, indicated_altitude)
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
