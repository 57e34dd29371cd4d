"""Mach number, EAS, TAS, temperatures and density altitude of a block of samples.

The same relations as the engine's, with the two fractional powers taken from tables whose
error lies far below the float32 in which the columns are kept; slow and supersonic samples go
to the engine itself.
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
    """Pressure ratio over pressure altitude [m]."""
    return PiecewiseQuadratic.of(
        atmosphere.pressure_ratio, limit_curves.START, limit_curves.STEP, limit_curves.COUNT
    )


@cache
def expansion() -> PiecewiseQuadratic:
    """(1 + q_c/p)^(2/7), which is 1 + 0.2 M^2 below Mach 1."""
    count = 2048
    step = airspeed.SONIC_RATIO / count
    return PiecewiseQuadratic.of(
        lambda ratio: (1 + ratio) ** (2 / 7), 0.0, step, count).straightened(8)


@cache
def density_altitude() -> PiecewiseQuadratic:
    """Density altitude [m] from the density ratio, from just below 20 km down.

    The tropopause, where the relation bends, lies on a cell's edge.
    """
    tropopause = atmosphere.LAYERS[1].density_ratio
    step = tropopause / 400
    return PiecewiseQuadratic.of(atmosphere.altitude_from_density_ratio, 97 * step, step, 2023)


class Workspace:
    """The scratch arrays of one thread, and the block it works on."""

    def __init__(self, size: int) -> None:
        self._whole = {
            name: np.empty(size)
            for name in ("offset", "limit", "limit_mach", "pointer", "margin", "spare", "mach",
                         "delta", "first", "second", "third")
        }
        self._cells = np.empty(size, dtype=np.intp)
        self._cells_too = np.empty(size, dtype=np.intp)
        self.speed = self.altitude = np.empty(0)

    def __getattr__(self, name: str) -> Any:
        try:
            return self._whole[name][: len(self.speed)]
        except KeyError:
            raise AttributeError(name) from None

    @property
    def cell(self) -> NDArray[np.intp]:
        """Cell of each pressure altitude."""
        return self._cells[: len(self.speed)]

    @property
    def cell_too(self) -> NDArray[np.intp]:
        """Cell of a second table."""
        return self._cells_too[: len(self.speed)]

    def take(self, speed: Floats, altitude: Floats) -> None:
        """Take a block's calibrated airspeed [m/s] and pressure altitude [m], NaN if screened.

        An altitude outside the table is NaN from here on.
        """
        table = pressure_ratio()
        if (np.fmin.reduce(altitude, initial=table.start) < table.start
                or np.fmax.reduce(altitude, initial=table.stop) > table.stop):
            # A correction may have moved the altitude out of its plausible range.
            altitude = np.where(
                (altitude >= table.start) & (altitude <= table.stop), altitude, np.nan)
        self.speed, self.altitude = speed, altitude
        table.locate(altitude, self.cell, self.offset)


def reckon(
    work: Workspace, temperature: Floats | None, recovery_factor: float,
    out: Mapping[str, NDArray[Any]],
) -> None:
    """Write a block's speeds and temperatures; `temperature` is what the probe felt [K]."""
    mach, delta, spare, first = work.mach, work.delta, work.spare, work.first
    pressure_ratio().evaluate(work.cell, work.offset, delta, spare)
    squared = _mach_squared(work)
    np.sqrt(squared, out=mach)
    _reckon_ends_exactly(work, squared)
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
    """Mach squared in `third`; meaningless for supersonic samples."""
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


def _reckon_ends_exactly(work: Workspace, squared: Floats) -> None:
    slowest = np.fmin.reduce(work.speed, initial=np.inf)
    fastest = np.fmax.reduce(work.mach, initial=0.0)
    if slowest >= SLOW and fastest < FAST:
        return
    rows = np.flatnonzero(~((work.speed >= SLOW) & (work.mach < FAST)))
    work.mach[rows] = mach_at_cas(work.speed[rows], work.altitude[rows])
    squared[rows] = work.mach[rows] ** 2


def _isa_deviation(work: Workspace, static: Floats, out: NDArray[np.float32]) -> None:
    # The plausible range of pressure altitude ends below the layer that warms with height.
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
        # Denser air than at -5 km has no density altitude; thinner has, up to 32 km.
        known = (thin >= _THINNEST) & (thin < table.start)
        work.third[beyond] = np.nan
        work.third[beyond[known]] = atmosphere.altitude_from_density_ratio(thin[known])
    np.multiply(work.third, 1 / FOOT, out=out, casting="same_kind")
