"""Mach number, EAS, TAS, temperatures and density altitude of a block of samples.

The relations are those of `loganalyze.air`, with the two fractional powers taken from tables whose
error is far below the resolution of the float32 columns. Slow and supersonic samples are computed
by `loganalyze.air` directly.
"""

from __future__ import annotations

from collections.abc import Mapping
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

from loganalyze.air import airspeed, atmosphere
from loganalyze.air.piecewise import PiecewiseQuadratic
from loganalyze.engine import limit_curves
from loganalyze.engine.kernel_arguments import FAST, SLOW, numbers
from loganalyze.quantities.speed_relations import mach_at_cas
from loganalyze.record.units import FOOT

Floats = NDArray[np.float64]

_THINNEST = float(atmosphere.density_ratio(
    atmosphere.HIGHEST, atmosphere.temperature(atmosphere.HIGHEST)))


@cache
def pressure_ratio() -> PiecewiseQuadratic:
    """Return the pressure ratio p/p0 of the standard atmosphere over pressure altitude [m]."""
    return PiecewiseQuadratic.of(
        atmosphere.pressure_ratio, limit_curves.START, limit_curves.STEP, limit_curves.COUNT
    )


@cache
def expansion() -> PiecewiseQuadratic:
    """Return (1 + q_c/p)^(2/7), which is 1 + 0.2 M^2 below Mach 1, over q_c/p."""
    count = 2048
    step = airspeed.SONIC_RATIO / count
    return PiecewiseQuadratic.of(
        lambda ratio: (1 + ratio) ** (2 / 7), 0.0, step, count).straightened(8)


@cache
def density_altitude() -> PiecewiseQuadratic:
    """Return the density altitude [m] over the density ratio, for altitudes up to nearly 20 km.

    A cell edge lies at the tropopause, where the slope of the relation changes.
    """
    tropopause = atmosphere.LAYERS[1].density_ratio
    step = tropopause / 400
    return PiecewiseQuadratic.of(atmosphere.altitude_from_density_ratio, 97 * step, step, 2023)


class Workspace:
    """The scratch arrays of one thread, and the block that it evaluates.

    Arrays are allocated for blocks of `size` rows and cut to the block's length by `take`.
    ``cell`` : of each row in the tables over pressure altitude, ``offset`` : in that cell;
    ``cell_too`` : in another table.
    """

    def __init__(self, size: int) -> None:
        self._whole = np.empty((11, size))
        self._cells = np.empty((2, size), dtype=np.intp)
        self.speed = self.altitude = np.empty(0)
        self._cut(0)

    def _cut(self, rows: int) -> None:
        (self.offset, self.limit, self.limit_mach, self.pointer, self.margin, self.spare, self.mach,
         self.delta, self.first, self.second, self.third) = self._whole[:, :rows]
        self.cell, self.cell_too = self._cells[:, :rows]

    def take(self, speed: Floats, altitude: Floats) -> None:
        """Set the block: calibrated airspeed [m/s] and pressure altitude [m], NaN where rejected.

        An altitude outside the tables is replaced by NaN.
        """
        table = pressure_ratio()
        if (np.fmin.reduce(altitude, initial=table.start) < table.start
                or np.fmax.reduce(altitude, initial=table.stop) > table.stop):
            # A correction may have moved the altitude out of its plausible range.
            altitude = np.where(
                (altitude >= table.start) & (altitude <= table.stop), altitude, np.nan)
        self.speed, self.altitude = speed, altitude
        self._cut(len(speed))
        table.locate(altitude, self.cell, self.offset)


def write_speeds(
    work: Workspace, temperature: Floats | None, recovery_factor: float,
    out: Mapping[str, NDArray[Any]],
) -> None:
    """Write a block's Mach number, EAS, TAS, temperatures and density altitude into `out`.

    `temperature` : float64[m], as the probe reads it [K], or None: then only Mach number and EAS
    are written. `recovery_factor` : of the probe; 0 for one that reads static temperature. NaN
    where an input is NaN.
    """
    mach, delta, spare, first = work.mach, work.delta, work.spare, work.first
    pressure_ratio().evaluate(work.cell, work.offset, delta, spare)
    squared = _mach_squared(work)
    np.sqrt(squared, out=mach)
    _compute_extremes_exactly(work, squared)
    np.copyto(out["mach"], mach, casting="same_kind")
    np.sqrt(delta, out=spare)
    np.multiply(spare, mach, out=spare)
    known = numbers()
    np.multiply(spare, known.sound_kt, out=out["equivalent_airspeed_kt"], casting="same_kind")
    if temperature is None:
        return
    static = temperature
    if recovery_factor:
        np.multiply(squared, 0.2 * recovery_factor, out=first)
        np.add(first, 1.0, out=first)
        static = np.divide(temperature, first, out=first)
    np.subtract(static, known.freezing, out=out["static_air_temperature_degc"], casting="same_kind")
    np.sqrt(static, out=spare)
    np.multiply(spare, mach, out=spare)
    np.multiply(spare, known.sound_root_kt, out=out["true_airspeed_kt"], casting="same_kind")
    _isa_deviation(work, static, out["isa_deviation_degc"])
    _write_density_altitude(work, static, out["density_altitude_ft"])


def _mach_squared(work: Workspace) -> Floats:
    """Return Mach squared, float64[m], in the array `third`; wrong for supersonic samples."""
    squared: Floats = work.third
    spare, second = work.spare, work.second
    np.multiply(work.speed, numbers().ratio_of_speed, out=squared)
    np.multiply(squared, squared, out=squared)
    np.add(squared, 1.0, out=squared)
    np.sqrt(squared, out=spare)
    np.multiply(spare, squared, out=spare)
    np.multiply(squared, squared, out=squared)
    np.multiply(squared, spare, out=squared)
    np.subtract(squared, 1.0, out=squared)
    np.divide(squared, work.delta, out=squared)  # q_c/p
    if np.fmax.reduce(squared, initial=0.0) > airspeed.SONIC_RATIO:
        np.minimum(squared, airspeed.SONIC_RATIO, out=squared)
    table = expansion()
    table.locate(squared, work.cell_too, second)
    table.evaluate(work.cell_too, second, squared, spare)
    np.subtract(squared, 1.0, out=squared)
    np.multiply(squared, 5.0, out=squared)
    return squared


def _compute_extremes_exactly(work: Workspace, squared: Floats) -> None:
    slowest = np.fmin.reduce(work.speed, initial=np.inf)
    fastest = np.fmax.reduce(work.mach, initial=0.0)
    if slowest >= SLOW and fastest < FAST:
        return
    rows = np.flatnonzero(~((work.speed >= SLOW) & (work.mach < FAST)))
    work.mach[rows] = mach_at_cas(work.speed[rows], work.altitude[rows])
    squared[rows] = work.mach[rows] ** 2


def _isa_deviation(work: Workspace, static: Floats, out: NDArray[np.float32]) -> None:
    # The tables end at 20 km, below which the standard temperature doesn't rise with altitude.
    standard = work.second
    np.multiply(work.altitude, numbers().lapse, out=standard)
    np.add(standard, numbers().sea_level_temperature, out=standard)
    np.maximum(standard, numbers().tropopause_temperature, out=standard)
    np.subtract(static, standard, out=out, casting="same_kind")


def _write_density_altitude(work: Workspace, static: Floats, out: NDArray[np.float32]) -> None:
    sigma, table = work.second, density_altitude()
    np.divide(work.delta, static, out=sigma)
    np.multiply(sigma, numbers().sea_level_temperature, out=sigma)
    beyond = None
    if (np.fmin.reduce(sigma, initial=table.stop) < table.start
            or np.fmax.reduce(sigma, initial=table.start) > table.stop):
        beyond = np.flatnonzero((sigma < table.start) | (sigma > table.stop))
        thin, sigma[beyond] = sigma[beyond], np.nan
    table.locate(sigma, work.cell_too, sigma)
    table.evaluate(work.cell_too, sigma, work.third, work.spare)
    if beyond is not None:
        # Density altitude is defined from -5 to 32 km: outside that it is NaN.
        known = (thin >= _THINNEST) & (thin < table.start)
        work.third[beyond] = np.nan
        work.third[beyond[known]] = atmosphere.altitude_from_density_ratio(thin[known])
    np.multiply(work.third, 1 / FOOT, out=out, casting="same_kind")
